//! A lesson cut into takes, and what is wrong with those that are no good.

use std::fmt;

use super::cepstra::{Cosines, Shape};
use super::frames::Powers;
use super::noise::total;
use super::warp::best_place;
use super::{BANDS, HOP, RATE_HZ, onset};

/// A take stands at least this far over the background, in dB (power).
const LEAST_OVER_NOISE_DB: f32 = 12.0;
/// A sound ends when this many frames are quiet.
const QUIET_FRAMES: usize = 10;
/// What is heard of a word reaches on while three frames together are this many times
/// over the background (power).
const FAINT_OVER_NOISE: f32 = 2.2;
/// The closure of a stop lasts at most so many frames: sounds no farther apart may be
/// one word,
pub(super) const CLOSURE: usize = 26;
/// where most pauses of the lesson are at least so many times as long.
const PAUSE_OVER_CLOSURE: f32 = 1.8;
/// Shortest word, in frames.
const SHORTEST: usize = 8;
/// Longest word, in frames.
const LONGEST: usize = 110;
/// A take this many times farther from the others than most are is unlike them.
const UNLIKE: f32 = 1.45;
/// A take this much longer or shorter than most (ratio).
const OTHER_LENGTH: f32 = 1.9;
/// So many samples in a row at the top are clipped.
const FLAT: usize = 4;
/// A word may begin so long before its first loud frame, in seconds.
const EARLY_S: f64 = 0.060;
/// Sound may be missing from the start of this many frames of the lesson.
const LEAD: usize = 4;

/// Why a take is not used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TakeFault {
    /// Its peaks are flat.
    Clipped,
    /// It hardly stands out.
    TooQuiet {
        /// Over the background, in dB.
        over_noise_db: f32,
    },
    /// Too short for a word.
    TooShort,
    /// Too long for a word.
    TooLong,
    /// Much longer or shorter than the rest.
    OtherLength,
    /// Sounds unlike the rest.
    Unlike {
        /// Its distance from the others over the usual one.
        ratio: f32,
    },
}

impl fmt::Display for TakeFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Clipped => write!(f, "clipped: turn the level down or step back"),
            Self::TooQuiet { over_noise_db } => write!(
                f,
                "too quiet, {over_noise_db:.0} dB over the noise: come nearer"
            ),
            Self::TooShort => write!(f, "too short for a word"),
            Self::TooLong => write!(f, "too long for a word: leave a pause between takes"),
            Self::OtherLength => write!(f, "much longer or shorter than the rest"),
            Self::Unlike { ratio } => {
                write!(f, "unlike the rest ({ratio:.1} times as far as most)")
            }
        }
    }
}

/// One sound of the lesson.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TakeReport {
    /// Onset, in seconds.
    pub at_s: f64,
    /// Length, in seconds.
    pub length_s: f64,
    /// Over the background, in dB.
    pub over_noise_db: f32,
    /// What is wrong with it; `None` for a good take.
    pub fault: Option<TakeFault>,
}

/// A take that was cut out.
#[derive(Debug, Clone)]
pub struct Cut {
    /// First frame that is kept.
    pub from: usize,
    /// One past the last.
    pub to: usize,
    /// Onset in samples at 16 kHz.
    pub onset: usize,
    /// What is told of it.
    pub report: TakeReport,
}

/// First and last frame of every stretch that is over `bar`.
fn sounds(levels: &[f32], bar: f32) -> Vec<(usize, usize)> {
    let mut all: Vec<(usize, usize)> = Vec::new();
    for t in (0..levels.len()).filter(|t| levels[*t] >= bar) {
        match all.last_mut() {
            Some((_, last)) if t - *last <= QUIET_FRAMES => *last = t,
            _ => all.push((t, t)),
        }
    }
    all
}

/// Sounds reaching on, both ways, to where the level of three frames falls to `faint`.
fn reaching(sounds: Vec<(usize, usize)>, levels: &[f32], faint: f32) -> Vec<(usize, usize)> {
    let is_over = |t: usize| {
        let part = &levels[t.saturating_sub(1)..(t + 2).min(levels.len())];
        part.iter().sum::<f32>() >= faint * part.len() as f32
    };
    let mut all: Vec<(usize, usize)> = Vec::new();
    for (mut first, mut last) in sounds {
        while first > 0 && is_over(first - 1) {
            first -= 1;
        }
        while last + 1 < levels.len() && is_over(last + 1) {
            last += 1;
        }
        match all.last_mut() {
            Some((_, end)) if first <= *end + QUIET_FRAMES => *end = last.max(*end),
            _ => all.push((first, last)),
        }
    }
    all
}

