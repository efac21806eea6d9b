use super::*;
use crate::journal::Settings;
use crate::session::reheard;
use crate::timeline::SoundId;

const PLAN: &str = include_str!("../../fixtures/plans/target.toml");

fn setup() -> Setup {
    Settings::default().session_setup(Plan::parse(PLAN).unwrap(), None)
}

fn known(sound: Sound) -> HeardSound {
    HeardSound {
        id: SoundId(0),
        sound,
        u_ms: 0.5,
    }
}

fn sound(t_s: f64, kind: SoundKind, name: &str) -> Sound {
    Sound {
        t_s,
        kind,
        name: name.into(),
        confidence: 0.9,
        level_dbfs: -12.0,
    }
}

fn heard(course: &mut Course, t_s: f64, kind: SoundKind, name: &str) -> Done {
    course.take(Input::Heard(known(sound(t_s, kind, name))))
}

fn done(course: &mut Course, t_s: f64, deed: Deed) -> Done {
    course.take(Input::Done {
        deed,
        t_s,
        u_ms: 3.0,
    })
}

/// The plan's second thing has the cue "place": said aloud it is a cue, and what
/// is practised goes with it, from the word's own instant on.
#[test]
fn a_cue_that_is_spoken_asks_for_its_behaviour() {
    let mut course = Course::new(setup());
    assert_eq!(course.practised(), (0, 2));
    let cue = heard(&mut course, 5.0, SoundKind::Word, "Place");
    assert_eq!(cue, Done::Noted(Happened::Cue));
    assert_eq!(course.practised(), (1, 1));
    heard(&mut course, 8.0, SoundKind::Word, "place");
    let whats: Vec<&Happened> = course
        .log()
        .entries()
        .iter()
        .map(|e| &e.event.what)
        .collect();
    assert_eq!(
        whats,
        [&Happened::Turn { item: 1 }, &Happened::Cue, &Happened::Cue]
    );
    // A word is known some time after it was said: what was practised then counts.
    done(&mut course, 12.0, Deed::Turn);
    heard(&mut course, 11.0, SoundKind::Word, "place");
    assert_eq!(course.practised(), (0, 2));
    assert_eq!(course.log().entries().len(), 5);
}

#[test]
fn a_sound_is_a_mark_a_cue_or_nothing() {
    let mut course = Course::new(setup());
    let no_part = Done::Refused(Refusal::NoPart);
    assert_eq!(heard(&mut course, 1.0, SoundKind::Impact, ""), no_part);
    for (kind, name) in [(SoundKind::Word, "yes"), (SoundKind::Click, "place")] {
        let mark = heard(&mut course, 2.0, kind, name);
        assert!(matches!(mark, Done::Noted(Happened::Mark(_))), "{name}");
    }
    let mut named = setup();
    named.plan.bridge = Some("blue".into());
    // The cue of something that the plan has and does not practise.
    named.plan.practise.pop();
    let mut course = Course::new(named);
    assert_eq!(heard(&mut course, 1.0, SoundKind::Click, "red"), no_part);
    assert_eq!(heard(&mut course, 2.0, SoundKind::Word, "place"), no_part);
    assert!(matches!(
        heard(&mut course, 3.0, SoundKind::Click, "blue"),
        Done::Noted(Happened::Mark(_))
    ));
}

#[test]
fn any_event_is_set_aside_and_taken_back_in_and_none_is_lost() {
    let mut course = Course::new(setup());
    done(&mut course, 1.0, Deed::Reached);
    heard(&mut course, 1.3, SoundKind::Click, "blue");
    done(&mut course, 2.0, Deed::Treat);
    let aside = |course: &mut Course, number| course.take(Input::SetAside { number, t_s: 9.0 });
    let went = aside(&mut course, 1);
    assert_eq!(went, Done::Aside(Happened::Reached, 1.0, true));
    assert_eq!(course.log().counted().len(), 2);
    let came = aside(&mut course, 1);
    assert_eq!(came, Done::Aside(Happened::Reached, 1.0, false));
    assert_eq!(course.log().counted().len(), 3);
    // A mark is known a little after the key that was pressed after it.
    heard(&mut course, 1.9, SoundKind::Click, "blue");
    let recent: Vec<f64> = course.recent().iter().map(|e| e.event.t_s).collect();
    assert_eq!(recent, [2.0, 1.9, 1.3, 1.0]);
    // Neither what is not there nor an undo itself is set aside.
    for number in [4, 99] {
        let nothing = aside(&mut course, number);
        assert_eq!(nothing, Done::Refused(Refusal::NothingToUndo));
    }
    assert_eq!(course.log().entries().len(), 6);
    let up = done(&mut course, 10.0, Deed::StepUp);
    assert_eq!(up, Done::Noted(Happened::Step { number: 3 }));
    let no_step = done(&mut course, 11.0, Deed::StepUp);
    assert_eq!(no_step, Done::Refused(Refusal::NoSuchStep));
    assert!(!course.is_break());
    done(&mut course, 12.0, Deed::Break);
    assert!(course.is_break());
    assert_eq!(
        done(&mut course, 13.0, Deed::Break),
        Done::Noted(Happened::Resume)
    );
}

/// The same sound heard again gives the same session, undone marks and all.
#[test]
fn a_session_heard_again_is_the_same() {
    let mut course = Course::new(setup());
    let sounds = [
        sound(2.3, SoundKind::Click, "blue"),
        sound(5.0, SoundKind::Word, "place"),
        sound(7.5, SoundKind::Click, "blue"),
        sound(9.0, SoundKind::Click, "blue"),
    ]
    .map(known);
    done(&mut course, 2.0, Deed::Reached);
    for one in &sounds {
        course.take(Input::Heard(one.clone()));
    }
    done(&mut course, 7.0, Deed::Reached);
    done(&mut course, 7.1, Deed::Reached);
    done(&mut course, 9.5, Deed::Undo);
    let last_mark = course.log().entries().iter().rfind(|e| e.event.t_s == 9.0);
    let number = last_mark.unwrap().number;
    course.take(Input::SetAside { number, t_s: 9.8 });
    let again = reheard(course.log(), course.setup(), &sounds);
    // As JSON, in which the events' numbers in the log are not.
    let measures = |log: &Log| {
        let measures = super::super::measure(log, course.setup(), 20.0);
        assert_eq!((measures.marks, measures.pairs.len()), (2, 2));
        serde_json::to_value(measures).unwrap()
    };
    let live = measures(course.log());
    assert_eq!(measures(&again), live);
    // With the last sound gone its undo has nothing to act on.
    let fewer = reheard(course.log(), course.setup(), &sounds[..3]);
    assert_eq!(measures(&fewer), live);
}
