//! A made-up session with a goat: asked, answered, marked, paid.

use std::collections::HashMap;

use crate::journal::record::{Bout, KeptReview};
use crate::journal::sessions::KeptSession;
use crate::journal::settings::Settings;
use crate::session::{Setup, measure};
use crate::sound::room::Dice;
use crate::timeline::plan::{Behaviour, Practise, Step};
use crate::timeline::session::{Happened, Log, SessionEvent};
use crate::timeline::{
    HeardSound, Moment, MomentId, MomentKind, MomentSource, Plan, Sound, SoundId, SoundKind,
};

const GOATS: [&str; 3] = ["Juniper", "Bramble", "Clover"];
const BEHAVIOURS: [(&str, &str); 3] = [
    ("four feet on the box", "box"),
    ("nose on the target", "touch"),
    ("walks beside", "with me"),
];
/// Tries in a session.
const TRIES: usize = 14;

/// A session of about three minutes; `done` is how far the trainer has come, 0 to 1.
pub(super) fn session(bout: Bout, done: f64, dice: &mut Dice) -> KeptSession {
    let goat = GOATS[dice.below(GOATS.len())];
    let setup = setup(goat, bout.person.clone(), BEHAVIOURS[dice.below(3)]);
    let mut making = Making {
        t_s: 4.0,
        log: Log::default(),
    };
    let break_at = dice.below(2 * TRIES);
    for number in 0..TRIES {
        if number == break_at {
            making.happens(0.0, MomentSource::Hand, Happened::Break);
            making.t_s += dice.between(15.0, 25.0);
            making.happens(0.0, MomentSource::Hand, Happened::Resume);
        }
        making.one_try(done, dice);
        making.t_s += dice.between(3.0, 7.0);
    }
    KeptSession {
        bout,
        animal: Some(goat.to_owned()),
        setup,
        length_s: making.t_s + 3.0,
        log: making.log,
    }
}

/// What was marked in it, for what.
pub(super) fn as_review(kept: &KeptSession) -> KeptReview {
    let behaviour = kept.setup.plan.behaviour_of(0);
    let label = behaviour.map_or("", |b| b.name.as_str());
    let bout = Bout {
        duration_s: Some(kept.length_s),
        ..kept.bout.clone()
    };
    let (mut sounds, mut moments) = (Vec::new(), Vec::new());
    let mut places = HashMap::new();
    for entry in kept.log.counted_entries() {
        let event = &entry.event;
        match &event.what {
            Happened::Mark(sound) => sounds.push(HeardSound {
                id: SoundId(entry.number),
                sound: sound.clone(),
                u_ms: event.u_ms,
            }),
            Happened::Reached => {
                places.insert(MomentId(entry.number), moments.len());
                moments.push(Moment {
                    t_s: event.t_s,
                    kind: MomentKind::Behaviour,
                    source: event.source,
                    label: label.to_owned(),
                });
            }
            _ => {}
        }
    }
    let mut pairs = measure(&kept.log, &kept.setup, kept.length_s).pairs;
    for pair in &mut pairs {
        let place = pair.moment.and_then(|id| places.get(&id));
        pair.moment = place.map(|place| MomentId::at(*place));
    }
    KeptReview::of_heard(bout, &sounds, &moments, &pairs)
}

fn setup(goat: &str, person: Option<String>, (name, cue): (&str, &str)) -> Setup {
    let settings = Settings::default();
    let step = |number: u32, earns: &str| Step {
        number,
        earns: earns.to_owned(),
    };
    let behaviour = Behaviour {
        name: name.to_owned(),
        cue: cue.to_owned(),
        on_cue: true,
        steps: vec![step(1, "for a moment"), step(2, "until the mark")],
    };
    let practise = Practise {
        pairing: false,
        behaviour: Some(name.to_owned()),
        step: Some(1),
    };
    let plan = Plan {
        name: format!("{goat}: {name}"),
        animal: goat.to_owned(),
        person,
        treats: Some(20),
        behaviours: vec![behaviour],
        practise: vec![practise],
        ..Plan::free(5.0)
    };
    settings.session_setup(plan, None)
}

struct Making {
    t_s: f64,
    log: Log,
}

impl Making {
    fn happens(&mut self, u_ms: f64, source: MomentSource, what: Happened) {
        let number = self.log.entries().len() as i64 + 1;
        let t_s = self.t_s;
        let event = SessionEvent {
            t_s,
            u_ms,
            source,
            what,
        };
        self.log.apply(number, event);
    }

    fn one_try(&mut self, done: f64, dice: &mut Dice) {
        self.happens(3.0, MomentSource::Hand, Happened::Cue);
        self.t_s += dice.between(1.0, 3.0);
        let came = dice.unit();
        if came < 0.08 {
            // No answer: the trainer waits and asks again.
            self.t_s += 8.0;
            return;
        }
        if came < 0.2 {
            self.happens(3.0, MomentSource::Hand, Happened::NearMiss);
            return;
        }
        self.happens(3.0, MomentSource::Hand, Happened::Reached);
        if dice.unit() < 0.1 * (1.0 - 0.5 * done) {
            self.t_s += 2.0;
            return;
        }
        let tail_ms = -55.0 * f64::ln(1.0 - dice.unit());
        let lag_ms = (210.0 - 40.0 * done + 20.0 * dice.normal() + tail_ms).max(60.0);
        self.t_s += lag_ms / 1e3;
        let click = Sound {
            t_s: self.t_s,
            kind: SoundKind::Click,
            name: "blue".to_owned(),
            confidence: dice.between(0.8, 1.0),
            level_dbfs: dice.between(-30.0, -6.0),
        };
        self.happens(0.1, MomentSource::Sound, Happened::Mark(click));
        self.t_s += dice.between(1.2, 3.0);
        if dice.unit() > 0.05 {
            self.happens(3.0, MomentSource::Hand, Happened::Treat);
        }
    }
}
