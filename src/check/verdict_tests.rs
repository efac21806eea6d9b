use super::*;
use crate::check::{Blocks, BridgeHeard, Clock, Device, Hand, Loudness, Troubles, WordHeard};

fn clicker(heard: usize, u_ms: f64) -> BridgeHeard {
    BridgeHeard {
        name: "tilda".into(),
        heard,
        scores: vec![0.99; heard],
        level_dbfs: (heard > 0).then_some(-12.0),
        u_ms: (heard > 0).then_some(u_ms),
    }
}

fn hand(u_ms: Option<f64>) -> Hand {
    Hand {
        name: "terminal keys".into(),
        delay_ms: u_ms.map(|_| 31.0),
        u_ms,
    }
}

/// A good set-up whose terminal keys were measured.
fn good() -> Facts {
    Facts {
        watched_s: 30.0,
        sample_rate_hz: 48_000,
        device: Some(Device {
            name: "Desk".into(),
            host: "ALSA".into(),
            channels: 1,
            sample_format: "i16".into(),
        }),
        level: Loudness {
            noise_dbfs: Some(-62.0),
            loudest_over_noise_db: Some(38.0),
            full_scale_samples: 0,
            is_nothing: false,
        },
        clickers: vec![clicker(6, 0.02)],
        words: Vec::new(),
        bangs: 4,
        bang_u_ms: Some(0.1),
        clock: Some(Clock {
            is_settled: true,
            drift_ppm: Some(40.0),
            drift_u_ppm: Some(2.0),
            rate_hz: Some(48_001.9),
            residual_ms: Some(0.1),
            u_ms: Some(0.1),
        }),
        blocks: Some(Blocks {
            count: 2_250,
            typical_ms: 13.3,
            longest_ms: 21.0,
        }),
        known_within_m: 0.25,
        presser: None,
        troubles: Troubles::default(),
        hands: vec![hand(Some(4.0))],
    }
}

fn trusts(facts: &Facts) -> (Trust, Trust) {
    let v = verdict(facts);
    (v.uses[0].trust, v.uses[1].trust)
}

/// By hand: a way known to ± 0.25 m is 0.25/0.3432/√3 = 0.4206 ms, twice;
/// onsets 0.02 and 0.1; the rate 40 ppm of 1 s / √3 = 0.0231 ms. The root of the
/// sum of squares is 0.6037; the boxes of the ways and the rate convolved with the
/// normal of the onsets (numpy 2.4.6, FFT on 2¹⁶ points) hold 95 % within 1.1483.
/// With a key: 0.4206, 0.02, 0.1 and 4.0 make 7.8856 the same way.
#[test]
fn a_good_set_up_is_trusted_to_what_its_parts_come_to() {
    let v = verdict(&good());
    assert_eq!(v.findings, []);
    assert!(
        (v.uses[0].within_ms.unwrap() - 1.1483).abs() < 0.001,
        "{v:?}"
    );
    assert!(
        (v.uses[1].within_ms.unwrap() - 7.8856).abs() < 0.001,
        "{v:?}"
    );
    assert_eq!(trusts(&good()), (Trust::Yes, Trust::Yes));
    assert_eq!(
        v.uses[0].to_string(),
        "A click against a sound (a ball): yes, to ±1.2 ms"
    );
    assert_eq!(v.uses[1].parts[0].name, "key, its delay taken off");
}

#[test]
fn a_key_never_measured_is_not_trusted_and_the_way_out_is_told() {
    let mut facts = good();
    facts.hands = vec![hand(None)];
    assert_eq!(trusts(&facts), (Trust::Yes, Trust::No));
    let v = verdict(&facts);
    // 45.65 ms and little else, times 1.96.
    assert!((v.uses[1].within_ms.unwrap() - 89.5).abs() < 0.1);
    assert!(
        v.uses[1].to_string().ends_with("may be off by 89 ms"),
        "{}",
        v.uses[1]
    );
    assert!(v.findings[0].to_string().contains("marklag check hands"));
}

#[test]
fn a_key_that_scatters_is_trusted_roughly_and_then_not() {
    let mut facts = good();
    for (u_ms, trust) in [(5.0, Trust::Yes), (10.0, Trust::Roughly), (20.0, Trust::No)] {
        facts.hands = vec![hand(Some(u_ms))];
        assert_eq!(trusts(&facts).1, trust, "{u_ms}");
    }
}

#[test]
fn what_was_not_heard_is_not_known() {
    let mut facts = good();
    facts.clickers = vec![clicker(0, 0.0)];
    assert_eq!(trusts(&facts), (Trust::NotKnown, Trust::NotKnown));
    assert_eq!(verdict(&facts).findings, [Finding::NoClick]);
    facts.clickers.clear();
    assert_eq!(verdict(&facts).findings, [Finding::NothingTaught]);
    assert_eq!(trusts(&facts).0, Trust::NotKnown);
}

