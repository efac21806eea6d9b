//! Words spotted in a stream.

use super::centre::{Centre, centre};
use super::cepstra::{CEPSTRA, Cosines, Shape, shape};
use super::edge::{Edge, NEEDS, place};
use super::frames::{Powers, Spectrum};
use super::judge::{Close, Cues, Known, Lies, NEARER};
use super::mel::bands_below;
use super::noise::{Noise, total};
use super::praise::{AFTER, Around, around};
use super::profile::{Take, WordProfile};
use super::rate::To16k;
use super::warp::Warp;
use super::{BANDS, HOP, RATE_HZ, WINDOW};
use crate::ear::EarError;
use crate::ear::history::History;

/// Frames that are remembered: 5 s, more than the longest look needs.
const REMEMBER: usize = 512;
/// A dip of the distance is over when it has not been passed for so many frames.
const SETTLED: i64 = 8;
/// Frames of background looked at before a candidate.
const BEFORE: usize = 32;
/// A candidate is looked at so many frames after it ends where sound goes on,
const WAITS: i64 = 16;
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
/// Two looks whose onsets are this close are one word, in samples at 16 kHz.
const SAME: i64 = 2_400;
/// Most candidates that wait at once.
const MOST: usize = 64;
/// Takes are brought into the stream's background every so many frames,
const MEET: i64 = 32;
/// as if they had so many times its power.
const IN_NOISE: f32 = 12.0;
/// What was loudest is forgotten by this part a frame (10 dB a second).
const FADES: f32 = 0.977;
/// Frames after a take's onset, by which it is found again.
const ANCHOR: usize = 6;
/// So many of the nearest takes place the onset.
const PLACED_BY: usize = NEARER;
/// How far over the takes' own distance a candidate may be to be looked at.
const REACH: f32 = 2.6;
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

#[derive(Debug, Clone, Copy)]
struct Candidate {
    mean: f32,
    start: i64,
    end: i64,
}

struct Listener {
    /// For each take two: as it was taught, and in the stream's background.
    warps: Vec<Warp>,
    known: Vec<Known>,
    onsets: Vec<u32>,
    edges: Vec<Edge>,
    own: f32,
    best: Option<Candidate>,
    last: Option<Candidate>,
    waiting: Vec<Candidate>,
    shapes: Vec<Shape>,
}

impl Listener {
    fn new(profile: &WordProfile, cosines: &Cosines, bands: usize) -> Self {
        let mut warps = Vec::new();
        let mut known = Vec::new();
        for take in &profile.takes {
            let frames = take.frames();
            let mut shapes = Vec::new();
            cosines.shapes(&floored(&frames, bands), &mut shapes);
            warps.push(Warp::new(shapes.clone(), 0));
            warps.push(Warp::new(shapes, 0));
            let anchor = take.onset as usize / HOP + ANCHOR;
            known.push(Known::new(frames, bands, anchor));
        }
        Self {
            warps,
            known,
            onsets: profile.takes.iter().map(|t| t.onset).collect(),
            edges: profile.takes.iter().map(Take::edge).collect(),
            own: profile.own,
            best: None,
            last: None,
            waiting: Vec::with_capacity(MOST),
            shapes: Vec::new(),
        }
    }

    /// The second of each take's warps is brought into the background `noise`, the
    /// word [`IN_NOISE`] times stronger.
    fn meet(&mut self, noise: &Powers, cosines: &Cosines, bands: usize) {
        let floor = super::noise::total(noise, bands).max(1e-12);
        let mut shapes = std::mem::take(&mut self.shapes);
        for (known, pair) in self.known.iter().zip(self.warps.chunks_exact_mut(2)) {
            let gain = IN_NOISE * floor / known.mean.max(1e-20);
            cosines.shapes(&known.heard_in(gain, noise), &mut shapes);
            if let Some(warp) = pair.last_mut() {
                warp.change(&shapes);
            }
        }
        self.shapes = shapes;
    }

    /// One more frame's shape, number `t`.
    fn step(&mut self, t: i64, frame: &Shape) {
        let mut two = [(f32::INFINITY, t); 2];
        for pair in self.warps.chunks_exact_mut(2) {
            let mut end = (f32::INFINITY, t);
            for warp in pair {
                let one = warp.push(frame);
                if one.mean < end.0 {
                    end = (one.mean, one.start);
                }
            }
            if end.0 < two[0].0 {
                two[1] = two[0];
                two[0] = end;
            } else if end.0 < two[1].0 {
                two[1] = end;
            }
        }
        let mean = if two[1].0.is_finite() {
            0.5 * (two[0].0 + two[1].0)
        } else {
            two[0].0
        };
        if mean < REACH * self.own && self.best.is_none_or(|b| mean < b.mean) {
            self.best = Some(Candidate {
                mean,
                start: two[0].1,
                end: t,
            });
        }
        let Some(best) = self.best else { return };
        if t - best.end >= SETTLED {
            self.best = None;
            // The far side of the same dip is not another word.
            let is_same = self
                .last
                .is_some_and(|l| (l.start - best.start).abs() < 15 && l.mean <= best.mean);
            if !is_same && self.waiting.len() < MOST {
                self.waiting.push(best);
                self.last = Some(best);
            }
        }
    }
}

/// Powers no lower than 30 dB under the take's loudest frame's mean band.
fn floored(frames: &[Powers], bands: usize) -> Vec<Powers> {
    let loudest = frames
        .iter()
        .map(|p| super::noise::total(p, bands))
        .fold(0.0, f32::max);
    let floor = 1e-3 * loudest / bands.max(1) as f32;
    frames.iter().map(|p| p.map(|v| v + floor)).collect()
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
    line: [[f32; CEPSTRA + 1]; 5],
    listeners: Vec<Listener>,
    held: Vec<(i64, Look)>,
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
            line: [[0.0; CEPSTRA + 1]; 5],
            held: Vec::with_capacity(MOST),
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
        let soft = std::array::from_fn(|b| powers[b] + 2.0 * floor[b] + least);
        let cepstra = self.cosines.cepstra(&soft);
        if t == 0 {
            self.line = [cepstra; 5];
        }
        self.line.rotate_left(1);
        self.line[4] = cepstra;
        self.frames += 1;
        if t < 2 {
            return Ok(());
        }
        let shape = shape(&self.line);
        for word in 0..self.listeners.len() {
            if t % MEET == 2 {
                // The softening below adds to the stream's own background.
                let noise = floor.map(|n| 3.0 * n);
                self.listeners[word].meet(&noise, &self.cosines, self.bands);
            }
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
            sink(look);
        }
        Ok(())
    }

    /// Of looks at one place the best is kept.
    fn hold(&mut self, t: i64, look: Look) {
        if let Some((_, same)) = self
            .held
            .iter_mut()
            .find(|(_, h)| (h.onset - look.onset).abs() < SAME)
        {
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
        };
        let (mut cues, lies) = ear.look(part, (MOVE, MOVE + length), &noise)?;
        let best = lies.first()?;
        let (from, to) = (skip + best.start, skip + best.end);
        let around = around(&stretch, from, to, &noise, self.bands);
        (cues.before, cues.after) = (around.level_before, around.level_after);
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
            score: cues.score(),
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
