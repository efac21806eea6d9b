//! The first blow alone.

use super::{Fitter, Shape};

/// The same for the first blow, which stands out more.
const EARLY_CLEAN: f32 = 0.7;

impl Fitter {
    /// Coherence of the first blow at the loaded place, 0 to 1, the noise before
    /// it taken off. Later blows come when they like; the first is the most alike
    /// from click to click.
    pub fn early(&self, shape: &Shape) -> f32 {
        let onset = self.frame * 5 / 2 + self.lead;
        let before =
            &self.span[onset.saturating_sub(self.early_samples * 4)..onset - self.early_before];
        let noise = before.iter().map(|v| v * v).sum::<f32>() / before.len().max(1) as f32;
        let own: f32 = shape.early.iter().map(|v| v * v).sum();
        let mut best = 0.0f32;
        for shift in 0..=2 * self.early_search {
            let from = onset - self.early_before + shift - self.early_search;
            let x = &self.span[from..from + shape.early.len()];
            let (mut product, mut energy) = (0.0f32, 0.0f32);
            for (a, b) in x.iter().zip(&shape.early) {
                product += a * b;
                energy += a * a;
            }
            let clean = (energy - noise * x.len() as f32).max(EARLY_CLEAN * energy);
            best = best.max(product.abs() / (own * clean).sqrt().max(1e-20));
        }
        best.min(1.0)
    }
}
