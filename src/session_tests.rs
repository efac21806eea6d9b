use super::*;
use crate::journal::Settings;
use crate::timeline::session::SessionEvent;
use crate::timeline::{MomentSource, Sound, SoundKind};

const PLAN: &str = include_str!("../fixtures/plans/target.toml");

fn setup(plan: &str) -> Setup {
    Settings::default().session_setup(Plan::parse(plan).unwrap(), None)
}

fn mark(t_s: f64) -> Happened {
    Happened::Mark(Sound {
        t_s,
        kind: SoundKind::Click,
        name: "blue".into(),
        confidence: 0.9,
        level_dbfs: -12.0,
    })
}

fn log(events: &[(f64, Happened)]) -> Log {
    let mut log = Log::default();
    for (number, (t_s, what)) in (1..).zip(events) {
        log.apply(
            number,
            SessionEvent {
                t_s: *t_s,
                u_ms: 3.0,
                source: MomentSource::Hand,
                what: what.clone(),
            },
        );
    }
    log
}

/// A short session counted by hand: two things practised in turn.
fn small() -> Log {
    use Happened::{Cue, NearMiss, Offer, Reached, Treat, Turn};
    log(&[
        (2.0, Reached),
        (2.3, mark(2.3)),
        (4.0, Treat),
        (10.0, NearMiss),
        (20.0, Reached),
        (20.6, mark(20.6)),
        (23.0, Treat),
        (30.0, Turn { item: 1 }),
        (31.0, Cue),
        (33.0, Reached),
        (33.2, mark(33.2)),
        (40.0, Offer),
        (40.5, mark(40.5)),
        (41.0, Treat),
        (50.0, Cue),
    ])
}

#[test]
fn a_session_counted_by_hand() {
    let setup = setup(PLAN);
    let got = measure(&small(), &setup, 60.0);
    assert_eq!(
        (got.marks, got.treats, got.extra_treats),
        (4, Some(3), Some(0))
    );
    // The treat at 41 s follows two marks, of 33.2 and 40.5 s: the nearer.
    let unpaid = got.unpaid.unwrap();
    assert_eq!((unpaid.count, unpaid.of), (1, 4));
    assert_eq!(got.pace.per_min, Some(4.0));
    assert!((got.treat_gap_s.unwrap() - 1.7).abs() < 1e-9);
    assert_eq!(got.answer_s, Some(2.0));
    assert_eq!((got.offers, got.marks_on_offers), (1, 1));
    let lags = got.lags.as_ref().unwrap();
    assert_eq!(
        (lags.n_moments, lags.on_time.count, lags.late.count),
        (3, 2, 1)
    );
    assert_eq!(lags.stray.count, 1);
    let names: Vec<(&str, u32)> = got
        .steps
        .iter()
        .map(|s| (s.behaviour.as_str(), s.step))
        .collect();
    assert_eq!(names, [("target", 2), ("mat", 1)]);
    let (target, mat) = (&got.steps[0], &got.steps[1]);
    assert_eq!(target.earns, "nose within a hand of the ball on the stick");
    assert_eq!(target.last_ten, "+~+");
    assert_eq!(
        (target.on_time, target.late, target.strays, target.unpaid),
        (1, 1, Some(0), Some(0))
    );
    assert_eq!(
        (mat.asked, mat.tries, mat.reached, mat.no_answers),
        (2, 2, 1, 1)
    );
    assert_eq!(
        (mat.strays, mat.unpaid, mat.last_ten.as_str()),
        (Some(1), Some(1), "+-")
    );
    assert_eq!(got.behaviours.len(), 2);
    assert!(got.pairing.is_none());
    // One lag: onset 3 ms, key 3 ms, the sound's way of 1 m at 343.2 m/s, which is not
    // taken off, and its ± 0.25 m over √3.
    let u_ms = got.pairs[0].u_ms.unwrap();
    let way = (1_000.0f64 / 343.2).hypot(250.0 / 343.2 / 3f64.sqrt());
    assert!(
        (u_ms - (9.0 + 9.0 + way * way).sqrt()).abs() < 1e-9,
        "{u_ms}"
    );
}

#[test]
fn with_marks_alone_nothing_is_made_up() {
    let log = log(&[(5.0, mark(5.0)), (11.0, mark(11.0)), (15.0, mark(15.0))]);
    let got = measure(&log, &setup(PLAN), 30.0);
    assert_eq!((got.marks, got.pace.per_min), (3, Some(6.0)));
    assert_eq!(
        (got.treats, got.unpaid, got.treat_gap_s),
        (None, None, None)
    );
    assert_eq!(
        (got.lags.is_none(), got.answer_s, got.pairs.len()),
        (true, None, 0)
    );
    assert_eq!((got.steps[0].strays, got.steps[0].unpaid), (None, None));
    let nothing = measure(&Log::default(), &setup(PLAN), 0.0);
    assert_eq!(
        (nothing.marks, nothing.pace.per_min, nothing.steps.len()),
        (0, None, 0)
    );
}

