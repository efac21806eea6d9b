//! What stands in the way of trust, each with what to do.

use std::fmt;

use serde::Serialize;

use super::budget::{Against, Mark, Use};
use super::facts::Facts;
use super::verdict::Trust;
use crate::ear::CLEAR_DB;
use crate::words::count;

/// Faster or slower than this no sound card's clock runs by itself, in ppm: 160
/// were met in practice (common practice, no better source), so this is twice that.
const STRANGE_PPM: f64 = 320.0;
/// Scatter of the clock's fit that tells of a busy computer, in ms.
const BUSY_MS: f64 = 1.0;
/// Holes a minute that are too many to be passed over: a convention.
const GAPS_A_MINUTE: f64 = 2.0;
/// Full-scale samples that are more than chance.
const CLIPPED: u64 = 3;

/// From this rate on sound holds the whole band that words are told by, in Hz.
pub const WHOLE_VOICE_HZ: u32 = 16_000;

/// Something that stands in the way.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "what", rename_all = "snake_case")]
pub enum Finding {
    /// Nothing but exact zeros.
    Nothing,
    /// The microphone was lost, or gave nothing for a while.
    Away {
        /// How often.
        times: usize,
    },
    /// Sound is missing, or was put in.
    Holes {
        /// How many places.
        count: usize,
        /// How much is missing, in ms.
        missing_ms: f64,
        /// How many a minute.
        per_minute: f64,
    },
    /// The sound is overdriven.
    Clipping {
        /// Samples at full scale.
        samples: u64,
    },
    /// No bridge is taught.
    NothingTaught,
    /// No taught click was heard.
    NoClick,
    /// No taught word was heard, and no click is taught.
    NoWord,
    /// The sound holds only a part of a voice.
    NarrowSound {
        /// Its rate in Hz.
        rate_hz: u32,
    },
    /// A word was taught from sound that holds only a part of a voice.
    NarrowLesson {
        /// The word.
        name: String,
        /// The lesson's rate in Hz.
        rate_hz: u32,
    },
    /// A click was heard that hardly stands out.
    TooQuiet {
        /// How far the loudest sound rose over the room, in dB.
        over_noise_db: f64,
    },
    /// The clock was not watched for long enough.
    TooShort,
    /// A recording has no clock and no keys.
    Recording,
    /// The clock's rate is none that a sound card has.
    StrangeRate {
        /// Measured against nominal, in ppm.
        drift_ppm: f64,
    },
    /// The clock's fit scatters.
    Busy {
        /// The scatter, in ms.
        residual_ms: f64,
    },
    /// A hand's delay was never measured.
    KeyUnknown {
        /// The hand.
        name: String,
    },
}

impl Finding {
    /// The most that can be trusted with it; `None` where it says nothing about
    /// this use.
    pub fn allows(&self, of: Use<'_>) -> Option<Trust> {
        let is_hand = matches!(of.against, Against::Hand(_));
        let is_word = of.mark == Mark::Word;
        match self {
            Self::Nothing | Self::Away { .. } => Some(Trust::No),
            Self::Holes { per_minute, .. } if *per_minute > GAPS_A_MINUTE => Some(Trust::No),
            Self::Holes { .. } => None,
            Self::Clipping { .. } | Self::TooQuiet { .. } => Some(Trust::Roughly),
            Self::NothingTaught | Self::NoClick | Self::NoWord => Some(Trust::NotKnown),
            // It is the telling apart that suffers, not the instant.
            Self::NarrowSound { .. } => is_word.then_some(Trust::Roughly),
            Self::NarrowLesson { .. } => None,
            Self::TooShort | Self::Recording => is_hand.then_some(Trust::NotKnown),
            Self::StrangeRate { .. } => Some(Trust::Roughly),
            Self::Busy { .. } => is_hand.then_some(Trust::Roughly),
            // What it costs is in the sum already.
            Self::KeyUnknown { .. } => None,
        }
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Nothing => f.write_str(
                "The microphone gives nothing but zeros: look for a mute switch, and allow this terminal to use the microphone.",
            ),
            Self::Away { times } => write!(
                f,
                "The microphone was away {}: use a cable that sits, plug it in elsewhere, and check again.",
                count(*times, "time", "times")
            ),
            Self::Holes {
                count: holes,
                missing_ms,
                ..
            } => write!(
                f,
                "The sound has {} ({missing_ms:.0} ms in all): close other programs, or use a microphone on a cable. Lags near a hole are flagged.",
                count(*holes, "hole", "holes")
            ),
            Self::Clipping { samples } => write!(
                f,
                "The sound is overdriven ({samples} samples at full scale): move the microphone away, or turn its level down."
            ),
            Self::NothingTaught => f.write_str(
                "No clicker is taught, so none can be heard: marklag teach click NAME, or for a spoken mark marklag teach word NAME.",
            ),
            Self::NoClick => f.write_str(
                "No taught click was heard: click a few times while the check runs. If you did, come nearer, or teach the clicker again.",
            ),
            Self::NoWord => f.write_str(
                "No taught word was heard: say it a few times, alone, while the check runs. If you did, come nearer, or teach the word again.",
            ),
            Self::NarrowSound { rate_hz } => write!(
                f,
                "This microphone gives only {rate_hz} samples a second, a part of a voice: words are told apart less surely. Use one that gives {WHOLE_VOICE_HZ} or more (a headset without cable often does not)."
            ),
            Self::NarrowLesson { name, rate_hz } => write!(
                f,
                "\"{name}\" was taught at {rate_hz} samples a second, from a part of your voice: teach it again with this microphone, marklag teach word {name}."
            ),
            Self::TooQuiet { over_noise_db } => write!(
                f,
                "The loudest sound stands only {over_noise_db:.0} dB over the room, {CLEAR_DB:.0} are wanted: come nearer to the microphone, or make the room quieter."
            ),
            Self::TooShort => f.write_str(
                "The clock was not watched for long enough: let the check run for ten seconds or more.",
            ),
            Self::Recording => f.write_str("A recording has no keys: check the microphone for that."),
            Self::StrangeRate { drift_ppm } => write!(
                f,
                "The microphone's clock is off by {drift_ppm:.0} ppm, more than a sound card's own: something between changes the rate. Try another microphone, or one on a cable."
            ),
            Self::Busy { residual_ms } => write!(
                f,
                "The sound comes in irregularly ({residual_ms:.1} ms): close other programs."
            ),
            Self::KeyUnknown { name } => write!(
                f,
                "How late the {name} are was never measured: marklag check hands."
            ),
        }
    }
}

