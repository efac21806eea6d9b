//! The background in each band: what the powers fall back to.

use super::BANDS;
use super::frames::Powers;

/// Falls to a lower power by this part a frame.
const FALL: f32 = 0.15;
/// Rises by this part a frame (some 4 dB a second).
const RISE: f32 = 1.01;

/// A floor that follows the quiet between sounds.
#[derive(Debug, Clone, Default)]
pub struct Noise {
    floor: Option<Powers>,
}

impl Noise {
    /// One more frame; the floor after it.
    pub fn push(&mut self, powers: &Powers) -> Powers {
        let floor = self.floor.get_or_insert(*powers);
        for (n, p) in floor.iter_mut().zip(powers) {
            if *p < *n {
                *n += FALL * (*p - *n);
            } else {
                *n = (*n * RISE).min(*p);
            }
        }
        *floor
    }
}

/// Sum of the lowest `bands` powers.
pub fn total(powers: &Powers, bands: usize) -> f32 {
    powers[..bands.min(BANDS)].iter().sum()
}
