//! The energy in cells of time and frequency, against the taught sound's.

use super::{BANDS, CELL_FRAMES, Cells, Fit, Fitter, Shape};
use crate::ear::EarError;

/// Cells this far below the strongest do not count (power ratio, −30 dB).
const CELL_FLOOR: f32 = 1e-3;
/// The spread where there is no sound: more than any sound's.
const NO_SOUND_DB: f32 = 99.0;

impl Fitter {
    pub(super) fn cell_powers(&mut self, from: usize) -> Result<[f32; BANDS], EarError> {
        for ((w, x), h) in self
            .cell_work
            .iter_mut()
            .zip(&self.span[from..from + self.cell])
            .zip(&self.cell_hann)
        {
            *w = x * h;
        }
        let need = self.small.get_scratch_len();
        self.small
            .process_with_scratch(
                &mut self.cell_work,
                &mut self.cell_spectrum,
                &mut self.scratch[..need],
            )
            .map_err(|e| EarError::Transform(e.to_string()))?;
        let mut powers = [0.0; BANDS];
        for (band, p) in powers.iter_mut().enumerate().take(self.bands) {
            let (low, high) = (
                self.edges[band],
                self.edges[band + 1].max(self.edges[band] + 1),
            );
            *p = self.cell_spectrum[low..high.min(self.cell_spectrum.len())]
                .iter()
                .map(|c| c.norm_sqr())
                .sum();
        }
        Ok(powers)
    }

    /// Root mean square difference of the cells' levels where the loaded stretch fits
    /// a shape, in dB.
    pub fn spread_db(&mut self, shape: &Shape, fit: &Fit) -> Result<f32, EarError> {
        let Some(lag) = fit.lag else {
            return Ok(NO_SOUND_DB);
        };
        let at = (self.frame * 5 / 2) as isize + lag;
        let mut noise = [0.0f32; BANDS];
        let before = at - (self.cell * 4) as isize;
        for k in 0..4 {
            let powers = self.cell_powers((before + (k * self.cell) as isize).max(0) as usize)?;
            for (n, p) in noise.iter_mut().zip(powers) {
                *n += p / 4.0;
            }
        }
        let mut cells: Cells = [[0.0; BANDS]; CELL_FRAMES];
        for (k, row) in cells.iter_mut().enumerate() {
            let from = (at + self.cell_starts[k] as isize).max(0) as usize;
            *row = self.cell_powers(from.min(self.span.len() - self.cell))?;
        }
        let mut heard = 0.0f32;
        let mut taught = 0.0f32;
        let mut strongest = 0.0f32;
        for (now, then) in cells.iter().zip(&shape.cells) {
            for b in 0..self.bands {
                heard += (now[b] - noise[b]).max(0.0);
                taught += then[b];
                strongest = strongest.max(then[b]);
            }
        }
        let gain = heard / taught.max(1e-30);
        let floor = CELL_FLOOR * strongest * gain;
        let (mut sum, mut weights) = (0.0f32, 0.0f32);
        for (now, then) in cells.iter().zip(&shape.cells) {
            for b in 0..self.bands {
                let expected = gain * then[b];
                let got = (now[b] - noise[b]).max(0.0);
                let masked = floor + 0.3 * noise[b];
                let difference = 10.0
                    * ((got + masked) / (expected + masked).max(1e-30))
                        .max(1e-6)
                        .log10();
                let loudest = got.max(expected);
                let weight = loudest / (loudest + noise[b] + floor).max(1e-30);
                sum += weight * difference * difference;
                weights += weight;
            }
        }
        Ok((sum / weights.max(1e-6)).sqrt())
    }
}
