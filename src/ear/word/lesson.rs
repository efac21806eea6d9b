//! A word taught live: what is to be said while the trainer says it. A take is judged
//! once, when it is over; the profile itself is made by [`teach_word`] from the very
//! same sound, as from a file.

use std::fmt;

use super::frames::{Powers, Spectrum};
use super::rate::To16k;
use super::takes::{CLOSURE, Cut, TakeFault, TakeReport, cut, is_clipped, leave_out_unlike};
use super::teach::{FEWEST_TAKES, TaughtWord, WordTeachError, teach_word};
use super::{HOP, RATE_HZ, WINDOW};
use crate::ear::heard::usable;
use crate::ear::lesson::{LAST_S, LONGEST_S, Lesson, ROOM_S, SURE, WANTED};
use crate::ear::{EarError, Level, LevelMeter};

/// The lesson is looked at every so many frames.
const LOOK: usize = 20;
/// A take is over when this many frames were quiet after it.
const OVER: usize = CLOSURE + 2;
/// So many good takes are needed beside one to say that it is unlike the rest,
const REST: usize = 4;
/// and it must be this many times farther than most: of few takes the usual distance
/// is not well known, and teaching has the last word.
const UNLIKE: f32 = 1.7;
/// Takes whose onsets differ by less are one take, looked at again, in seconds.
const SAME_S: f64 = 0.2;

/// What there is to say to the trainer.
#[derive(Debug, Clone, PartialEq)]
pub enum WordSaid {
    /// A take was heard and counts.
    Take {
        /// Takes that count so far.
        number: usize,
        /// How far it stands over the noise, in dB.
        over_noise_db: f32,
    },
    /// A take that does not count.
    Refused(TakeFault),
    /// Fewer of the takes than were counted can be learned from: more are needed.
    More {
        /// Takes that can be learned from.
        usable: usize,
    },
    /// The lesson begins anew, for this reason.
    Again(WordTeachError),
    /// The lesson begins anew: it went on for too long.
    TooLong,
    /// The word is taught.
    Done(Box<TaughtWord>),
}

impl fmt::Display for WordSaid {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Take {
                number,
                over_noise_db,
            } => write!(
                f,
                "take {number}/{WANTED}: good, {over_noise_db:.0} dB over the room"
            ),
            Self::Refused(fault) => write!(f, "that one does not count: {fault}"),
            Self::More { usable } => write!(
                f,
                "{usable} of them can be learned from: say it {} more times",
                WANTED.saturating_sub(*usable).max(1)
            ),
            Self::Again(reason) => write!(f, "once more from the beginning, please: {reason}"),
            Self::TooLong => f.write_str(
                "once more from the beginning, please: the word ten times, a second's pause after each, nothing else in between",
            ),
            Self::Done(taught) => write!(f, "taught from {} takes", taught.profile.takes.len()),
        }
    }
}

/// A word's lesson that is going on.
pub struct WordLesson {
    name: String,
    rate_hz: u32,
    samples: Vec<f32>,
    top: f32,
    meter: LevelMeter,
    rate: To16k,
    sound: Vec<f32>,
    spectrum: Spectrum,
    frames: Vec<Powers>,
    /// What was said of the takes: onset and fault.
    told: Vec<(f64, Option<TakeFault>)>,
    /// Takes to go for before the next try to learn.
    goal: usize,
}

impl WordLesson {
    /// A lesson for a word called `name` at a rate of 8 to 192 kHz.
    pub fn new(name: &str, rate_hz: u32) -> Result<Self, EarError> {
        if !(8_000..=192_000).contains(&rate_hz) {
            return Err(EarError::Rate(rate_hz));
        }
        Ok(Self {
            name: name.to_owned(),
            rate_hz,
            samples: Vec::new(),
            top: 0.0,
            meter: LevelMeter::new(rate_hz),
            rate: To16k::new(f64::from(rate_hz)),
            sound: Vec::new(),
            spectrum: Spectrum::new(),
            frames: Vec::new(),
            told: Vec::new(),
            goal: WANTED,
        })
    }

    fn one_frame(&mut self) -> Result<(), EarError> {
        let at = self.frames.len() * HOP;
        let mut frame = [0.0; WINDOW + 1];
        if at > 0 {
            frame[0] = self.sound[at - 1];
        }
        frame[1..].copy_from_slice(&self.sound[at..at + WINDOW]);
        self.frames.push(self.spectrum.powers(&frame)?);
        Ok(())
    }

