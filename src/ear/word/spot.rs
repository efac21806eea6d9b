//! Words spotted in a stream.

use super::centre::{Centre, centre};
use super::cepstra::{Cosines, shape};
use super::cues::Cues;
use super::edge::{Edge, NEEDS, place};
use super::frames::{Powers, Spectrum};
use super::judge::{Close, Lies, NEARER};
use super::listener::{Candidate, Listener, MOST};
use super::mel::bands_below;
use super::noise::{Noise, total};
use super::praise::{AFTER, Around, around};
use super::profile::WordProfile;
use super::rate::To16k;
use super::{BANDS, HOP, RATE_HZ, WINDOW};
use crate::ear::EarError;
use crate::ear::history::History;

/// Frames that are remembered: 5 s, more than the longest look needs.
const REMEMBER: usize = 512;
/// Frames of background looked at before a candidate.
const BEFORE: usize = 32;
/// A candidate is looked at so many frames after it ends where sound goes on,
const WAITS: i64 = 25;
/// and so many after the sound ends where it ends before that.
const WAITS_QUIET: i64 = AFTER.1 as i64 + 1;
/// Sound has ended when it is this far under the word's loudest frame (ratio of power),
const ENDED: f32 = 0.0025;
/// or this far over the background.
const ENDED_OVER: f32 = 4.0;
/// The close look may move the word by so many frames.
const MOVE: usize = 12;
/// A look waits so many frames for a better one of another word.
const HELD: i64 = 3;
/// Two looks whose onsets are this close are one word, in samples at 16 kHz,
const SAME: i64 = 2_400;
/// and two that lie on one another by more than this.
const OVERLAP: i64 = 480;
/// Takes are brought into the stream's background every so many frames,
const MEET: i64 = 32;
/// What was loudest is forgotten by this part a frame (10 dB a second).
const FADES: f32 = 0.977;
/// So many of the nearest takes place the onset.
const PLACED_BY: usize = NEARER;
/// Power beside a word that stands alone over its own, in nepers.
const ALONE: f32 = -4.5;

/// A stretch that was looked at closely.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    /// Index of the word among the profiles.
    pub word: usize,
    /// Onset in samples at 16 kHz from the stream's first sample.
    pub onset: i64,
    /// End likewise.
    pub end: i64,
    /// What it was scored by.
    pub cues: Cues,
    /// What is around it.
    pub around: Around,
    /// Log odds that it is the word.
    pub score: f32,
    /// Whether speech surrounds it.
    pub in_talk: bool,
    /// Standard uncertainty of the onset in samples at 16 kHz.
    pub u: f32,
    /// Peak of the word, linear.
    pub peak: f32,
    /// Its perceptual centre.
    pub centre: Centre,
}

/// The longest, in seconds, that a word may last from its onset until it is told:
/// said at half the takes' pace, looked at with what is around it, and held.
pub fn known_after_s(profile: &WordProfile) -> f64 {
    let frames = profile.takes.iter().map(|t| t.powers_db.len() / BANDS);
    let longest = 2 * frames.max().unwrap_or(0);
    let waits = WAITS.max(WAITS_QUIET) + HELD;
    let more = waits as usize + 2 * MOVE + WINDOW / HOP + 3;
    ((longest + more) * HOP) as f64 / RATE_HZ
}

/// Whether two looks, from onset to end, are at one word.
fn is_same(a: (i64, i64), b: (i64, i64)) -> bool {
    (a.0 - b.0).abs() < SAME || a.1.min(b.1) - a.0.max(b.0) > OVERLAP
}

/// Listens to a stream of any rate for taught words.
pub struct Spotter {
    rate: To16k,
    sound: History,
    spectrum: Spectrum,
    noise: Noise,
    loudest: f32,
    cosines: Cosines,
    bands: usize,
    powers: Vec<Powers>,
    floors: Vec<Powers>,
    listeners: Vec<Listener>,
    held: Vec<(i64, Look)>,
    /// Onset and end of the word that was told last.
    told: Option<(i64, i64)>,
    samples: u64,
    frames: i64,
    frame: Vec<f32>,
}

impl Spotter {
    /// For a sample rate and the words to listen for. Where the stream or the
    /// lesson holds less than 8 kHz of band, only what both hold is compared.
    pub fn new(rate_hz: u32, profiles: &[WordProfile]) -> Result<Self, EarError> {
        let mut band_hz = f64::from(rate_hz);
        for profile in profiles {
            profile.check()?;
            band_hz = band_hz.min(profile.band_hz(rate_hz));
        }
        let bands = bands_below(band_hz);
        let cosines = Cosines::new(bands);
        Ok(Self {
            rate: To16k::new(f64::from(rate_hz)),
            sound: History::new(REMEMBER * HOP),
            spectrum: Spectrum::new(),
            noise: Noise::default(),
            loudest: 0.0,
            listeners: profiles
                .iter()
                .map(|p| Listener::new(p, &cosines, bands))
                .collect(),
            cosines,
            bands,
            powers: vec![[0.0; BANDS]; REMEMBER],
            floors: vec![[0.0; BANDS]; REMEMBER],
            held: Vec::with_capacity(MOST),
            told: None,
            samples: 0,
            frames: 0,
            frame: vec![0.0; WINDOW + 1],
        })
    }