#[test]
fn a_short_look_knows_the_sounds_but_not_the_keys() {
    let mut facts = good();
    facts.clock.as_mut().unwrap().is_settled = false;
    facts.clock.as_mut().unwrap().drift_ppm = None;
    assert_eq!(trusts(&facts), (Trust::Yes, Trust::NotKnown));
    assert_eq!(verdict(&facts).findings, [Finding::TooShort]);
}

#[test]
fn a_recording_has_sounds_only() {
    let mut facts = good();
    facts.clock = None;
    facts.device = None;
    facts.blocks = None;
    facts.hands.clear();
    let v = verdict(&facts);
    assert_eq!(v.uses.len(), 1);
    assert_eq!(v.uses[0].trust, Trust::Yes);
    assert_eq!(v.findings, [Finding::Recording]);
}

type Change = fn(&mut Facts);

#[test]
fn each_trouble_lowers_the_verdict_as_the_rule_says() {
    let cases: [(&str, Change, (Trust, Trust)); 9] = [
        (
            "zeros",
            |f| f.level.is_nothing = true,
            (Trust::No, Trust::No),
        ),
        ("mute", |f| f.troubles.silences = 1, (Trust::No, Trust::No)),
        ("away", |f| f.troubles.losses = 1, (Trust::No, Trust::No)),
        ("stall", |f| f.troubles.stalls = 2, (Trust::No, Trust::No)),
        (
            "one hole a minute",
            |f| f.troubles.gaps = 1,
            (Trust::Yes, Trust::Yes),
        ),
        (
            "many holes",
            |f| f.troubles.overruns = 3,
            (Trust::No, Trust::No),
        ),
        (
            "overdriven",
            |f| f.level.full_scale_samples = 40,
            (Trust::Roughly, Trust::Roughly),
        ),
        (
            "faint",
            |f| f.level.loudest_over_noise_db = Some(12.0),
            (Trust::Roughly, Trust::Roughly),
        ),
        (
            "busy",
            |f| f.clock.as_mut().unwrap().residual_ms = Some(1.7),
            (Trust::Yes, Trust::Roughly),
        ),
    ];
    for (name, change, trust) in cases {
        let mut facts = good();
        change(&mut facts);
        assert_eq!(trusts(&facts), trust, "{name}");
        let v = verdict(&facts);
        assert_eq!(v.findings.len(), 1, "{name}: {v:?}");
        assert!(
            v.findings[0].to_string().contains(':'),
            "{name} says what to do"
        );
    }
    let mut facts = good();
    facts.clock.as_mut().unwrap().drift_ppm = Some(-900.0);
    assert_eq!(trusts(&facts), (Trust::Roughly, Trust::Roughly));
}

#[test]
fn the_worst_clicker_counts() {
    let mut facts = good();
    facts.clickers.push(clicker(3, 6.0));
    assert_eq!(trusts(&facts).0, Trust::Roughly);
}

fn word(heard: usize, lesson_rate_hz: u32) -> WordHeard {
    WordHeard {
        heard: clicker(heard, 4.0),
        in_praise: 1,
        lesson_rate_hz,
    }
}

/// By hand: 0.4206 twice, onsets 4 and 0.1, the rate 0.0231: the root of
/// 16 + 0.01 + 2 · 0.1769 + 0.0005 is 4.0454, times 1.95996 is 7.929.
#[test]
fn a_word_is_judged_beside_the_click_and_alone() {
    let mut facts = good();
    facts.words = vec![word(3, 48_000)];
    let of = |facts: &Facts| -> Vec<String> {
        let v = verdict(facts);
        v.uses.into_iter().map(|u| u.short).collect()
    };
    let both = [
        "Click, ball",
        "Click, terminal keys",
        "Word, ball",
        "Word, terminal keys",
    ];
    assert_eq!(of(&facts), both);
    let judged = &verdict(&facts).uses[2];
    assert!(
        (judged.within_ms.unwrap() - 7.929).abs() < 0.001,
        "{judged:?}"
    );
    assert_eq!(judged.trust, Trust::Yes);
    facts.clickers.clear();
    assert_eq!(of(&facts), both[2..]);
    facts.words = vec![word(0, 48_000)];
    assert_eq!(verdict(&facts).findings, [Finding::NoWord]);
}

#[test]
fn a_narrow_microphone_or_lesson_is_told_where_a_word_is_taught() {
    let mut facts = good();
    facts.sample_rate_hz = 8_000;
    assert_eq!(verdict(&facts).findings, []);
    facts.words = vec![word(3, 48_000)];
    let v = verdict(&facts);
    assert_eq!(v.findings, [Finding::NarrowSound { rate_hz: 8_000 }]);
    assert_eq!(v.uses[0].trust, Trust::Yes, "clicks do not suffer");
    assert_eq!(v.uses[2].trust, Trust::Roughly);
    facts.sample_rate_hz = 48_000;
    facts.words = vec![word(3, 8_000)];
    let v = verdict(&facts);
    let words = v.findings[0].to_string();
    assert!(words.contains("marklag teach word tilda"), "{words}");
}
