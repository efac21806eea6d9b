//! A click taught live: what is to be said while the trainer clicks. The profile
//! itself is made by [`teach_click`] from the very same sound, as from a file.

use std::fmt;

use super::{
    FEWEST_CLICKS, LEAST_OVER_NOISE_DB, LONGEST_HELD_S, Taught, TeachError, is_clipped, teach_click,
};
use crate::ear::heard::click_view;
use crate::ear::lesson::{LAST_S, LONGEST_S, Lesson, ROOM_S, SURE, WANTED};
use crate::ear::level::{Level, LevelMeter, STANDS_OUT_DB};
use crate::ear::{Ear, EarError};

/// Sounds closer than this are one sound and its echo, in seconds.
const SAME_S: f64 = 0.025;
/// The stretch around an onset in which a click's level is read, in seconds.
const AROUND_S: (f64, f64) = (0.02, 0.008);

/// What there is to say to the trainer.
#[derive(Debug, Clone, PartialEq)]
pub enum ClickSaid {
    /// A click was heard and counts.
    Click {
        /// Clicks that count so far.
        number: usize,
        /// How far it stands over the noise, in dB.
        over_noise_db: f64,
    },
    /// A click that does not count: it hardly stands out.
    TooQuiet {
        /// How far it stands over the noise, in dB.
        over_noise_db: f64,
    },
    /// A click that does not count: it is overdriven.
    Clipped,
    /// A click that does not count: it came too soon after the one before it.
    TooSoon,
    /// Fewer of the clicks than were counted can be learned from: more are needed.
    More {
        /// Clicks that can be learned from.
        usable: usize,
    },
    /// The lesson begins anew, for this reason.
    Again(TeachError),
    /// The lesson begins anew: it went on for too long.
    TooLong,
    /// The click is taught.
    Done(Box<Taught>),
}

impl fmt::Display for ClickSaid {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Click {
                number,
                over_noise_db,
            } => write!(
                f,
                "click {number}/{WANTED}: good, {over_noise_db:.0} dB over the room"
            ),
            Self::TooQuiet { over_noise_db } => write!(
                f,
                "too quiet ({over_noise_db:.0} dB over the room, {LEAST_OVER_NOISE_DB:.0} are needed): come nearer and click again"
            ),
            Self::Clipped => f.write_str(
                "too loud for the microphone: move it away, or turn its level down, and click again",
            ),
            Self::TooSoon => f.write_str("too soon: wait about a second between two clicks"),
            Self::More { usable } => write!(
                f,
                "{usable} of them can be learned from: click {} more times, a second apart",
                WANTED.saturating_sub(*usable).max(1)
            ),
            Self::Again(reason) => write!(f, "once more from the beginning, please: {reason}"),
            Self::TooLong => f.write_str(
                "once more from the beginning, please: ten clicks, about one a second, nothing else in between",
            ),
            Self::Done(taught) => {
                write!(f, "taught from {} clicks", taught.profile.examples)
            }
        }
    }
}

/// A lesson that is going on.
pub struct ClickLesson {
    name: String,
    rate_hz: u32,
    samples: Vec<f32>,
    ear: Ear,
    meter: LevelMeter,
    /// The last sound that was taken for a press, and whether its release came.
    last: Option<(u64, bool)>,
    last_sound: u64,
    count: usize,
    /// Clicks to go for before the next try to learn.
    goal: usize,
}

impl ClickLesson {
    /// A lesson for a click called `name` at a rate of 8 to 192 kHz.
    pub fn new(name: &str, rate_hz: u32) -> Result<Self, EarError> {
        Ok(Self {
            name: name.to_owned(),
            rate_hz,
            samples: Vec::new(),
            ear: Ear::new(rate_hz, &[])?,
            meter: LevelMeter::new(rate_hz),
            last: None,
            last_sound: 0,
            count: 0,
            goal: WANTED,
        })
    }

    fn span(&self, s: f64) -> u64 {
        (s * f64::from(self.rate_hz)) as u64
    }

    /// What a sound is, by its level and the rhythm.
    fn judge(&mut self, at: u64) -> Option<ClickSaid> {
        if at < self.last_sound + self.span(SAME_S) && self.last.is_some() {
            return None;
        }
        let over_noise_db = self.over_noise_db(at);
        if over_noise_db < STANDS_OUT_DB {
            return None;
        }
        self.last_sound = at;
        if let Some((press, released)) = self.last
            && at - press.min(at) <= self.span(LONGEST_HELD_S)
        {
            // The wait begins anew with the click that came too soon.
            self.last = Some(if released { (at, false) } else { (press, true) });
            return released.then_some(ClickSaid::TooSoon);
        }
        self.last = Some((at, false));
        if is_clipped(&self.samples, at, f64::from(self.rate_hz)) {
            return Some(ClickSaid::Clipped);
        }
        if over_noise_db < LEAST_OVER_NOISE_DB {
            return Some(ClickSaid::TooQuiet { over_noise_db });
        }
        self.count += 1;
        Some(ClickSaid::Click {
            number: self.count,
            over_noise_db,
        })
    }

