use super::*;
use crate::drill::Feedback;
use crate::ear::word::WordAt;
use crate::review::Rules;
use crate::timeline::{Aim, Drop, MomentSource, Window};
use crate::timeline::{HeardSound, MomentKind, Sound, SoundKind};
use proptest::prelude::*;

fn setup(way: Way, drops: Option<usize>) -> Setup {
    Setup {
        kind: MomentKind::Floor,
        way,
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
        drops,
        feedback: Feedback::Each,
        known_after_s: 0.5,
        word_at: WordAt::Onset,
    }
}

/// Numbered by its instant.
fn heard(sound: Sound, u_ms: f64) -> Event {
    let id = SoundId((1e6 * sound.t_s) as i64);
    Event::Heard(News::Sound(HeardSound { id, sound, u_ms }))
}

fn click(t_s: f64) -> Event {
    let sound = Sound {
        t_s,
        kind: SoundKind::Click,
        name: "box".into(),
        confidence: 1.0,
        level_dbfs: -12.0,
    };
    heard(sound, 0.02)
}

/// A drop whose floor is at `t_s`: bounces of 0.7, 0.49 … s.
fn ball(t_s: f64) -> Event {
    Event::Heard(News::Drop(Drop {
        impacts_s: vec![t_s, t_s + 0.7, t_s + 1.19, t_s + 1.533],
        floor_s: t_s,
        release_s: t_s - 0.5,
        release_u_ms: 12.0,
        top_s: t_s + 0.35,
        top_u_ms: 0.0,
        restitution: 0.7,
        height_m: 1.226,
        height_u_m: 0.06,
        residual_ms: Some(0.1),
        chance_per_hour: 0.0,
        is_settled: true,
    }))
}

fn bang(t_s: f64) -> Event {
    let Event::Heard(News::Sound(mut one)) = click(t_s) else {
        panic!("a click is heard");
    };
    one.sound.kind = SoundKind::Impact;
    Event::Heard(News::Sound(one))
}

/// The impacts of [`ball`].
fn bounces(floor_s: f64) -> Vec<Event> {
    let Event::Heard(News::Drop(drop)) = ball(floor_s) else {
        panic!("a drop is heard");
    };
    drop.impacts_s.into_iter().map(bang).collect()
}

fn press(t_s: f64) -> Event {
    let moment = Moment {
        t_s,
        kind: MomentKind::Floor,
        source: MomentSource::Hand,
        label: String::new(),
    };
    Event::Moment(moment, 3.0)
}

fn now(t_s: f64) -> Event {
    Event::Now {
        t_s,
        peak_dbfs: -50.0,
    }
}

fn play(setup: Setup, events: &[Event]) -> State {
    events.iter().cloned().fold(State::new(setup), step)
}

fn told(state: &State) -> Vec<(Option<f64>, Outcome_)> {
    let round = |ms: f64| (ms * 1e3).round() / 1e3;
    state
        .told()
        .map(|p| (p.lag_ms.map(round), p.outcome))
        .collect()
}

use crate::timeline::Outcome as Outcome_;

#[test]
fn a_lag_comes_with_its_drop_a_miss_and_a_stray_when_nothing_can_come() {
    let mut events = vec![click(10.04), now(10.1)];
    let state = play(setup(Way::Ball, None), &events);
    assert_eq!(told(&state), []);
    assert_eq!(state.waiting_mark_s(), Some(10.04));
    events.extend([now(12.5), ball(10.0)]);
    let state = play(setup(Way::Ball, None), &events);
    assert_eq!(told(&state), [(Some(40.0), Outcome_::OnTime)]);
    assert_eq!(state.waiting_mark_s(), None);
    // A drop without a mark, and a mark without a drop.
    events.extend([now(18.0), ball(16.0), now(17.9)]);
    let state = play(setup(Way::Ball, None), &events);
    assert_eq!(told(&state).len(), 1, "a mark may still come");
    events.extend([now(18.1), click(25.0), now(26.0)]);
    let state = play(setup(Way::Ball, None), &events);
    assert_eq!(told(&state)[1..], [(None, Outcome_::Missed)]);
    events.push(now(40.0));
    let state = play(setup(Way::Ball, None), &events);
    assert_eq!(
        told(&state)[1..],
        [(None, Outcome_::Missed), (None, Outcome_::Stray)]
    );
}

