//! What is read is what was kept, bit for bit.

use jiff::Timestamp;
use marklag::journal::{
    Bout, BoutEvent, BoutKind, Journal, JournalError, KeptReview, Note, NoteKind, OtherEvent,
    ProfileSnapshot, SetAside, StoredBout, settings_json,
};
use marklag::timeline::{
    Moment, MomentId, MomentKind, MomentSource, Outcome, Pair, Sound, SoundId, SoundKind,
};
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;

use crate::scene;

/// Any finite number. A negative zero is the one value that comes back with
/// other bits (SQLite keeps it as the whole number 0).
fn number() -> impl Strategy<Value = f64> {
    use proptest::num::f64::{NEGATIVE, NORMAL, POSITIVE, SUBNORMAL, ZERO};
    let wild = (POSITIVE | NEGATIVE | NORMAL | SUBNORMAL | ZERO).prop_map(|x| x + 0.0);
    prop_oneof![
        wild,
        -1e4..1e4f64,
        select(vec![0.0, 1.0, -3.0, 1e15, f64::MAX, f64::MIN_POSITIVE])
    ]
}

fn text() -> impl Strategy<Value = String> {
    prop_oneof![
        "\\PC{0,12}",
        Just(String::new()),
        Just("a\0b\n'\";--".to_owned())
    ]
}

fn sound() -> impl Strategy<Value = Sound> {
    let kind = select(vec![SoundKind::Click, SoundKind::Word, SoundKind::Impact]);
    (number(), kind, text(), 0.0..=1.0, number()).prop_map(
        |(t_s, kind, name, confidence, level_dbfs)| Sound {
            t_s,
            kind,
            name,
            confidence,
            level_dbfs,
        },
    )
}

fn moment() -> impl Strategy<Value = Moment> {
    use MomentKind::{Behaviour, Floor, Release, Top};
    let kind = select(vec![Floor, Release, Top, Behaviour]);
    let source = select(vec![
        MomentSource::Sound,
        MomentSource::File,
        MomentSource::Hand,
    ]);
    (number(), kind, source, text()).prop_map(|(t_s, kind, source, label)| Moment {
        t_s,
        kind,
        source,
        label,
    })
}

fn bout() -> impl Strategy<Value = Bout> {
    let kind = select(vec![BoutKind::Review, BoutKind::Drill, BoutKind::Session]);
    let profile = ("[a-z]{1,5}", number()).prop_map(|(name, x)| ProfileSnapshot {
        name,
        json: format!("{{ \"x\" : {x:?}}}"),
    });
    (
        (kind, -60_000_000_000_000_000..250_000_000_000_000_000i128),
        option::of("[A-Z][a-z]{0,5}"),
        option::of(text()),
        option::of(1..=768_000u32),
        option::of(1..=64u16),
        option::of(0.0..1e6f64),
        vec(profile, 0..3),
    )
        .prop_map(
            |((kind, us), person, source, rate, channels, duration_s, mut profiles)| {
                profiles.sort();
                profiles.dedup();
                Bout {
                    kind,
                    started_at: Timestamp::from_nanosecond(us * 1000 + 7).unwrap(),
                    time_zone: None,
                    person,
                    source,
                    sound_file: None,
                    sample_rate_hz: rate,
                    channels,
                    duration_s,
                    program_version: "0.1.0".into(),
                    settings_json: " { \"b\": 1e0, \"a\":2 }".into(),
                    profiles,
                }
            },
        )
}

