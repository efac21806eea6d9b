//! A mark stands alone: speech that precedes or follows at once makes the word a
//! part of praise or talk.

use super::frames::Powers;
use super::mel::bands_below;
use super::noise::total;

/// Voices are strong under this; clicks, fricatives and birds are not, in hertz.
const VOICED_HZ: f64 = 1_550.0;
/// Speech is at most so far under the word's loudest frame (ratio of power),
const LOUD: f32 = 0.25;
/// goes on while it is no farther than this,
const GOES_ON: f32 = 0.063;
/// stands over the background by these ratios of power,
const OVER_FLOOR: (f32, f32) = (6.0, 4.0);
/// and may dip for so many frames.
const DIP: usize = 4;
/// Frames before the word in which speech may end: 200 ms, up to 30 ms before it.
const BEFORE: (usize, usize) = (23, 3);
/// Frames after the word in which speech may begin: from 50 ms after its end on.
pub const AFTER: (usize, usize) = (5, 24);
/// Frames beside the word whose level is told.
const BESIDE: (usize, usize) = (3, 15);
/// Speech before the word that lasts so many frames makes it a part of talk,
const LASTS_BEFORE: usize = 5;
/// and so does speech after it of so many frames.
const LASTS_AFTER: usize = 5;

/// Frames of speech around a word, the longest stretch of each side.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Around {
    /// Just before it.
    pub before: usize,
    /// Just after it.
    pub after: usize,
    /// Voiced power just before the word over its own, in nepers.
    pub level_before: f32,
    /// The same just after it.
    pub level_after: f32,
}

impl Around {
    /// Whether the word is a part of talk.
    pub fn is_talk(self) -> bool {
        self.before >= LASTS_BEFORE || self.after >= LASTS_AFTER
    }
}

/// Around frames `from..=to` of `stretch`, of which only the lowest `bands` count.
pub fn around(stretch: &[Powers], from: usize, to: usize, noise: &Powers, bands: usize) -> Around {
    let bands = bands.min(bands_below(VOICED_HZ));
    let floor = total(noise, bands);
    let above = |p: &Powers| (total(p, bands) - 2.0 * floor).max(0.0);
    let part = |a: usize, b: usize| stretch.get(a..b.min(stretch.len())).unwrap_or_default();
    let word = part(from, to + 1).iter().map(above).fold(0.0, f32::max);
    let starts = (LOUD * word).max((OVER_FLOOR.0 - 2.0) * floor);
    let goes_on = (GOES_ON * word).max((OVER_FLOOR.1 - 2.0) * floor);
    let longest = |a: usize, b: usize| {
        let (mut best, mut length, mut quiet, mut loud) = (0, 0, 0, false);
        for power in part(a, b).iter().map(above) {
            if power > goes_on {
                length += quiet + 1;
                quiet = 0;
                loud |= power > starts;
                if loud {
                    best = best.max(length);
                }
            } else if length > 0 {
                quiet += 1;
                if quiet > DIP {
                    (length, quiet, loud) = (0, 0, false);
                }
            }
        }
        best
    };
    let mean = |a: usize, b: usize| {
        let part = part(a, b);
        part.iter().map(above).sum::<f32>() / part.len().max(1) as f32
    };
    let itself = mean(from, to + 1).max(1e-20);
    let beside = |a: usize, b: usize| {
        let level = (mean(a, b) + 0.5 * floor) / itself;
        level.max(1e-20).ln().clamp(-6.0, 3.0)
    };
    Around {
        level_before: beside(from.saturating_sub(BESIDE.1), from.saturating_sub(BESIDE.0)),
        level_after: beside(to + BESIDE.0, to + BESIDE.1),
        before: longest(from.saturating_sub(BEFORE.0), from.saturating_sub(BEFORE.1)),
        after: longest(to + AFTER.0, to + AFTER.1),
    }
}
