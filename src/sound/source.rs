//! The one way in which samples reach the engine.

use std::time::Duration;

use super::event::MicEvent;

/// Whether a source has more to give.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Flow {
    /// More may come.
    Open,
    /// The source is at its end; nothing more will come.
    Ended,
}

/// Where samples come from: a microphone, a recording played through the same
/// path, or a made-up room. The engine does not know which.
pub trait SampleSource: Send {
    /// The rate of all samples, in Hz. It does not change, even over a
    /// reconnection.
    fn rate_hz(&self) -> u32;

    /// Waits at most `patience` for something new, appends the samples (one
    /// channel, full scale ±1) to `out` and what happened to `events`. Samples
    /// appended are also told as one [`MicEvent::Samples`].
    fn pull(&mut self, patience: Duration, out: &mut Vec<f32>, events: &mut Vec<MicEvent>) -> Flow;

    /// The position that was in the air at a CLOCK_MONOTONIC instant in ns, and
    /// the mapping's standard uncertainty in ms. `None` where a hand has no
    /// place on the sound's clock: before the first sound, or when a recording
    /// runs as fast as it goes.
    fn sample_at(&self, mono_ns: i64) -> Option<(f64, f64)>;
}