prop_compose! {
    fn review()(
        bout in bout(),
        sounds in vec(sound(), 0..12),
        moments in vec(moment(), 0..12),
        lags in vec((number(), option::of(0.0..1e9f64), any::<bool>(), any::<bool>()), 12),
    ) -> KeptReview {
        // Any pairing whose times are times of the review, in any shape.
        let marks: Vec<(usize, f64)> = sounds.iter().enumerate().filter(|(_, s)| s.is_mark()).map(|(k, s)| (k, s.t_s)).collect();
        let mut pairs = Vec::new();
        for (i, (lag_ms, u_ms, has_moment, has_mark)) in lags.into_iter().enumerate() {
            let moment_s = moments.get(i).map(|m| m.t_s).filter(|_| has_moment);
            let mark = marks.get(i).copied().filter(|_| has_mark);
            let mark_s = mark.map(|m| m.1);
            let (lag_ms, u_ms, outcome) = match (moment_s, mark_s) {
                (Some(_), Some(_)) => (Some(lag_ms), u_ms, Outcome::Late),
                (Some(_), None) => (None, None, Outcome::Missed),
                (None, Some(_)) => (None, None, Outcome::Stray),
                (None, None) => continue,
            };
            let moment = moment_s.map(|_| MomentId::at(i));
            let mark = mark.map(|m| SoundId::at(m.0));
            pairs.push(Pair { moment, mark, moment_s, mark_s, lag_ms, outcome, u_ms });
        }
        KeptReview { bout, sounds, moments, pairs }
    }
}

/// Debug text of a float is the shortest that names its bits; so equal texts
/// mean equal bits.
fn bits(x: &impl std::fmt::Debug) -> String {
    format!("{x:?}")
}

/// A pair whose moment and mark are named by their places in a review.
fn in_places(stored: &StoredBout, pair: &Pair) -> Pair {
    let rows = |is_of: fn(&BoutEvent) -> bool| -> Vec<i64> {
        let rows = stored.events.iter().filter(|row| is_of(&row.event));
        rows.map(|row| row.seq).collect()
    };
    let sounds = rows(|event| matches!(event, BoutEvent::Sound(_)));
    let moments = rows(|event| matches!(event, BoutEvent::Moment(_)));
    let place = |rows: &[i64], row: i64| rows.iter().position(|seq| *seq == row).unwrap();
    Pair {
        moment: pair.moment.map(|id| MomentId::at(place(&moments, id.0))),
        mark: pair.mark.map(|id| SoundId::at(place(&sounds, id.0))),
        ..pair.clone()
    }
}

