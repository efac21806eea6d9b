//! What was seen of a set-up.

use serde::Serialize;

/// All that was seen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Facts {
    /// For how long, in seconds of sound.
    pub watched_s: f64,
    /// Rate of the sound in Hz.
    pub sample_rate_hz: u32,
    /// The microphone; `None` for a recording.
    pub device: Option<Device>,
    /// How loud it was.
    pub level: Loudness,
    /// The taught clickers, by name.
    pub clickers: Vec<BridgeHeard>,
    /// The taught words, by name.
    pub words: Vec<WordHeard>,
    /// Other short sounds.
    pub bangs: usize,
    /// Typical standard uncertainty of their instants in ms; `None` without any.
    pub bang_u_ms: Option<f64>,
    /// The microphone's clock; `None` for a recording.
    pub clock: Option<Clock>,
    /// How the sound came in; `None` for a recording.
    pub blocks: Option<Blocks>,
    /// How well the distances to the microphone are known: ± this many metres.
    pub known_within_m: f64,
    /// Whoever keys the moments, where their hand was measured.
    pub presser: Option<Presser>,
    /// What went wrong.
    pub troubles: Troubles,
    /// The hands whose delay is known, by name; the terminal's keys always,
    /// known or not.
    pub hands: Vec<Hand>,
}

impl Facts {
    /// Whether a taught sound was heard at all.
    pub fn is_heard(&self) -> bool {
        let words = self.words.iter().map(|w| &w.heard);
        self.clickers.iter().chain(words).any(|b| b.heard > 0)
    }
}

/// The microphone and how it was opened.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Device {
    /// Its name.
    pub name: String,
    /// The way to it: "ALSA", "PulseAudio" and so on.
    pub host: String,
    /// Its channels.
    pub channels: u16,
    /// The form of its samples, as "i16".
    pub sample_format: String,
}

/// How loud it was.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Loudness {
    /// The room (RMS above 80 Hz) in dB re full scale; `None` within the first second.
    pub noise_dbfs: Option<f64>,
    /// The farthest that a sound rose over the room, above 1.5 kHz, in dB.
    pub loudest_over_noise_db: Option<f64>,
    /// Samples at full scale.
    pub full_scale_samples: u64,
    /// Whether all samples were exact zeros.
    pub is_nothing: bool,
}

/// One taught sound.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BridgeHeard {
    /// Its name.
    pub name: String,
    /// How often it was heard.
    pub heard: usize,
    /// The ear's score of each, 0 to 1.
    pub scores: Vec<f64>,
    /// Typical peak in dB re full scale; `None` when it was not heard.
    pub level_dbfs: Option<f64>,
    /// Typical standard uncertainty of its instant in ms; `None` when it was not heard.
    pub u_ms: Option<f64>,
}

/// One taught word.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WordHeard {
    /// As a mark.
    #[serde(flatten)]
    pub heard: BridgeHeard,
    /// How often it was heard within praise or talk.
    pub in_praise: usize,
    /// Rate of the sound that it was taught from, in Hz.
    pub lesson_rate_hz: u32,
}

/// The microphone's clock against this computer's.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Clock {
    /// Whether it was watched for long enough.
    pub is_settled: bool,
    /// How fast it is, in parts per million of its nominal rate.
    pub drift_ppm: Option<f64>,
    /// Standard uncertainty of that.
    pub drift_u_ppm: Option<f64>,
    /// Its rate in Hz, as measured.
    pub rate_hz: Option<f64>,
    /// Scatter of the best arrivals about the line, in ms.
    pub residual_ms: Option<f64>,
    /// Standard uncertainty with which a key is set on the sound, in ms.
    pub u_ms: Option<f64>,
}

/// How the sound came in.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Blocks {
    /// How many blocks came.
    pub count: u64,
    /// Typical time between two, in ms.
    pub typical_ms: f64,
    /// Longest time between two, in ms.
    pub longest_ms: f64,
}

/// What went wrong, counted.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Troubles {
    /// Holes in the sound.
    pub gaps: usize,
    /// Their length in all, in ms.
    pub missing_ms: f64,
    /// Sound thrown away because the program was too slow.
    pub overruns: usize,
    /// Overruns that the driver told of.
    pub driver_overruns: u64,
    /// Sound put in that nobody made.
    pub extras: usize,
    /// Times that nothing came for most of a second.
    pub stalls: usize,
    /// Times that the microphone was lost.
    pub losses: usize,
    /// Stretches of exact zeros.
    pub silences: usize,
    /// What was told of them, in order, each once.
    pub told: Vec<String>,
}

/// Whoever keys the moments.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Presser {
    /// Their name.
    pub name: String,
    /// Standard deviation of their presses about the moment, in ms.
    pub spread_ms: f64,
}

/// One hand.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Hand {
    /// Its device's name.
    pub name: String,
    /// Its delay behind the sound in ms; `None` when it was never measured.
    pub delay_ms: Option<f64>,
    /// Standard uncertainty of one press once the delay is taken off, in ms.
    pub u_ms: Option<f64>,
}