    /// One more sample; words that are now certain go to `sink`.
    pub fn push(&mut self, x: f32, sink: &mut impl FnMut(Look)) -> Result<(), EarError> {
        let Self {
            rate,
            sound,
            samples,
            ..
        } = self;
        let mut ready = false;
        rate.push(x, |y| {
            sound.push(y);
            *samples += 1;
            ready |=
                *samples >= WINDOW as u64 && (*samples - WINDOW as u64).is_multiple_of(HOP as u64);
        });
        // No rate that can be heard makes a frame's worth from one sample.
        if ready {
            self.one_frame(sink)?;
        }
        Ok(())
    }

    fn one_frame(&mut self, sink: &mut impl FnMut(Look)) -> Result<(), EarError> {
        let t = self.frames;
        self.sound.copy(t * HOP as i64 - 1, &mut self.frame);
        let powers = self.spectrum.powers(&self.frame)?;
        let floor = self.noise.push(&powers);
        let slot = t as usize % REMEMBER;
        self.powers[slot] = powers;
        self.floors[slot] = floor;
        // As the takes are, the stream is floored 30 dB under what was loudest.
        self.loudest = total(&powers, self.bands).max(FADES * self.loudest);
        let least = 1e-3 * self.loudest / self.bands.max(1) as f32;
        let soft: Powers = std::array::from_fn(|b| powers[b] + 2.0 * floor[b] + least);
        for listener in &mut self.listeners {
            // And brought into the lesson's background, where that is louder.
            let soft = std::array::from_fn(|b| {
                soft[b] + (self.loudest * listener.room_of[b] - floor[b]).max(0.0)
            });
            let cepstra = self.cosines.cepstra(&soft);
            if t == 0 {
                listener.line = [cepstra; 5];
            }
            listener.line.rotate_left(1);
            listener.line[4] = cepstra;
        }
        self.frames += 1;
        if t < 2 {
            return Ok(());
        }
        for word in 0..self.listeners.len() {
            if t % MEET == 2 {
                // The softening below adds to the stream's own background.
                let noise = floor.map(|n| 3.0 * n);
                self.listeners[word].meet(&noise, &self.cosines, self.bands);
            }
            let shape = shape(&self.listeners[word].line);
            self.listeners[word].step(t - 2, &shape);
            while let Some(&candidate) = self.listeners[word].waiting.first() {
                if self.ready(candidate) > t {
                    break;
                }
                self.listeners[word].waiting.remove(0);
                let better = self.listeners[word]
                    .waiting
                    .iter()
                    .any(|w| (w.start - candidate.start).abs() < 15 && w.mean < candidate.mean);
                if !better && let Some(look) = self.look(word, candidate, t) {
                    self.hold(t, look);
                }
            }
        }
        let ripe = self.held.partition_point(|(made, _)| made + HELD <= t);
        for (_, look) in self.held.drain(..ripe) {
            if self.listeners[look.word].bar <= look.score {
                self.told = Some((look.onset, look.end));
            }
            sink(look);
        }
        Ok(())
    }

    /// Of looks at one place the best is kept; what was told is not told again.
    fn hold(&mut self, t: i64, look: Look) {
        let ours = (look.onset, look.end);
        if self.told.is_some_and(|told| is_same(told, ours)) {
            return;
        }
        let mut held = self.held.iter_mut();
        if let Some((_, same)) = held.find(|(_, h)| is_same((h.onset, h.end), ours)) {
            if look.score > same.score {
                *same = look;
            }
        } else if self.held.len() < MOST {
            self.held.push((t, look));
        }
    }

    /// The frame from which on a candidate can be judged.
    fn ready(&self, candidate: Candidate) -> i64 {
        let level = |t: i64| total(&self.powers[t.max(0) as usize % REMEMBER], self.bands);
        let Candidate { start, end, .. } = candidate;
        let floor = total(&self.floors[start.max(0) as usize % REMEMBER], self.bands);
        let peak = (start..=end).map(level).fold(0.0, f32::max);
        let bar = (ENDED * peak).max(ENDED_OVER * floor);
        let last = (start..=end).rev().find(|t| level(*t) > bar).unwrap_or(end);
        if last == end {
            end + WAITS
        } else {
            (last + WAITS_QUIET).max(end + WAITS)
        }
    }

