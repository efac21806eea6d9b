//! What can happen to the sound on its way in, with words that say what to do.

use std::fmt;

/// Something the source of samples tells. Positions count the samples
/// delivered since the source was opened; samples that were lost have no
/// position, only a place between two others.
#[derive(Debug, Clone, PartialEq)]
pub enum MicEvent {
    /// Samples were delivered.
    Samples {
        /// Position of the first.
        from_sample: u64,
        /// How many.
        count: usize,
    },
    /// Samples are missing before `at_sample`; when the device lost them
    /// silently the place is right to about one block.
    Gap {
        /// Position of the first sample after the hole.
        at_sample: u64,
        /// Length of the hole in samples, from the monotonic clock.
        missing_samples: u64,
        /// The same in ms.
        missing_ms: f64,
    },
    /// The driver put in samples that no time passed for.
    Extra {
        /// Position of the first sample that came too early.
        at_sample: u64,
        /// Length in ms.
        extra_ms: f64,
    },
    /// The program fell behind by more than the ring and threw samples away.
    Overrun {
        /// Position of the first sample after the hole.
        at_sample: u64,
        /// How many samples are missing.
        missing_samples: u64,
    },
    /// Nothing but exact zeros for some seconds.
    Silence {
        /// How long, in s.
        for_s: f64,
    },
    /// Samples at full scale.
    Clipping {
        /// How many since this was last told.
        samples: u64,
    },
    /// The stream is open and tells no error, but no sound arrives.
    Stall {
        /// How long so far, in ms.
        for_ms: f64,
    },
    /// Sound arrives again after a stall.
    Resumed {
        /// How long nothing had come, in ms.
        after_ms: f64,
    },
    /// The device is gone; the program waits for it.
    Lost {
        /// The device's name.
        device: String,
        /// What the system said.
        reason: String,
    },
    /// The device is here again.
    Back {
        /// The device's name.
        device: String,
    },
    /// A recording that is played broke off before its end.
    CutShort {
        /// What is missing and what was done.
        said: String,
    },
}

impl MicEvent {
    /// Whether marks and moments close to this event cannot be trusted.
    pub fn spoils_lags(&self) -> bool {
        matches!(
            self,
            Self::Gap { .. } | Self::Extra { .. } | Self::Overrun { .. } | Self::Lost { .. }
        )
    }
}

impl fmt::Display for MicEvent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Samples { from_sample, count } => {
                write!(f, "{count} samples from {from_sample}.")
            }
            Self::Gap { missing_ms, .. } => write!(
                f,
                "{missing_ms:.0} ms of sound are missing. Lags near this place are flagged. \
                 If it happens often, close other programs or use a microphone on a cable."
            ),
            Self::Extra { extra_ms, .. } => write!(
                f,
                "The sound system put in {extra_ms:.0} ms of sound that nobody made. \
                 Lags near this place are flagged."
            ),
            Self::Overrun {
                missing_samples, ..
            } => write!(
                f,
                "This computer could not keep up and {missing_samples} samples were thrown away. \
                 Close other programs; lags near this place are flagged."
            ),
            Self::Silence { for_s } => write!(
                f,
                "The microphone has given nothing but zeros for {for_s:.0} s. It is muted, or this \
                 terminal has no permission to use it: look for a mute switch, and allow the \
                 terminal under the system's privacy settings for the microphone."
            ),
            Self::Clipping { samples } => write!(
                f,
                "The sound is too loud for the microphone ({samples} samples at full scale). \
                 Move it further from the clicker or turn the input level down."
            ),
            Self::Stall { for_ms } => write!(
                f,
                "No sound has arrived for {:.1} s, though the microphone is open. Look whether it \
                 is suspended or muted in the sound settings, or unplug it and plug it in again.",
                for_ms / 1e3
            ),
            Self::Resumed { after_ms } => {
                write!(f, "Sound arrives again after {:.1} s.", after_ms / 1e3)
            }
            Self::Lost { device, reason } => write!(
                f,
                "The microphone \"{device}\" is gone ({reason}). Plug it in again; marklag goes on \
                 by itself when it returns."
            ),
            Self::Back { device } => write!(f, "The microphone \"{device}\" is here again."),
            Self::CutShort { said } => f.write_str(said),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_trouble_tells_what_to_do_or_what_follows() {
        for (event, word) in [
            (
                MicEvent::Gap {
                    at_sample: 1,
                    missing_samples: 1440,
                    missing_ms: 30.0,
                },
                "30 ms",
            ),
            (
                MicEvent::Extra {
                    at_sample: 1,
                    extra_ms: 9.0,
                },
                "flagged",
            ),
            (
                MicEvent::Overrun {
                    at_sample: 1,
                    missing_samples: 480,
                },
                "Close other programs",
            ),
            (MicEvent::Silence { for_s: 3.0 }, "permission"),
            (MicEvent::Clipping { samples: 12 }, "Move it further"),
            (MicEvent::Stall { for_ms: 700.0 }, "0.7 s"),
            (
                MicEvent::Lost {
                    device: "Desk".into(),
                    reason: "unplugged".into(),
                },
                "Plug it in",
            ),
        ] {
            assert!(event.to_string().contains(word), "{event}");
        }
    }
}
