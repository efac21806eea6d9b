//! A mark stands alone: speech that precedes or follows at once makes the word a
//! part of praise or talk.

use super::frames::Powers;
use super::noise::total;

/// Frames before the word that must be quiet: 150 ms, up to 30 ms before it.
pub const BEFORE: (usize, usize) = (18, 3);
/// Frames after the word that must be quiet: from 60 ms after its end to 200 ms.
pub const AFTER: (usize, usize) = (6, 20);

/// How loud it is around the word: ln of the middle power before and after over the
/// word's, the background taken off.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Around {
    /// Before it.
    pub before: f32,
    /// After it.
    pub after: f32,
}

/// Around frames `from..=to` of `stretch`.
pub fn around(stretch: &[Powers], from: usize, to: usize, noise: &Powers, bands: usize) -> Around {
    let floor = total(noise, bands);
    // The middle of the frames: a click or a bird's short call is no speech.
    let middle = |a: usize, b: usize| {
        let part = stretch.get(a..b.min(stretch.len())).unwrap_or_default();
        let mut powers: Vec<f32> = part
            .iter()
            .map(|p| (total(p, bands) - 2.0 * floor).max(0.0))
            .collect();
        powers.sort_by(f32::total_cmp);
        powers.get(powers.len() / 2).copied().unwrap_or(0.0)
    };
    let word = middle(from, to + 1).max(1e-12);
    let ratio = |x: f32| (x / word).max(1e-4).ln();
    Around {
        before: ratio(middle(
            from.saturating_sub(BEFORE.0),
            from.saturating_sub(BEFORE.1),
        )),
        after: ratio(middle(to + AFTER.0, to + AFTER.1)),
    }
}