#[test]
fn undo_takes_the_drop_and_its_mark_and_keeps_them() {
    let mut events = Vec::new();
    for k in 0..3 {
        let t = 10.0 * f64::from(k + 1);
        events.extend([click(t + 0.02), ball(t), now(t + 3.0)]);
    }
    events.push(Event::Undo);
    let state = play(setup(Way::Ball, Some(5)), &events);
    assert_eq!(told(&state), [(Some(20.0), Outcome_::OnTime); 2]);
    assert_eq!(
        (state.undone.clone(), state.drops_left()),
        (vec![MomentId(2)], Some(3))
    );
    assert_eq!(state.moments.len(), 3, "nothing is lost");
    events.extend([Event::Undo, Event::Undo, Event::Undo]);
    assert_eq!(told(&play(setup(Way::Ball, Some(5)), &events)), []);
}

#[test]
fn what_is_heard_in_a_pause_does_not_count() {
    let events = [
        click(10.02),
        ball(10.0),
        now(13.0),
        Event::Pause(14.0),
        click(20.0),
        ball(20.0),
        now(24.0),
        Event::Pause(25.0),
        click(30.03),
        ball(30.0),
        now(60.0),
    ];
    let state = play(setup(Way::Ball, None), &events);
    let wanted = [
        (Some(20.0), Outcome_::OnTime),
        (Some(30.0), Outcome_::OnTime),
    ];
    assert_eq!(told(&state), wanted);
    let paused = play(setup(Way::Ball, None), &events[..6]);
    assert_eq!((paused.phase, told(&paused).len()), (Phase::Paused, 1));
    // The same at the end, when all is judged anew.
    let mut ended = events.to_vec();
    ended.push(Event::Ended(state.heard.clone()));
    assert_eq!(told(&play(setup(Way::Ball, None), &ended)), wanted);
}

#[test]
fn it_is_done_when_the_asked_drops_have_their_outcome() {
    let mut events = vec![press(10.0), click(10.1), now(11.0), press(20.0), now(21.9)];
    let state = play(setup(Way::Partner, Some(2)), &events);
    assert_eq!((state.phase, state.drops_left()), (Phase::On, Some(0)));
    events.push(now(22.1));
    let state = play(setup(Way::Partner, Some(2)), &events);
    assert_eq!(state.phase, Phase::Done);
    let wanted = [(Some(100.0), Outcome_::Late), (None, Outcome_::Missed)];
    assert_eq!(told(&state), wanted);
    // The hand's 3 ms, the mark's 0.02 ms, its way of 1 m, which is not taken off, and
    // ± 0.25 m of it.
    let u_ms = state.pairs[0].u_ms.unwrap();
    assert!(
        (u_ms - 3.0f64.hypot(2.913_8).hypot(0.728_4 / 3f64.sqrt())).abs() < 1e-3,
        "{u_ms}"
    );
}

#[test]
fn a_mark_at_a_catch_drop_is_a_stray_and_counted() {
    let events = [
        Event::Catch(10.0),
        click(10.3),
        Event::Catch(30.0),
        now(40.0),
    ];
    let state = play(setup(Way::Partner, None), &events);
    assert_eq!(state.fooled(), (1, 2));
    assert_eq!(told(&state), [(None, Outcome_::Stray)]);
}

#[test]
fn a_gap_makes_the_pairs_near_it_doubtful() {
    let mut events = vec![click(10.02), ball(10.0), click(20.02), ball(20.0)];
    events.push(Event::Warning {
        t_s: 10.5,
        words: "30 ms are missing".into(),
        spoils: true,
    });
    let state = play(setup(Way::Ball, None), &events);
    assert_eq!(state.doubtful(), 1);
}

