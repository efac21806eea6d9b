//! What a hand or foot did, and when.

/// What was pressed.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Key {
    /// A key that gives a letter, digit or sign, as typed.
    Sign(char),
    /// A key with a name: "enter", "left", "f5".
    Named(String),
    /// A key of an input device, by the kernel's code (linux/input-event-codes.h).
    Code(u16),
}

/// Which device it was pressed on. The key path's delay is kept per source.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Source {
    /// The terminal's keyboard.
    Terminal,
    /// An input device, by its name.
    Device(String),
}

impl Source {
    /// The name under which its delay is kept, and for the eye.
    pub fn name(&self) -> &str {
        match self {
            Self::Terminal => "terminal keys",
            Self::Device(name) => name,
        }
    }
}

/// One press.
#[derive(Debug, Clone, PartialEq)]
pub struct HandEvent {
    /// When it was stamped, CLOCK_MONOTONIC in ns. Map it onto the sound with
    /// `SampleSource::sample_at`.
    pub mono_ns: i64,
    /// Where it came from.
    pub source: Source,
    /// What was pressed.
    pub key: Key,
    /// Standard uncertainty of the stamp in ms, without the delay of the key
    /// itself, which the calibration measures.
    pub u_ms: f64,
}