/// The sounds of one word put together: those that are parted by no more than a stop's
/// closure, where the lesson's pauses are longer.
fn joined(sounds: Vec<(usize, usize)>) -> Vec<(usize, usize)> {
    let gaps = sounds.windows(2).map(|w| w[1].0 - w[0].1);
    let mut pauses: Vec<usize> = gaps.filter(|g| *g > CLOSURE).collect();
    pauses.sort_unstable();
    let pause = pauses.get(pauses.len() / 2).copied().unwrap_or(usize::MAX);
    let most = (pause as f32 / PAUSE_OVER_CLOSURE) as usize;
    let mut all: Vec<(usize, usize)> = Vec::new();
    for (first, end) in sounds {
        match all.last_mut() {
            Some((from, last)) if first - *last <= CLOSURE.min(most) && end - *from < LONGEST => {
                *last = end;
            }
            _ => all.push((first, end)),
        }
    }
    all
}

/// Cuts a lesson at 16 kHz, already in frames; `clipped` tells whether samples
/// between two times in seconds are.
pub fn cut(samples: &[f32], frames: &[Powers], clipped: impl Fn(f64, f64) -> bool) -> Vec<Cut> {
    let levels: Vec<f32> = frames.iter().map(|p| total(p, BANDS)).collect();
    let mut sorted = levels.clone();
    sorted.sort_by(f32::total_cmp);
    let at = |part: f64| {
        let k = (part * sorted.len() as f64) as usize;
        sorted.get(k).copied().unwrap_or(0.0)
    };
    let (noise, top) = (at(0.2).max(1e-8), at(0.97));
    // Where a word's tail is in the noise, or 26 dB under the loudest.
    let bar = (noise * 5.0).max(top * 0.0025);
    let mut cuts = Vec::new();
    let faint = (noise * FAINT_OVER_NOISE).max(top * 0.0025);
    for (first, last) in joined(reaching(sounds(&levels, bar), &levels, faint)) {
        let guess = first * HOP + HOP;
        // A faint release comes before the first frame that is over the bar.
        let lead = ((onset::LEAD_S + EARLY_S) * RATE_HZ) as usize;
        let from = guess.saturating_sub(lead);
        let until = ((last + 1) * HOP).min(samples.len());
        let start = onset::rise(&samples[from.min(until)..until]).map_or(guess, |k| from + k);
        let peak = levels[first..=last].iter().copied().fold(0.0, f32::max);
        let over_noise_db = 10.0 * (peak / noise).log10();
        let (from_s, to_s) = (start as f64 / RATE_HZ, ((last + 1) * HOP) as f64 / RATE_HZ);
        let fault = if last + 1 - first < SHORTEST {
            Some(TakeFault::TooShort)
        } else if last + 1 - first > LONGEST {
            Some(TakeFault::TooLong)
        } else if clipped(from_s, to_s) {
            Some(TakeFault::Clipped)
        } else if over_noise_db < LEAST_OVER_NOISE_DB {
            Some(TakeFault::TooQuiet { over_noise_db })
        } else {
            None
        };
        cuts.push(Cut {
            from: (start / HOP).saturating_sub(1).min(last),
            to: (last + 1).min(frames.len()),
            onset: start,
            report: TakeReport {
                at_s: from_s,
                length_s: to_s - from_s,
                over_noise_db,
                fault,
            },
        });
    }
    // What begins with the recording has lost its start.
    cuts.retain(|c| c.from > LEAD || c.report.fault.is_none());
    cuts
}

/// Whether samples are cut off at the top of what occurs in the recording.
pub fn is_clipped(samples: &[f32], top: f32) -> bool {
    top > 0.5
        && samples.windows(FLAT).any(|w| {
            w.iter()
                .all(|v| v.abs() >= 0.995 * top && v.signum() == w[0].signum())
        })
}

/// Distance of two takes, either laid on the other.
pub(super) fn apart(a: &[Shape], b: &[Shape]) -> f32 {
    let one = best_place(a, b).map_or(f32::INFINITY, |p| p.1.mean);
    let other = best_place(b, a).map_or(f32::INFINITY, |p| p.1.mean);
    0.5 * (one.min(50.0) + other.min(50.0))
}