    /// Takes that are over, judged by all that was heard so far.
    fn takes(&self) -> Vec<TakeReport> {
        let rate_hz = f64::from(self.rate_hz);
        let place = |s: f64| ((s * rate_hz) as usize).min(self.samples.len());
        let mut cuts: Vec<Cut> = cut(&self.sound, &self.frames, |from_s, to_s| {
            let (from, to) = (place(from_s), place(to_s));
            is_clipped(&self.samples[from..to.max(from)], self.top)
        });
        cuts.retain(|c| c.to + OVER <= self.frames.len());
        let good = cuts.iter().filter(|c| c.report.fault.is_none()).count();
        let mut reports: Vec<TakeReport> = cuts.iter().map(|c| c.report).collect();
        if good > REST {
            leave_out_unlike(&mut cuts, &self.frames);
            for (report, cut) in reports.iter_mut().zip(&cuts) {
                match cut.report.fault {
                    Some(TakeFault::Unlike { ratio }) if ratio < UNLIKE => {}
                    fault => report.fault = fault,
                }
            }
        }
        reports
    }

    /// Says what is new; whether the lesson is over.
    fn look(&mut self, say: &mut dyn FnMut(WordSaid)) -> Result<bool, EarError> {
        if !self.knows_the_room() {
            return Ok(false);
        }
        let takes = self.takes();
        for take in &takes {
            if self.told.iter().any(|t| (t.0 - take.at_s).abs() < SAME_S) {
                continue;
            }
            self.told.push((take.at_s, take.fault));
            say(match take.fault {
                Some(fault) => WordSaid::Refused(fault),
                None => WordSaid::Take {
                    number: self.count(),
                    over_noise_db: take.over_noise_db,
                },
            });
        }
        let heard_s = (self.frames.len() * HOP) as f64 / RATE_HZ;
        let ended_s = takes.last().map_or(0.0, |t| t.at_s + t.length_s);
        if self.count() >= self.goal && heard_s - ended_s > LAST_S {
            let said = self.learn()?;
            let is_done = matches!(said, WordSaid::Done(_));
            say(said);
            return Ok(is_done);
        }
        if heard_s > LONGEST_S {
            self.start_anew()?;
            say(WordSaid::TooLong);
        }
        Ok(false)
    }

    fn learn(&mut self) -> Result<WordSaid, EarError> {
        match self.finish() {
            Ok(taught) if taught.profile.takes.len() >= SURE => {
                Ok(WordSaid::Done(Box::new(taught)))
            }
            Ok(taught) => Ok(self.more(taught.profile.takes.len())),
            Err(WordTeachError::TooFew { good, .. }) => Ok(self.more(good)),
            Err(reason) => {
                self.start_anew()?;
                Ok(WordSaid::Again(reason))
            }
        }
    }

    fn more(&mut self, usable: usize) -> WordSaid {
        // The next look counts anew; what was told stays told.
        self.goal = self.count().max(WANTED) + 1;
        WordSaid::More { usable }
    }

    fn start_anew(&mut self) -> Result<(), EarError> {
        let meter = self.meter.clone();
        *self = Self::new(&self.name, self.rate_hz)?;
        self.meter = meter;
        Ok(())
    }

    /// The end of the lesson: learns from what there is, and from `talk` and its rate
    /// in Hz what the word is not.
    pub fn finish_with(&self, talk: Option<(&[f32], u32)>) -> Result<TaughtWord, WordTeachError> {
        teach_word(&self.name, &self.samples, self.rate_hz, talk)
    }
}

impl Lesson for WordLesson {
    type Taught = TaughtWord;
    type Said = WordSaid;
    type Refusal = WordTeachError;

    fn count(&self) -> usize {
        self.told.iter().filter(|t| t.1.is_none()).count()
    }

    fn is_enough(&self) -> bool {
        self.count() >= FEWEST_TAKES
    }

    fn level(&mut self) -> Level {
        self.meter.level()
    }

    fn knows_the_room(&self) -> bool {
        self.samples.len() as f64 >= ROOM_S * f64::from(self.rate_hz)
    }

    fn push(&mut self, samples: &[f32], say: &mut dyn FnMut(WordSaid)) -> Result<(), EarError> {
        self.meter.push(samples);
        for &x in samples {
            self.samples.push(x);
            let x = usable(x) as f32;
            self.top = self.top.max(x.abs());
            let sound = &mut self.sound;
            self.rate.push(x, |y| sound.push(y));
            while self.frames.len() * HOP + WINDOW <= self.sound.len() {
                self.one_frame()?;
                if self.frames.len().is_multiple_of(LOOK) && self.look(say)? {
                    return Ok(());
                }
            }
        }
        Ok(())
    }

    fn learned(said: WordSaid) -> Option<TaughtWord> {
        match said {
            WordSaid::Done(taught) => Some(*taught),
            _ => None,
        }
    }