fn as_review(stored: &StoredBout) -> KeptReview {
    KeptReview {
        bout: stored.bout.clone(),
        sounds: stored.sounds().cloned().collect(),
        moments: stored.moments().cloned().collect(),
        pairs: stored.pairs().map(|pair| in_places(stored, pair)).collect(),
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn a_review_comes_back_bit_for_bit(reviews in vec(review(), 1..4)) {
        let scratch = tempfile::tempdir().unwrap();
        let file = scratch.path().join("journal.sqlite");
        let mut journal = Journal::open(&file).unwrap();
        let ids: Vec<_> = reviews.iter().map(|r| journal.keep_review(r).unwrap()).collect();
        drop(journal);
        let journal = Journal::open(&file).unwrap();
        journal.check().unwrap();
        for (id, review) in ids.iter().zip(&reviews) {
            let stored = journal.read_bout(id).unwrap();
            prop_assert_eq!(bits(&as_review(&stored)), bits(review));
            let numbers: Vec<i64> = stored.events.iter().map(|row| row.seq).collect();
            let count = i64::try_from(numbers.len()).unwrap();
            prop_assert_eq!(numbers, (1..=count).collect::<Vec<_>>());
        }
    }
}

#[test]
fn a_bout_kept_as_it_happens_comes_back_in_order() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let start = scene::bout(BoutKind::Drill);
    let id = journal.begin_bout(&start).unwrap();
    assert_eq!(journal.unended().unwrap(), std::slice::from_ref(&id));
    let review = scene::review();
    let events = vec![
        BoutEvent::Moment(review.moments[0].clone()),
        BoutEvent::Sound(review.sounds[0].clone()),
        BoutEvent::Pair(scene::in_rows(&review.pairs[0], 2, 1)),
        BoutEvent::Other(OtherEvent {
            t_s: Some(2.5),
            u_ms: None,
            kind: "gap".into(),
            detail_json: Some(r#"{"length_s":0.03}"#.into()),
        }),
        BoutEvent::SetAside(SetAside {
            target_seq: 3,
            is_aside: true,
            reason: "the dog barked".into(),
        }),
        BoutEvent::Note(Note {
            t_s: None,
            kind: NoteKind::Tag,
            text: "rain".into(),
        }),
    ];
    assert_eq!(journal.append_event(&id, &events[0]).unwrap(), 1);
    assert_eq!(journal.append_events(&id, &events[1..2]).unwrap(), 2..3);
    // The pair's moment and mark were kept by earlier calls.
    assert_eq!(journal.append_events(&id, &events[2..]).unwrap(), 3..7);
    let ended_at = "2025-03-30T06:20:00Z".parse().unwrap();
    journal.end_bout(&id, ended_at, Some(300.0)).unwrap();
    assert_eq!(journal.unended().unwrap(), []);

    let stored = journal.read_bout(&id).unwrap();
    let read: Vec<BoutEvent> = stored.events.iter().map(|row| row.event.clone()).collect();
    assert_eq!(read, events);
    assert_eq!(stored.ended_at, Some(ended_at));
    assert_eq!(stored.bout.duration_s, Some(300.0));

    let late = journal.append_event(&id, &events[0]).unwrap_err();
    assert!(matches!(late, JournalError::Ended { .. }), "{late}");
    let again = journal.end_bout(&id, ended_at, None).unwrap_err();
    assert!(matches!(again, JournalError::Ended { .. }), "{again}");
}

#[test]
fn what_cannot_be_kept_is_named_and_leaves_nothing() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let mut refuse = |change: fn(&mut KeptReview), word: &str| {
        let mut review = scene::review();
        change(&mut review);
        let error = journal.keep_review(&review).unwrap_err();
        assert!(matches!(error, JournalError::BadValue { .. }), "{error}");
        assert!(error.to_string().contains(word), "{error}");
        assert_eq!(journal.list(None).unwrap(), []);
    };
    refuse(|r| r.sounds[2].t_s = f64::NAN, "sound's time is NaN");
    refuse(|r| r.sounds[2].level_dbfs = f64::NEG_INFINITY, "level");
    refuse(|r| r.sounds[0].confidence = 1.5, "confidence");
    refuse(|r| r.moments[1].t_s = f64::INFINITY, "moment's time");
    refuse(|r| r.pairs[1].lag_ms = Some(f64::NAN), "lag");
    refuse(|r| r.pairs[0].moment_s = Some(1.5), "1.5 s is no moment");
    refuse(|r| r.pairs[3].mark_s = Some(0.5), "0.5 s is no click");
    refuse(|r| r.pairs[3].outcome = Outcome::Missed, "CHECK");
    refuse(|r| r.bout.duration_s = Some(-1.0), "duration_s");
    refuse(|r| r.bout.settings_json = "{".into(), "json_valid");
    refuse(|r| r.bout.profiles[0].json = String::new(), "json_valid");
}

#[test]
fn two_moments_at_one_time_are_two() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let mut review = scene::review();
    review.moments[1].t_s = 1.0;
    review.pairs[1].moment_s = Some(1.0);
    let id = journal.keep_review(&review).unwrap();
    assert_eq!(as_review(&journal.read_bout(&id).unwrap()), review);
    let file = rusqlite::Connection::open(scratch.path().join("j")).unwrap();
    let apart: i64 = file
        .query_row("SELECT count(DISTINCT moment_seq) FROM pair", [], |row| {
            row.get(0)
        })
        .unwrap();
    assert_eq!(apart, 3);
}