/// How the good takes of a lesson lie to each other.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread {
    /// For every good take, its distance to the nearest other one.
    pub nearest: Vec<f32>,
    /// The takes parted into two groups about the two that are farthest apart: the
    /// mean distance between the groups over that within them. 0 when a group is
    /// of one take only.
    pub parted: f32,
}

/// See [`Spread::parted`]; `matrix` holds the distances of the takes `all`.
fn parted(matrix: &[Vec<f32>], all: &[usize]) -> f32 {
    let pairs = || {
        all.iter()
            .enumerate()
            .flat_map(|(k, i)| all[k + 1..].iter().map(move |j| (*i, *j)))
    };
    let Some((a, b)) = pairs().max_by(|x, y| matrix[x.0][x.1].total_cmp(&matrix[y.0][y.1])) else {
        return 0.0;
    };
    let with_a = |k: usize| k == a || (k != b && matrix[k][a] < matrix[k][b]);
    let count = all.iter().filter(|k| with_a(**k)).count();
    if count.min(all.len() - count) < 2 {
        return 0.0;
    }
    let mean = |within: bool| {
        let (sum, n) = pairs()
            .filter(|(i, j)| (with_a(*i) == with_a(*j)) == within)
            .fold((0.0, 0.0f32), |(s, n), (i, j)| (s + matrix[i][j], n + 1.0));
        sum / n.max(1.0)
    };
    mean(false) / mean(true).max(1e-6)
}

/// Marks the takes that are unlike the rest and tells how the others lie.
pub fn leave_out_unlike(cuts: &mut [Cut], frames: &[Powers]) -> Spread {
    let cosines = Cosines::new(BANDS);
    let good = |cuts: &[Cut]| -> Vec<usize> {
        (0..cuts.len())
            .filter(|k| cuts[*k].report.fault.is_none())
            .collect()
    };
    let lengths = |cuts: &[Cut]| {
        let mut all: Vec<f32> = good(cuts)
            .iter()
            .map(|k| (cuts[*k].to - cuts[*k].from) as f32)
            .collect();
        all.sort_by(f32::total_cmp);
        all.get(all.len() / 2).copied().unwrap_or(0.0)
    };
    let usual = lengths(cuts);
    for one in cuts.iter_mut().filter(|c| c.report.fault.is_none()) {
        let ratio = (one.to - one.from) as f32 / usual.max(1.0);
        if !(1.0 / OTHER_LENGTH..=OTHER_LENGTH).contains(&ratio) {
            one.report.fault = Some(TakeFault::OtherLength);
        }
    }
    let shapes: Vec<Vec<Shape>> = cuts
        .iter()
        .map(|c| {
            let mut into = Vec::new();
            cosines.shapes(&frames[c.from..c.to], &mut into);
            into
        })
        .collect();
    let n = cuts.len();
    let mut matrix = vec![vec![0.0f32; n]; n];
    let first = good(cuts);
    for (k, &i) in first.iter().enumerate() {
        for &j in &first[k + 1..] {
            matrix[i][j] = apart(&shapes[i], &shapes[j]);
            matrix[j][i] = matrix[i][j];
        }
    }
    let middle = |i: usize, all: &[usize]| {
        let mut row: Vec<f32> = all
            .iter()
            .filter(|j| **j != i)
            .map(|j| matrix[i][*j])
            .collect();
        row.sort_by(f32::total_cmp);
        row.get(row.len() / 2).copied().unwrap_or(0.0)
    };
    // The take in the middle of all decides what the usual distance is; the
    // worst goes, one at a time.
    loop {
        let all = good(cuts);
        if all.len() < 3 {
            break;
        }
        let mut usual: Vec<f32> = all.iter().map(|i| middle(*i, &all)).collect();
        usual.sort_by(f32::total_cmp);
        let typical = usual[usual.len() / 2].max(1e-6);
        let Some(worst) = all
            .iter()
            .copied()
            .max_by(|a, b| middle(*a, &all).total_cmp(&middle(*b, &all)))
        else {
            break;
        };
        let ratio = middle(worst, &all) / typical;
        if ratio < UNLIKE {
            break;
        }
        cuts[worst].report.fault = Some(TakeFault::Unlike { ratio });
    }
    let all = good(cuts);
    let nearest = all
        .iter()
        .map(|i| {
            all.iter()
                .filter(|j| *j != i)
                .map(|j| matrix[*i][*j])
                .fold(f32::INFINITY, f32::min)
        })
        .collect();
    Spread {
        nearest,
        parted: parted(&matrix, &all),
    }
}
