//! The taught words beside the clicks.

use super::Heard;
use crate::ear::EarError;
use crate::ear::word::{Look, RATE_HZ as WORD_RATE_HZ, Spotter};
use crate::timeline::SoundKind;

/// Words are known at the latest this long after the stream's end, in seconds.
pub(super) const WORD_REST_S: f64 = 0.6;

/// The words that are listened for beside the clicks.
pub(super) struct Words {
    pub(super) spotter: Spotter,
    /// Score each must reach, and whether it counts within talk.
    pub(super) rules: Vec<(f32, bool)>,
    /// Index of the first word among all bridges.
    pub(super) first: usize,
    pub(super) looks: Vec<Look>,
}

impl Words {
    pub(super) fn push(
        &mut self,
        x: f32,
        rate_hz: f64,
        sink: &mut impl FnMut(Heard),
    ) -> Result<(), EarError> {
        let looks = &mut self.looks;
        self.spotter.push(x, &mut |look| looks.push(look))?;
        for look in self.looks.drain(..) {
            let Some(&(bar, counts_in_praise)) = self.rules.get(look.word) else {
                continue;
            };
            if look.score < bar {
                continue;
            }
            let scale = rate_hz / WORD_RATE_HZ;
            sink(Heard {
                at: (look.onset as f64 * scale).round().max(0.0) as u64,
                kind: SoundKind::Word,
                bridge: Some(self.first + look.word),
                confidence: 1.0 / (1.0 + (-look.score).exp()),
                level_dbfs: 20.0 * look.peak.max(1e-5).log10(),
                u_samples: look.u * scale as f32,
                in_praise: look.in_talk && !counts_in_praise,
            });
        }
        Ok(())
    }
}