    fn look(&self, word: usize, candidate: Candidate, now: i64) -> Option<Look> {
        let listener = &self.listeners[word];
        let first = candidate.start - BEFORE as i64;
        if now - first >= REMEMBER as i64 {
            return None;
        }
        let get = |ring: &[Powers], t: i64| ring[t.max(0) as usize % REMEMBER];
        let stretch: Vec<Powers> = (first..=now).map(|t| get(&self.powers, t)).collect();
        let noise = get(&self.floors, candidate.start - 2);
        let inside = stretch.get(BEFORE..=BEFORE + (candidate.end - candidate.start) as usize)?;
        let loudest = inside
            .iter()
            .map(|p| total(p, self.bands))
            .fold(0.0, f32::max);
        let least = 1e-3 * loudest / self.bands.max(1) as f32;
        // The floor follows the lowest of a noise, which on the whole is louder; and
        // where a pause is digital silence, it is nothing.
        let noise = noise.map(|n| (1.5 * n).max(least));
        let length = (candidate.end - candidate.start) as usize;
        let skip = BEFORE - MOVE;
        let part = stretch.get(skip..=BEFORE + length + MOVE)?;
        let ear = Close {
            known: &listener.known,
            cosines: &self.cosines,
            bands: self.bands,
            own: listener.own,
            room: &listener.room,
            against: &listener.against,
        };
        let (mut cues, lies) = ear.look(part, (MOVE, MOVE + length), &noise)?;
        let best = lies.first()?;
        let (from, to) = (skip + best.start, skip + best.end);
        let around = around(&stretch, from, to, &noise, self.bands);
        (cues.before, cues.after) = if listener.counts_in_praise {
            (ALONE, ALONE)
        } else {
            (around.level_before, around.level_after)
        };
        (cues.runs_before, cues.runs_after) = (around.before as f32, around.after as f32);
        let (onset, u) = self.onset(listener, &lies, first + skip as i64)?;
        let end = (first + (skip + best.end) as i64) * HOP as i64 + WINDOW as i64 / 2;
        let mut sound = vec![0.0; (end - onset).clamp(1, 32_000) as usize];
        self.sound.copy(onset, &mut sound);
        let begins = (first + (skip + best.start) as i64) * HOP as i64;
        let centre = centre(
            &stretch[skip + best.start..=skip + best.end],
            (begins - onset) as f64 / RATE_HZ,
            (end - onset) as f64 / RATE_HZ,
            f64::from(u) / RATE_HZ,
        );
        Some(Look {
            word,
            centre,
            onset,
            end,
            cues,
            around,
            score: cues.score(&listener.usual),
            in_talk: around.is_talk(),
            u,
            peak: sound.iter().fold(0.0, |a, v| a.max(v.abs())),
        })
    }

    /// The median of where the nearer takes have the onset, then where the
    /// rise of the nearer ones lies best there; and its standard uncertainty.
    fn onset(&self, listener: &Listener, lies: &[Lies], first: i64) -> Option<(i64, f32)> {
        let mut places: Vec<i64> = lies
            .iter()
            .take(PLACED_BY)
            .map(|l| {
                let anchor = first + l.anchor as i64 - listener.known[l.take].anchor as i64;
                anchor * HOP as i64 + i64::from(listener.onsets[l.take])
            })
            .collect();
        places.sort_unstable();
        let guess = *places.get(places.len() / 2)?;
        let mut sound = vec![0.0; NEEDS.0 + NEEDS.1];
        self.sound.copy(guess - NEEDS.0 as i64, &mut sound);
        let nearer: Vec<&Edge> = lies
            .iter()
            .take(PLACED_BY)
            .map(|l| &listener.edges[l.take])
            .collect();
        let (after, apart) = place(&sound, &nearer)?;
        let at = guess + after.round() as i64;
        Some((at.max(0), (0.5 * apart).hypot(0.004 * RATE_HZ as f32)))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn look(onset: i64, score: f32) -> Look {
        Look {
            word: 0,
            onset,
            end: onset + 6_400,
            cues: Cues::default(),
            around: Around::default(),
            score,
            in_talk: false,
            u: 64.0,
            peak: 0.3,
            centre: Centre {
                after_s: 0.1,
                u_s: 0.01,
            },
        }
    }

    /// Two looks whose onsets lie 60 ms apart, the second made after the first was
    /// told; then one a second later.
    #[test]
    fn a_word_that_was_told_is_not_told_again() {
        let mut spotter = Spotter::new(16_000, &[]).unwrap();
        spotter.hold(100, look(16_000, 3.0));
        assert_eq!(spotter.held.len(), 1);
        spotter.held.clear();
        spotter.told = Some((16_000, 22_400));
        spotter.hold(110, look(16_960, 4.0));
        spotter.hold(111, look(21_000, 4.0));
        assert!(spotter.held.is_empty());
        spotter.hold(200, look(32_000, 4.0));
        assert_eq!(spotter.held.len(), 1);
    }

    /// Of looks at one place that are held together the best is kept.
    #[test]
    fn the_best_of_two_looks_is_kept() {
        let mut spotter = Spotter::new(16_000, &[]).unwrap();
        spotter.hold(100, look(16_000, 1.0));
        spotter.hold(101, look(16_960, 2.0));
        assert_eq!(spotter.held.len(), 1);
        assert_eq!(spotter.held[0].1.score, 2.0);
    }
}
