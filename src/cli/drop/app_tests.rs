use std::path::Path;

use super::super::keep::tests::{begun, click, setup};
use super::*;
use crate::drill::Waits;
use crate::listen::Listening;
use crate::sound::{Pace, Played};
use crate::timeline::{MomentKind, Outcome};

/// A partner's drill whose key for the moment is m.
fn drill(keeper: Option<Keeper>) -> (Drill, Receiver<Happening>) {
    let source = Played::from_samples(8_000, Pace::RealTime, vec![0.0; 80_000]);
    let listening = Listening::new(8_000, &[], None).unwrap();
    let (live, told) = Live::start(Box::new(source), listening, None).unwrap();
    let caller = Caller::new(Way::Partner, MomentKind::Floor, 1.2, Waits::new(1, false));
    let first_letter = |name: &str| name.chars().take(1).collect::<String>();
    let keys = KeyMap::new(TABLE, first_letter);
    let log = Log::open(Path::new("/nowhere/at/all"));
    let state = State::new(setup());
    let drill = Drill::new(Begin {
        state,
        live,
        caller,
        keys: keys.unwrap(),
        path: None,
        keeper,
        log,
        names: vec!["box".to_owned()],
        has_screen: false,
    });
    (drill, told)
}

fn warning(drill: &Drill) -> &str {
    drill.state.warning.as_ref().map_or("", |(_, words)| words)
}

#[test]
fn a_full_disk_or_a_pedal_that_is_gone_is_a_warning_and_the_drill_goes_on() {
    let (mut drill, _told) = drill(None);
    drill.take(Happening::PedalGone("Feet".to_owned()));
    let words = "The pedal \"Feet\" is gone; m still tells the moment.";
    assert_eq!(warning(&drill), words);
    drill.take(Happening::NotKept("The disk is full.".to_owned()));
    let words = "Keeping the sound stopped; the drill goes on. The disk is full.";
    assert_eq!(warning(&drill), words);
    assert!(!drill.is_over() && drill.trouble.is_none());
}

/// When the ear fails, a moment and a mark that still waited for one another's
/// fellows are judged and kept, and the drill is ended.
#[test]
fn when_the_ear_fails_what_was_heard_is_judged_kept_and_ended() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("journal.sqlite");
    let (mut drill, told) = drill(Some(begun(&path)));
    let moment = Moment {
        t_s: 10.0,
        kind: MomentKind::Floor,
        source: MomentSource::Hand,
        label: String::new(),
    };
    drill.change(Event::Moment(moment, 3.0));
    drill.take(Happening::Heard(News::Sound(click(14.0))));
    drill.take(Happening::Failed("no more".to_owned()));
    assert!(drill.is_over());
    drill.end(told).unwrap();
    let keeper = drill.keeper.as_ref().unwrap();
    let kept = keeper.journal().read_bout(keeper.id()).unwrap();
    assert!(kept.ended_at.is_some());
    let outcomes: Vec<Outcome> = kept.pairs().map(|p| p.outcome).collect();
    assert_eq!(outcomes, [Outcome::Missed, Outcome::Stray]);
}