    fn finish(&self) -> Result<TaughtWord, WordTeachError> {
        self.finish_with(None)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::room::{Colour, Room, farm};

    const RATE: u32 = 16_000;

    /// The made-up word at these seconds with these peaks, over `noise`.
    fn takes(at: &[(f64, f64)], seconds: f64, noise: f64) -> Vec<f32> {
        let mut room = Room::new(RATE, seconds, 4);
        for (k, &(s, peak)) in at.iter().enumerate() {
            room.say(farm::WORD, 0.96 + 0.02 * (k % 5) as f64, s, peak);
        }
        room.noise(noise, Colour::Pink);
        room.finish().samples
    }

    fn said(samples: &[f32], block: usize) -> (Vec<WordSaid>, WordLesson) {
        let mut lesson = WordLesson::new("good", RATE).unwrap();
        let mut all = Vec::new();
        for part in samples.chunks(block) {
            lesson.push(part, &mut |s| all.push(s)).unwrap();
            if matches!(all.last(), Some(WordSaid::Done(_))) {
                break;
            }
        }
        (all, lesson)
    }

    fn steady(n: usize) -> Vec<(f64, f64)> {
        (0..n).map(|k| (1.5 + 1.4 * k as f64, 0.3)).collect()
    }

    #[test]
    fn ten_takes_are_counted_and_make_the_profile_a_file_would() {
        let samples = takes(&steady(10), 18.0, 0.001);
        let (all, lesson) = said(&samples, 480);
        let numbers: Vec<usize> = all
            .iter()
            .filter_map(|s| match s {
                WordSaid::Take { number, .. } => Some(*number),
                _ => None,
            })
            .collect();
        assert_eq!(numbers, (1..=10).collect::<Vec<_>>(), "{all:?}");
        let Some(WordSaid::Done(taught)) = all.last() else {
            panic!("{all:?}");
        };
        let file = teach_word("good", &lesson.samples, RATE, None).unwrap();
        assert_eq!(**taught, file);
    }

    #[test]
    fn how_the_sound_comes_makes_no_difference() {
        let samples = takes(&steady(6), 11.0, 0.001);
        let (whole, lesson) = said(&samples, 480);
        assert_eq!(lesson.count(), 6);
        for block in [1, 37, 4_096] {
            assert_eq!(said(&samples, block).0, whole, "{block}");
        }
    }

    /// Its frames are the file's frames, so that what it says of a take is what
    /// teaching will say.
    #[test]
    fn what_was_said_of_the_takes_is_what_teaching_says() {
        let mut at = steady(9);
        at[4].1 = 0.08;
        let samples = takes(&at, 15.0, 0.001);
        let (all, lesson) = said(&samples, 480);
        assert!(
            all.iter()
                .any(|s| matches!(s, WordSaid::Refused(f) if f.to_string().contains("too quiet"))),
            "{all:?}"
        );
        let taught = lesson.finish().unwrap();
        let faults = |f: &mut dyn Iterator<Item = Option<TakeFault>>| -> Vec<bool> {
            f.map(|f| f.is_some()).collect()
        };
        assert_eq!(
            faults(&mut lesson.told.iter().map(|t| t.1)),
            faults(&mut taught.takes.iter().map(|t| t.fault))
        );
    }

    #[test]
    fn clipped_short_and_other_sounds_are_refused_with_the_reason() {
        let at: Vec<(f64, f64)> = steady(7).into_iter().map(|(s, _)| (s, 0.9)).collect();
        let mut samples = takes(&at, 14.0, 0.001);
        // The third is overdriven, as loud as the microphone goes.
        for v in &mut samples[68_000..76_000] {
            *v = (*v * 13.0).clamp(-1.0, 1.0);
        }
        // Another word than the rest.
        let other = crate::sound::room::word(f64::from(RATE), 29, 1.0);
        for (k, v) in other.iter().enumerate() {
            samples[190_000 + k] += 0.9 * v;
        }
        // A knock.
        for (k, v) in samples[210_000..210_400].iter_mut().enumerate() {
            *v += 0.4 * (0.9 * k as f32).sin() * (-(k as f32) / 80.0).exp();
        }
        let (all, lesson) = said(&samples, 480);
        let refused: Vec<String> = all
            .iter()
            .filter(|s| matches!(s, WordSaid::Refused(_)))
            .map(ToString::to_string)
            .collect();
        for reason in ["clipped", "unlike the rest", "too short"] {
            assert!(
                refused.iter().any(|r| r.contains(reason)),
                "{reason}: {all:?}"
            );
        }
        assert_eq!(lesson.count(), 6, "{all:?}");
        assert!(lesson.is_enough());
    }

    #[test]
    fn a_quiet_room_says_nothing_and_a_lesson_of_nothing_ends() {
        let (all, lesson) = said(&takes(&[], 5.0, 0.001), 480);
        assert_eq!(all, []);
        let error = lesson.finish().unwrap_err();
        assert!(matches!(error, WordTeachError::TooFew { good: 0, .. }));
        assert!(!lesson.is_enough());
        let (all, _) = said(&vec![0.0; RATE as usize * 182], 16_000);
        assert_eq!(all, [WordSaid::TooLong]);
        assert!(WordLesson::new("good", 4_000).is_err());
    }
}