    /// Largest sample of the click view at `at` over the room's noise, in dB.
    fn over_noise_db(&mut self, at: u64) -> f64 {
        let from = at.saturating_sub(self.span(AROUND_S.0)) as usize;
        let to = ((at + self.span(AROUND_S.1)) as usize).min(self.samples.len());
        let Some(around) = self.samples.get(from..to) else {
            return 0.0;
        };
        let view = click_view(around, f64::from(self.rate_hz));
        let peak = view.iter().fold(1e-10f32, |a, v| a.max(v.abs()));
        20.0 * f64::from(peak).log10() - self.meter.click_noise_dbfs()
    }

    fn learn(&mut self) -> Result<ClickSaid, EarError> {
        let more = |lesson: &mut Self, usable: usize| {
            lesson.count = usable;
            lesson.goal = WANTED.max(usable + 1);
            ClickSaid::More { usable }
        };
        match teach_click(&self.name, &self.samples, self.rate_hz) {
            Ok(taught) if taught.profile.examples >= SURE => Ok(ClickSaid::Done(Box::new(taught))),
            Ok(taught) => Ok(more(self, taught.profile.examples)),
            Err(TeachError::TooFew { found }) => Ok(more(self, found)),
            Err(reason) => {
                self.start_anew()?;
                Ok(ClickSaid::Again(reason))
            }
        }
    }

    fn start_anew(&mut self) -> Result<(), EarError> {
        let meter = self.meter.clone();
        *self = Self::new(&self.name, self.rate_hz)?;
        self.meter = meter;
        Ok(())
    }
}

impl Lesson for ClickLesson {
    type Taught = Taught;
    type Said = ClickSaid;
    type Refusal = TeachError;

    fn count(&self) -> usize {
        self.count
    }

    fn level(&mut self) -> Level {
        self.meter.level()
    }

    fn knows_the_room(&self) -> bool {
        self.samples.len() as f64 >= ROOM_S * f64::from(self.rate_hz)
    }

    fn push(&mut self, samples: &[f32], say: &mut dyn FnMut(ClickSaid)) -> Result<(), EarError> {
        self.meter.push(samples);
        self.samples.extend_from_slice(samples);
        let mut heard = Vec::new();
        self.ear.push(samples, &mut |h| heard.push(h.at))?;
        for at in heard {
            if let Some(said) = self.judge(at) {
                say(said);
            }
        }
        let since = self.samples.len() as u64 - self.last_sound.min(self.samples.len() as u64);
        if self.count >= self.goal && since > self.span(LAST_S) {
            say(self.learn()?);
        } else if self.samples.len() as u64 > self.span(LONGEST_S) {
            self.start_anew()?;
            say(ClickSaid::TooLong);
        }
        Ok(())
    }

    fn finish(&self) -> Result<Taught, TeachError> {
        teach_click(&self.name, &self.samples, self.rate_hz)
    }

    fn is_enough(&self) -> bool {
        self.count >= FEWEST_CLICKS
    }

