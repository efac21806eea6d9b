//! The taught words beside the clicks.

use std::collections::VecDeque;

use super::Heard;
use crate::ear::EarError;
use crate::ear::word::{Centre, Look, RATE_HZ as WORD_RATE_HZ, Spotter};
use crate::timeline::SoundKind;

/// A bang so long before a word's onset, in seconds, may have drawn the onset to its
/// own end: of made-up words 15 ms before to 50 ms after a ball's blow, those that
/// were found lay 28 ms early to 27 ms late.
const DRAWN_S: (f64, f64) = (0.004, 0.055);
/// What such an onset may be off by, in seconds.
const DRAWN_HALF_S: f64 = 0.030;
/// Bangs that are remembered for that.
pub(super) const BANGS: usize = 64;
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
    /// One more sample; `bangs` are the latest, by their first samples.
    pub(super) fn push(
        &mut self,
        x: f32,
        rate_hz: f64,
        bangs: &VecDeque<u64>,
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
            let at = (look.onset as f64 * scale).round().max(0.0) as u64;
            let is_drawn = bangs.iter().any(|bang| {
                let after_s = (at as f64 - *bang as f64) / rate_hz;
                (DRAWN_S.0..=DRAWN_S.1).contains(&after_s)
            });
            let more = if is_drawn {
                DRAWN_HALF_S / 3f64.sqrt()
            } else {
                0.0
            };
            let centre = Centre {
                u_s: look.centre.u_s.hypot(more),
                ..look.centre
            };
            sink(Heard {
                at,
                kind: SoundKind::Word,
                bridge: Some(self.first + look.word),
                confidence: 1.0 / (1.0 + (-look.score).exp()),
                level_dbfs: 20.0 * look.peak.max(1e-5).log10(),
                u_samples: (look.u * scale as f32).hypot((more * rate_hz) as f32),
                in_praise: look.in_talk && !counts_in_praise,
                centre: Some(centre),
                print: None,
            });
        }
        Ok(())
    }
}
