use std::time::Duration;

use jiff::Timestamp;

use super::*;
use crate::drill::{Event, Feedback, Setup, Way, step};
use crate::ear::word::WordAt;
use crate::journal::{BoutKind, StoredBout};
use crate::listen::News;
use crate::review::Rules;
use crate::timeline::{Aim, Moment, MomentKind, MomentSource, Sound, SoundKind, Window};

pub(in crate::cli::drop) fn setup() -> Setup {
    Setup {
        kind: MomentKind::Floor,
        way: Way::Partner,
        rules: Rules {
            aim: Aim {
                from_ms: -50.0,
                to_ms: 50.0,
            },
            window: Window::new(500.0, 1_500.0).unwrap(),
            ball_m: 1.0,
            clicker_m: 1.0,
            known_within_m: 0.25,
            file_step_ms: 1.0,
            hand_u_ms: 0.0,
        },
        drops: None,
        feedback: Feedback::Each,
        known_after_s: 0.5,
        word_at: WordAt::Onset,
    }
}

pub(in crate::cli::drop) fn click(t_s: f64) -> HeardSound {
    let sound = Sound {
        t_s,
        kind: SoundKind::Click,
        name: "box".into(),
        confidence: 1.0,
        level_dbfs: -12.0,
    };
    HeardSound {
        id: SoundId((1e3 * t_s) as i64),
        sound,
        u_ms: 0.02,
    }
}

/// A press at `t_s` and a click 40 ms later.
fn drop_at(keeper: &mut Keeper, state: State, t_s: f64) -> State {
    let moment = Moment {
        t_s,
        kind: MomentKind::Floor,
        source: MomentSource::Hand,
        label: String::new(),
    };
    let sound = click(t_s + 0.04);
    keeper.heard(&sound);
    let now = Event::Now {
        t_s: t_s + 3.0,
        peak_dbfs: -50.0,
    };
    let events = [
        Event::Moment(moment, 3.0),
        Event::Heard(News::Sound(sound)),
        now,
    ];
    events.into_iter().fold(state, step)
}

pub(in crate::cli::drop) fn begun(path: &std::path::Path) -> Keeper {
    let journal = Journal::open_patiently(path, Duration::ZERO).unwrap();
    let bout = Bout {
        kind: BoutKind::Drill,
        started_at: Timestamp::UNIX_EPOCH,
        time_zone: None,
        person: None,
        source: None,
        sound_file: None,
        sample_rate_hz: None,
        channels: None,
        duration_s: None,
        program_version: String::new(),
        settings_json: "{}".to_owned(),
        profiles: Vec::new(),
    };
    Keeper::begin(journal, &bout).unwrap()
}

fn counted(kept: &StoredBout) -> (usize, usize, usize) {
    let aside = kept.aside();
    let rows = kept.events.iter().filter(|row| !aside.contains(&row.seq));
    rows.fold((0, 0, 0), |(s, m, p), row| match row.event {
        BoutEvent::Sound(_) => (s + 1, m, p),
        BoutEvent::Moment(_) => (s, m + 1, p),
        BoutEvent::Pair(_) => (s, m, p + 1),
        _ => (s, m, p),
    })
}

/// Another program holds the journal while drops come and one is undone; when it
/// lets go all of it is kept, once.
#[test]
fn what_could_not_be_kept_is_kept_the_next_time() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("journal.sqlite");
    let mut keeper = begun(&path);
    let mut state = drop_at(&mut keeper, State::new(setup()), 10.0);
    keeper.keep(&state).unwrap();

    let other = rusqlite::Connection::open(&path).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    state = step(state, Event::Undo);
    for t_s in [20.0, 30.0] {
        state = drop_at(&mut keeper, state, t_s);
        keeper.keep(&state).unwrap_err();
    }
    other.execute_batch("ROLLBACK").unwrap();

    for _ in 0..2 {
        keeper.keep(&state).unwrap();
        let kept = keeper.journal().read_bout(keeper.id()).unwrap();
        assert_eq!(counted(&kept), (3, 2, 2), "{:?}", kept.events);
        assert_eq!((kept.moments().count(), kept.pairs().count()), (3, 3));
    }
    // New and undone before it could be kept: in one go.
    state = step(drop_at(&mut keeper, state, 40.0), Event::Undo);
    keeper.end(&state).unwrap();
    let kept = keeper.journal().read_bout(keeper.id()).unwrap();
    assert_eq!(counted(&kept), (4, 2, 2), "{:?}", kept.events);
    assert!(kept.ended_at.is_some());
}

/// The most uncertain press stands for all of them: a pair that was kept before it is
/// kept anew with what is known now.
#[test]
fn a_pair_is_kept_with_the_uncertainty_that_it_has_at_the_end() {
    let folder = tempfile::tempdir().unwrap();
    let mut keeper = begun(&folder.path().join("journal.sqlite"));
    let mut state = drop_at(&mut keeper, State::new(setup()), 10.0);
    keeper.keep(&state).unwrap();
    let kept_u_ms = |keeper: &Keeper| {
        let kept = keeper.journal().read_bout(keeper.id()).unwrap();
        let u_ms = kept.pairs_counted().map(|p| p.u_ms.unwrap());
        u_ms.collect::<Vec<f64>>()
    };
    // The press, the click, its way of 1 m (not taken off) and ±0.25 m of it (uniform).
    let u_ms = |press_ms: f64| {
        let way_ms = 1e3 / 343.2;
        let parts = [press_ms, 0.02, way_ms, 0.25 * way_ms / 3f64.sqrt()];
        parts.iter().map(|ms| ms * ms).sum::<f64>().sqrt()
    };
    let close = |found: &[f64], expected: &[f64]| {
        assert_eq!(found.len(), expected.len(), "{found:?}");
        let is_close = |(a, b): (&f64, &f64)| (a - b).abs() < 1e-6;
        assert!(
            found.iter().zip(expected).all(is_close),
            "{found:?} {expected:?}"
        );
    };
    close(&kept_u_ms(&keeper), &[u_ms(3.0)]);
    let moment = Moment {
        t_s: 60.0,
        kind: MomentKind::Floor,
        source: MomentSource::Hand,
        label: String::new(),
    };
    state = step(state, Event::Moment(moment, 9.0));
    let heard = state.heard.clone();
    state = step(state, Event::Ended(heard));
    keeper.end(&state).unwrap();
    let kept = keeper.journal().read_bout(keeper.id()).unwrap();
    let lags = kept.pairs_counted().filter(|p| p.lag_ms.is_some());
    let found: Vec<f64> = lags.filter_map(|p| p.u_ms).collect();
    close(&found, &[u_ms(9.0)]);
}