    fn learned(said: ClickSaid) -> Option<Taught> {
        match said {
            ClickSaid::Done(taught) => Some(*taught),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::room::{Clicker, Colour, Room, farm};

    const RATE: u32 = 48_000;

    /// Clicks of clicker 31 at these seconds with these peaks, over `noise`.
    fn clicks(at: &[(f64, f64)], seconds: f64, noise: f64) -> Vec<f32> {
        let clicker = Clicker::from_seed(31);
        let mut room = Room::new(RATE, seconds, 4);
        for &(s, peak) in at {
            room.click(&clicker, s, peak);
        }
        room.noise(noise, Colour::White);
        room.finish().samples
    }

    fn said(samples: &[f32], cut: usize) -> (Vec<ClickSaid>, ClickLesson, usize) {
        let mut lesson = ClickLesson::new("barn", RATE).unwrap();
        let mut all = Vec::new();
        let mut used = 0;
        for block in samples.chunks(cut) {
            lesson.push(block, &mut |s| all.push(s)).unwrap();
            used += block.len();
            if matches!(all.last(), Some(ClickSaid::Done(_))) {
                break;
            }
        }
        (all, lesson, used)
    }

    fn steady(n: usize) -> Vec<(f64, f64)> {
        (0..n).map(|k| (1.5 + 1.2 * k as f64, 0.3)).collect()
    }

    #[test]
    fn ten_clicks_are_counted_and_make_the_profile_a_file_would() {
        let samples = clicks(&steady(10), 16.0, 0.001);
        let (all, _, used) = said(&samples, 480);
        let numbers: Vec<usize> = all
            .iter()
            .filter_map(|s| match s {
                ClickSaid::Click { number, .. } => Some(*number),
                _ => None,
            })
            .collect();
        assert_eq!(numbers, (1..=10).collect::<Vec<_>>(), "{all:?}");
        let Some(ClickSaid::Done(taught)) = all.last() else {
            panic!("{all:?}");
        };
        let from_file = teach_click("barn", &samples[..used], RATE).unwrap();
        assert_eq!(
            serde_json::to_string(&taught.profile).unwrap(),
            serde_json::to_string(&from_file.profile).unwrap()
        );
        assert_eq!(taught.profile.examples, 10);
    }

    #[test]
    fn the_made_up_farms_ten_clicks_are_enough_however_they_come() {
        let scene = farm::ten_clicks(7);
        let lesson = |cut| {
            let mut lesson = ClickLesson::new("tilda", RATE).unwrap();
            for block in scene.samples.chunks(cut) {
                lesson.push(block, &mut |_| {}).unwrap();
            }
            lesson
        };
        let (a, b) = (lesson(480), lesson(4_096));
        assert_eq!((a.count(), b.count()), (10, 10));
        let whole = teach_click("tilda", &scene.samples, RATE).unwrap();
        assert_eq!(a.finish().unwrap(), whole);
        assert_eq!(b.finish().unwrap(), whole);
    }

    #[test]
    fn quiet_clipped_and_hurried_clicks_are_told_and_not_counted() {
        // 0.004 over white noise of 0.001 RMS is 12 dB over it, in the click's
        // view a little more.
        let quiet = clicks(&[(2.0, 0.0035), (4.0, 0.3)], 6.0, 0.001);
        let (all, lesson, _) = said(&quiet, 480);
        assert!(
            matches!(all[0], ClickSaid::TooQuiet { over_noise_db } if over_noise_db > 10.0),
            "{all:?}"
        );
        assert_eq!(lesson.count(), 1, "{all:?}");

        let loud: Vec<f32> = clicks(&[(2.0, 4.0)], 4.0, 0.001)
            .iter()
            .map(|x| x.clamp(-1.0, 1.0))
            .collect();
        assert_eq!(said(&loud, 480).0[0], ClickSaid::Clipped);

        let hurried = clicks(&[(2.0, 0.3), (2.3, 0.3), (2.6, 0.3)], 5.0, 0.001);
        let (all, lesson, _) = said(&hurried, 480);
        assert!(all.contains(&ClickSaid::TooSoon), "{all:?}");
        assert_eq!(lesson.count(), 1);
    }

    #[test]
    fn clicks_that_teaching_refuses_begin_the_lesson_anew() {
        let in_turn = |other: u64| {
            let mut room = Room::new(RATE, 16.0, 9);
            for k in 0..10 {
                let clicker = Clicker::from_seed(if k % 2 == 0 { 31 } else { other });
                room.click(&clicker, 1.5 + 1.2 * f64::from(k), 0.3);
            }
            room.noise(0.001, Colour::White);
            room.finish().samples
        };
        // Two clickers in turn, of which teaching says that they are too unlike.
        let samples = (32..80)
            .map(in_turn)
            .find(|x| {
                matches!(
                    teach_click("barn", x, RATE),
                    Err(TeachError::TooUnlike { .. })
                )
            })
            .unwrap();
        let (all, lesson, _) = said(&samples, 480);
        let Some(ClickSaid::Again(reason)) = all.last() else {
            panic!("{} said", all.len());
        };
        assert!(matches!(reason, TeachError::TooUnlike { .. }), "{reason}");
        assert_eq!(lesson.count(), 0);
    }

    #[test]
    fn a_quiet_room_says_nothing_and_a_lesson_of_nothing_ends() {
        let (all, lesson, _) = said(&clicks(&[], 4.0, 0.001), 480);
        assert_eq!(all, []);
        assert_eq!(
            lesson.finish().unwrap_err(),
            TeachError::TooFew { found: 0 }
        );
        let (all, ..) = said(&vec![0.0; 48_000 * 181], 48_000);
        assert_eq!(all, [ClickSaid::TooLong]);
    }
}
