//! A made-up school: people of a small goat farm who practise for weeks and get
//! better by a known amount. For a first look, for tests and for benchmarks.

mod drill;
mod session;

use jiff::civil::{Date, Time, date};
use jiff::tz::TimeZone;

use self::drill::Making;
use super::error::JournalError;
use super::open::Journal;
use super::record::{Bout, BoutKind, KeptReview};
use super::sessions::KeptSession;
use crate::sound::room::Dice;
use crate::timeline::{Aim, MomentKind};

/// The first Monday of practice: eight weeks on, the clocks go forward.
pub const FIRST_DAY: Date = date(2025, 2, 10);
const ZONE: &str = "Europe/Vienna";

const NAMES: [&str; 12] = [
    "Tilda", "Ruben", "Anouk", "Joris", "Milena", "Oskar", "Signe", "Teodor", "Ulla", "Vito",
    "Wanda", "Yves",
];

/// What a school is made of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct School {
    /// Another number makes another school.
    pub seed: u64,
    /// How many people.
    pub people: u32,
    /// For how many days.
    pub days: u32,
    /// The chance that somebody practises on a day, 0 to 1.
    pub practice: f64,
    /// Drills on a day of practice, each of about 20 drops.
    pub drills: u32,
    /// Whether there are sessions with goats, and words beside clicks.
    pub sessions: bool,
}

/// How a person does, by construction.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// The name.
    pub name: String,
    /// The median lag of floor drops on the first day, in milliseconds.
    pub first_ms: f64,
    /// The same on the last day; between them it changes evenly.
    pub last_ms: f64,
    /// Standard deviation of a lag on the first day; it halves by the last.
    pub spread_ms: f64,
}

/// What was made: to be kept as the real ones are.
#[derive(Debug, Clone, PartialEq)]
pub enum Made {
    /// A ball-drop drill.
    Drill(Box<KeptReview>),
    /// A session with a goat.
    Session(Box<KeptSession>),
}

impl Made {
    /// As a review would be kept of it.
    pub fn as_review(&self) -> KeptReview {
        match self {
            Self::Drill(drill) => (**drill).clone(),
            Self::Session(kept) => session::as_review(kept),
        }
    }
}

impl Journal {
    /// Keeps all bouts of one person of a made-up school. Gives how many.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn keep_school(&mut self, school: &School, person: u32) -> Result<usize, JournalError> {
        let mut sessions = Vec::new();
        let drills = school.bouts(person).filter_map(|made| match made {
            Made::Drill(drill) => Some(*drill),
            Made::Session(session) => {
                sessions.push(session);
                None
            }
        });
        let mut kept = self.keep_reviews(drills)?;
        for session in &sessions {
            self.keep_session(session)?;
            kept += 1;
        }
        Ok(kept)
    }
}

impl School {
    /// The truth about one person, counted from 0.
    pub fn truth(&self, person: u32) -> Truth {
        let mut dice = Dice::new(self.seed ^ (u64::from(person) << 20));
        let round = person as usize / NAMES.len();
        let name = NAMES[person as usize % NAMES.len()];
        let first_ms = dice.between(40.0, 120.0);
        Truth {
            name: if round == 0 {
                name.to_owned()
            } else {
                format!("{name} {}", round + 1)
            },
            first_ms,
            last_ms: first_ms - dice.between(30.0, 60.0),
            spread_ms: dice.between(30.0, 55.0),
        }
    }

    /// All bouts of one person, in order of time, made while they are asked for.
    pub fn bouts(&self, person: u32) -> impl Iterator<Item = Made> + use<> {
        let school = *self;
        let truth = school.truth(person);
        let mut dice = Dice::new(school.seed.wrapping_mul(31) + u64::from(person));
        (0..school.days).flat_map(move |day| {
            let mut bouts = Vec::new();
            if dice.unit() < school.practice {
                for number in 0..school.drills {
                    bouts.push(Made::Drill(Box::new(
                        school.drill(&truth, day, number, &mut dice),
                    )));
                }
                if school.sessions && dice.unit() < 0.4 {
                    let bout = school.bout(&truth, day, 16, BoutKind::Session, &mut dice);
                    let done = school.part_done(day);
                    bouts.push(Made::Session(Box::new(session::session(
                        bout, done, &mut dice,
                    ))));
                }
            }
            bouts
        })
    }

    fn part_done(&self, day: u32) -> f64 {
        f64::from(day) / f64::from(self.days.saturating_sub(1).max(1))
    }

    fn drill(&self, truth: &Truth, day: u32, number: u32, dice: &mut Dice) -> KeptReview {
        let done = self.part_done(day);
        let level_ms = truth.first_ms + done * (truth.last_ms - truth.first_ms);
        let (kind, extra_ms) = if self.sessions && number % 3 == 2 {
            (MomentKind::Release, 160.0)
        } else {
            (MomentKind::Floor, 0.0)
        };
        let says_word = self.sessions && dice.unit() < 0.25;
        let mut made = Making::new(kind, if says_word { "yes" } else { "blue" }, says_word);
        // The day as a whole is a little off, as days are.
        let day_ms = 6.0 * dice.normal();
        let word_ms = if says_word { 45.0 } else { 0.0 };
        for _ in 0..20 {
            made.rest_s(dice.between(3.0, 5.0));
            if kind == MomentKind::Floor {
                made.bounces(dice);
            }
            let spread_ms = truth.spread_ms * (1.0 - 0.5 * done);
            let lag_ms = level_ms + extra_ms + word_ms + day_ms + spread_ms * dice.normal();
            let is_missed = dice.unit() < 0.06 * (1.0 - 0.7 * done);
            made.moment("", (!is_missed).then_some(lag_ms), dice);
        }
        if dice.unit() < 0.3 {
            made.stray(dice);
        }
        made.finish(self.bout(truth, day, 7 + number * 2, BoutKind::Drill, dice))
    }

    fn bout(&self, truth: &Truth, day: u32, hour: u32, kind: BoutKind, dice: &mut Dice) -> Bout {
        let on = FIRST_DAY.saturating_add(jiff::Span::new().days(i64::from(day)));
        let at = Time::constant((hour % 24) as i8, dice.below(60) as i8, 0, 0);
        let zone = TimeZone::get(ZONE).unwrap_or(TimeZone::UTC);
        let started_at = zone.to_ambiguous_timestamp(on.to_datetime(at)).compatible();
        Bout {
            kind,
            started_at: started_at.unwrap_or_default(),
            time_zone: Some(ZONE.to_owned()),
            person: Some(truth.name.clone()),
            source: None,
            sound_file: None,
            sample_rate_hz: Some(48_000),
            channels: Some(1),
            duration_s: None,
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            settings_json: r#"{"made_up":true}"#.to_owned(),
            profiles: Vec::new(),
        }
    }
}

fn aim_of(kind: MomentKind) -> Aim {
    crate::journal::settings::Aims::default().of(kind)
}