#[test]
fn pairing_the_bridge() {
    use Happened::{Reached, Treat};
    let pairing = setup(include_str!("../fixtures/plans/pairing.toml"));
    let mut events = Vec::new();
    for (k, at) in [2.0, 10.0, 15.0, 27.0, 33.0, 47.0].into_iter().enumerate() {
        events.push((at, mark(at)));
        events.push((at + 1.0 + 0.1 * k as f64, Treat));
        if k >= 3 {
            events.push((at + 0.4, Reached));
        }
    }
    let got = measure(&log(&events), &pairing, 60.0);
    let pairing = got.pairing.unwrap();
    assert_eq!((pairing.marks, pairing.unpaid), (6, Some(0)));
    assert!((pairing.treat_gap_s.unwrap() - 1.25).abs() < 1e-9);
    let answered = pairing.answered.unwrap();
    assert_eq!((answered.count, answered.of), (3, 6));
    assert_eq!((pairing.waits.n, pairing.waits.median_s), (5, Some(8.0)));
    assert!(got.lags.is_none() && got.steps.is_empty());
}

#[test]
fn an_event_that_is_undone_counts_for_nothing_and_counts_again() {
    let setup = setup(PLAN);
    let mut log = small();
    let before = measure(&log, &setup, 60.0);
    let aside = |target, is_aside| SessionEvent {
        t_s: 55.0,
        u_ms: 0.0,
        source: MomentSource::Hand,
        what: Happened::Aside { target, is_aside },
    };
    log.apply(16, aside(13, true));
    let without = measure(&log, &setup, 60.0);
    assert_eq!((without.marks, without.marks_on_offers), (3, 0));
    assert_eq!(
        without.unpaid.unwrap().count,
        0,
        "its treat now pays the mark before"
    );
    log.apply(17, aside(13, false));
    assert_eq!(measure(&log, &setup, 60.0), before);
}

#[test]
fn the_observer_is_taken_off() {
    let mut setup = setup(PLAN);
    setup.observer = Some(Observer {
        n: 20,
        bias_ms: 60.0,
        spread_ms: 20.0,
    });
    let got = measure(&small(), &setup, 60.0);
    let corrected = got.corrected.unwrap();
    let raw = got.lags.unwrap().constant_error_ms.unwrap();
    assert!((corrected.mean_ms - raw - 60.0).abs() < 1e-9);
}

#[test]
fn measures_survive_their_text() {
    let got = measure(&small(), &setup(PLAN), 60.0);
    let text = serde_json::to_string(&got).unwrap();
    let back: SessionMeasures = serde_json::from_str(&text).unwrap();
    assert_eq!(serde_json::to_string(&back).unwrap(), text);
    let setup = setup(PLAN);
    let text = serde_json::to_string(&setup).unwrap();
    assert_eq!(serde_json::from_str::<Setup>(&text).unwrap(), setup);
}

/// One moment keyed for ten marks: the nine others were not keyed, so they are no
/// strays. From five moments on they are.
#[test]
fn marks_are_strays_only_where_moments_were_keyed_for_at_least_half_of_them() {
    let setup = setup(PLAN);
    let session = |moments: u32| {
        let marks = (0..10).map(|k| {
            let t_s = 5.0 + 4.0 * f64::from(k);
            (t_s, mark(t_s))
        });
        let keyed = (0..moments).map(|k| (4.8 + 4.0 * f64::from(k), Happened::Reached));
        let mut events: Vec<(f64, Happened)> = marks.chain(keyed).collect();
        events.sort_by(|a, b| a.0.total_cmp(&b.0));
        measure(&log(&events), &setup, 60.0)
    };
    for moments in [1, 4] {
        let got = session(moments);
        let lags = got.lags.unwrap();
        assert_eq!(
            (lags.on_time.count, lags.stray.count, lags.stray.of),
            (moments as usize, 0, 0)
        );
        assert_eq!((got.marks, got.pairs.len()), (10, moments as usize));
        assert!(got.steps.iter().all(|s| s.strays.is_none()));
    }
    let got = session(5);
    let stray = got.lags.unwrap().stray;
    assert_eq!((stray.count, stray.of, got.pairs.len()), (5, 10, 10));
    assert_eq!(got.steps[0].strays, Some(5));
}

/// By hand, with a window of 0.5 s before and 1.5 s after, and 0.5 s until a mark is
/// known: a miss is told 2 s after its moment, and no longer once a later mark has
/// no moment either.
#[test]
fn a_missed_moment_shows_until_something_newer_is_known() {
    let setup = setup(PLAN);
    let log = log(&[
        (2.0, Happened::Reached),
        (2.2, mark(2.2)),
        (10.0, Happened::Reached),
        (20.0, mark(20.0)),
        (30.0, Happened::Reached),
        (30.1, mark(30.1)),
    ]);
    let latest = |now_s: f64| {
        let mut until = Log::default();
        for entry in log.entries().iter().filter(|e| e.event.t_s <= now_s) {
            until.apply(entry.number, entry.event.clone());
        }
        let at = Looking::at(&until, &setup, now_s, false);
        let pair = at.latest(0.5, 2.0);
        pair.map(|p| (p.moment_s.unwrap(), p.lag_ms.is_some()))
    };
    for (now_s, shown) in [
        (1.0, None),
        (2.1, None),
        (3.0, Some((2.0, true))),
        (11.9, Some((2.0, true))),
        (12.1, Some((10.0, false))),
        // A mark may still get its moment for half a second.
        (20.4, Some((10.0, false))),
        (20.6, None),
        (30.2, Some((30.0, true))),
    ] {
        assert_eq!(latest(now_s), shown, "at {now_s} s");
    }
}