#[test]
fn a_negative_zero_is_zero() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let mut review = scene::review();
    review.moments[0].t_s = 0.0;
    review.pairs[0].moment_s = Some(-0.0);
    review.sounds[0].t_s = -0.0;
    review.pairs[0].mark_s = Some(0.0);
    review.pairs[0].lag_ms = Some(-0.0);
    let id = journal.keep_review(&review).unwrap();
    assert_eq!(as_review(&journal.read_bout(&id).unwrap()), review);
}

/// What counts is the same by the program's reading and by the file's own view: a pair,
/// a moment or a mark set aside takes the pair with it.
#[test]
fn the_pairs_that_count_are_those_of_the_view() {
    let scratch = tempfile::tempdir().unwrap();
    let path = scratch.path().join("j");
    let mut journal = Journal::open(&path).unwrap();
    let id = journal.begin_bout(&scene::bout(BoutKind::Drill)).unwrap();
    let mut events = Vec::new();
    for k in 0..8 {
        // The events before the pairs are put in front of those before them.
        let row = 2 * i64::from(7 - k) + 1;
        let moment = scene::floor(f64::from(k) * 3.0);
        let mark = scene::click(moment.t_s + 0.05);
        events.push(BoutEvent::Pair(Pair {
            moment: Some(MomentId(row + 1)),
            mark: Some(SoundId(row)),
            moment_s: Some(moment.t_s),
            mark_s: Some(mark.t_s),
            lag_ms: Some(50.0),
            outcome: Outcome::OnTime,
            u_ms: None,
        }));
        events.insert(0, BoutEvent::Moment(moment));
        events.insert(0, BoutEvent::Sound(mark));
    }
    journal.append_events(&id, &events).unwrap();
    let set_aside = |journal: &mut Journal, target_seq, is_aside| {
        let reason = String::new();
        let change = BoutEvent::SetAside(SetAside {
            target_seq,
            is_aside,
            reason,
        });
        journal.append_events(&id, &[change]).unwrap();
    };
    // A mark, a moment, a pair; one of each taken back.
    for (seq, is_aside) in [
        (1, true),
        (4, true),
        (17, true),
        (20, true),
        (20, false),
        (7, true),
        (7, false),
    ] {
        set_aside(&mut journal, seq, is_aside);
    }
    let counted: Vec<f64> = journal
        .read_bout(&id)
        .unwrap()
        .pairs_counted()
        .filter_map(|pair| pair.moment_s)
        .collect();
    let view: Vec<f64> = rusqlite::Connection::open(&path)
        .unwrap()
        .prepare("SELECT moment_s FROM pair_counted ORDER BY seq")
        .unwrap()
        .query_map([], |row| row.get(0))
        .unwrap()
        .collect::<Result<_, _>>()
        .unwrap();
    assert_eq!(counted, view);
    assert_eq!(counted.len(), 5, "{counted:?}");
}

/// The way of a session's clicks is told by what the session itself was judged with.
#[test]
fn a_bout_tells_its_distances() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let mut setup = crate::sessions::setup();
    (setup.clicker_m, setup.known_within_m) = (10.0, 0.05);
    let bout = Bout {
        settings_json: settings_json(&setup).unwrap(),
        ..scene::bout(BoutKind::Session)
    };
    let id = journal.begin_session(&bout, None, None).unwrap();
    let told = journal.read_bout(&id).unwrap().distances();
    assert_eq!(
        (told.microphone_to_clicker_m, told.known_within_m),
        (10.0, 0.05)
    );
    let bout = Bout {
        settings_json: r#"{"settings":{"distance":{"microphone_to_clicker_m":3.0}}}"#.into(),
        ..scene::bout(BoutKind::Drill)
    };
    let id = journal.begin_bout(&bout).unwrap();
    let told = journal.read_bout(&id).unwrap().distances();
    assert_eq!(
        (told.microphone_to_clicker_m, told.known_within_m),
        (3.0, 0.25)
    );
}