proptest! {
    /// However the drops and marks lie, pairing as they come (and settling what
    /// is old) gives what pairing all of them at once gives.
    #[test]
    fn as_it_comes_is_as_at_the_end(
        gaps in prop::collection::vec((0.3f64..9.0, -1.8f64..2.2, any::<bool>(), any::<bool>()), 1..60),
    ) {
        let mut at = 5.0;
        let mut told_at: Vec<(f64, Event)> = Vec::new();
        for (gap, lag, has_ball, has_click) in gaps {
            at += gap;
            if has_ball {
                // A drop is told when it has stopped bouncing.
                told_at.push((at + 3.0, ball(at)));
            }
            if has_click {
                told_at.push((at + lag + 0.01, click(at + lag)));
            }
        }
        told_at.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut events = Vec::new();
        for (t_s, event) in told_at {
            events.extend([event, now(t_s)]);
        }
        events.push(now(at + 60.0));
        let state = play(setup(Way::Ball, None), &events);
        prop_assert_eq!(&state.pairs, &state.outcome().pairs);
        let mut again = events.clone();
        again.push(Event::Ended({
            let mut heard = state.heard.clone();
            heard.sounds.sort_by(|a, b| a.sound.t_s.total_cmp(&b.sound.t_s));
            heard
        }));
        let ended = play(setup(Way::Ball, None), &again);
        prop_assert_eq!(&ended.pairs, &state.pairs);
    }
}

fn word(t_s: f64) -> Event {
    let sound = Sound {
        t_s,
        kind: SoundKind::Word,
        name: "good".into(),
        confidence: 0.9,
        level_dbfs: -20.0,
    };
    heard(sound, 4.0)
}

/// A word stamped at its start and known after a click and after its drop was
/// judged: it gets its pair, nothing is lost and nothing comes twice.
#[test]
fn a_word_known_late_is_paired_with_its_drop() {
    let mut setup = setup(Way::Ball, None);
    setup.known_after_s = 1.6;
    let events = [
        now(10.0),
        ball(10.0),
        now(11.6),
        click(10.9),
        now(12.2),
        word(10.03),
        now(12.3),
    ];
    let state = play(setup.clone(), &events);
    let times: Vec<f64> = state.heard.sounds.iter().map(|s| s.sound.t_s).collect();
    assert_eq!(times, [10.03, 10.9]);
    let lags: Vec<f64> = state.pairs.iter().filter_map(|p| p.lag_ms).collect();
    assert_eq!(lags.len(), 1);
    assert!((lags[0] - 30.0).abs() < 1e-6, "{lags:?}");
    // Until then no miss was told: the word might still have come.
    let before = play(setup, &events[..4]);
    assert!(
        before
            .told()
            .all(|p| p.outcome != crate::timeline::Outcome::Missed)
    );
}

/// However late a word is known, and whatever was settled by then, it comes to the
/// same as if it had been known at once.
#[test]
fn when_a_word_is_known_makes_no_difference() {
    let floors = [10.0, 30.0, 50.0];
    let all = |late: bool| {
        let mut events = Vec::new();
        for t_s in floors {
            events.push(now(t_s));
            if !late {
                events.push(word(t_s + 0.04));
            }
            events.extend(bounces(t_s));
            events.push(ball(t_s));
            events.push(click(t_s + 1.2));
            events.push(now(t_s + 18.0));
        }
        if late {
            events.extend(floors.map(|t_s| word(t_s + 0.04)));
        }
        play(setup(Way::Ball, None), &events)
    };
    let (soon, late) = (all(false), all(true));
    assert_eq!(soon.heard, late.heard);
    assert_eq!(soon.pairs, late.pairs);
    assert_eq!(soon.outcome(), late.outcome());
    assert_eq!(soon.pairs.iter().filter(|p| p.lag_ms.is_some()).count(), 3);
}

/// Two drops that were not marked: said only where another sound than the ball's own
/// came near both, and no longer once a mark was heard.
#[test]
fn a_clicker_that_is_not_recognised_is_told_from_the_ball() {
    let names = ["blue".to_owned()];
    let mut events = Vec::new();
    for floor_s in [10.0, 20.0] {
        events.extend(bounces(floor_s));
        events.extend([now(floor_s + 4.0), ball(floor_s)]);
    }
    let state = play(setup(Way::Ball, None), &events);
    assert_eq!(state.unheard(&names), None);
    events.extend([bang(10.3), bang(20.2)]);
    let state = play(setup(Way::Ball, None), &events);
    let words = state.unheard(&names).unwrap_or_default();
    assert!(words.starts_with("\"blue\" is not heard"), "{words}");
    events.push(click(24.0));
    let state = play(setup(Way::Ball, None), &events);
    assert_eq!(state.unheard(&names), None);
}