/// What the facts show, in the order in which to mend it.
pub fn findings(facts: &Facts) -> Vec<Finding> {
    let t = &facts.troubles;
    let mut all = Vec::new();
    if facts.level.is_nothing || t.silences > 0 {
        all.push(Finding::Nothing);
    }
    if t.losses + t.stalls > 0 {
        all.push(Finding::Away {
            times: t.losses + t.stalls,
        });
    }
    let holes = t.gaps + t.overruns + t.extras;
    if holes > 0 {
        all.push(Finding::Holes {
            count: holes,
            missing_ms: t.missing_ms,
            per_minute: holes as f64 * 60.0 / facts.watched_s.max(60.0),
        });
    }
    let samples = facts.level.full_scale_samples;
    if samples >= CLIPPED {
        all.push(Finding::Clipping { samples });
    }
    let is_heard = facts.is_heard();
    match (facts.clickers.is_empty(), facts.words.is_empty()) {
        (true, true) => all.push(Finding::NothingTaught),
        (false, _) if !is_heard => all.push(Finding::NoClick),
        (true, false) if !is_heard => all.push(Finding::NoWord),
        _ => {}
    }
    let rate_hz = facts.sample_rate_hz;
    if !facts.words.is_empty() && rate_hz < WHOLE_VOICE_HZ {
        all.push(Finding::NarrowSound { rate_hz });
    } else {
        let narrow = facts
            .words
            .iter()
            .filter(|w| w.lesson_rate_hz < WHOLE_VOICE_HZ);
        all.extend(narrow.map(|w| Finding::NarrowLesson {
            name: w.heard.name.clone(),
            rate_hz: w.lesson_rate_hz,
        }));
    }
    if let Some(over_noise_db) = facts.level.loudest_over_noise_db
        && is_heard
        && over_noise_db < CLEAR_DB
    {
        all.push(Finding::TooQuiet { over_noise_db });
    }
    match facts.clock {
        None => all.push(Finding::Recording),
        Some(clock) if !clock.is_settled => all.push(Finding::TooShort),
        Some(clock) => {
            if let Some(drift_ppm) = clock.drift_ppm.filter(|d| d.abs() > STRANGE_PPM) {
                all.push(Finding::StrangeRate { drift_ppm });
            }
            if let Some(residual_ms) = clock.residual_ms.filter(|r| *r > BUSY_MS) {
                all.push(Finding::Busy { residual_ms });
            }
        }
    }
    if facts.clock.is_some() {
        let unknown = facts.hands.iter().filter(|h| h.u_ms.is_none());
        all.extend(unknown.map(|h| Finding::KeyUnknown {
            name: h.name.clone(),
        }));
    }
    all
}
