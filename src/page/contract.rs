//! The JSON of one reviewed recording: a contract that other programs rely on.
//!
//! Version 1. Fields may be added; none is renamed, removed or given another
//! meaning without a new version in `format`. Times are seconds from the
//! recording's first sample, written with as many digits as it takes to read the
//! same double back; what is not known is `null`.

use serde::Serialize;

use crate::ear::word::WordAt;
use crate::timeline::{Moment, Pair, Sound};

/// Name and version of the format.
pub const FORMAT: &str = "marklag.review/1";

/// The recording that was reviewed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Recording {
    /// As it was given; `-` for standard input.
    pub path: String,
    /// Samples a second in each channel.
    pub sample_rate_hz: u32,
    /// How many channels the recording has.
    pub channels: u16,
    /// Length in seconds of what was reviewed.
    pub duration_s: f64,
    /// Which of several sound tracks was listened to, counted from 1; left out where
    /// there is but one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub track: Option<usize>,
    /// How the recording was compressed; left out where it was not.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub compression: Option<Compression>,
}

/// How a recording was compressed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Compression {
    /// The codec in words.
    pub codec: String,
    /// The mean bit rate, in kbit/s.
    pub kbit_s: Option<f64>,
    /// Whether sound was left out.
    pub lossy: bool,
}

/// One reviewed recording; `S` is the summary of its lags.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Review<S> {
    format: &'static str,
    /// What was reviewed.
    pub recording: Recording,
    /// What was heard, in the order of time.
    pub sounds: Vec<Sound>,
    /// What should have been marked, in the order of time.
    pub moments: Vec<Moment>,
    /// Which mark belongs to which moment, and what was left over.
    pub pairs: Vec<Pair>,
    /// The lags summed up.
    pub summary: S,
    /// Taught words heard within praise or talk, which are no marks; left out when
    /// there are none.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub in_praise: Vec<Sound>,
    /// Where in a word its mark is stamped; left out when that is the onset.
    #[serde(skip_serializing_if = "WordAt::is_onset")]
    pub word_at: WordAt,
}

impl<S: Serialize> Review<S> {
    /// Puts a review together, under the format's present version.
    pub fn new(
        recording: Recording,
        sounds: Vec<Sound>,
        moments: Vec<Moment>,
        pairs: Vec<Pair>,
        summary: S,
    ) -> Self {
        Self {
            format: FORMAT,
            recording,
            sounds,
            moments,
            pairs,
            summary,
            in_praise: Vec::new(),
            word_at: WordAt::Onset,
        }
    }

    /// With the words that were heard within praise, and where in a word its mark
    /// is stamped.
    #[must_use]
    pub fn with_words(mut self, in_praise: Vec<Sound>, word_at: WordAt) -> Self {
        self.in_praise = in_praise;
        self.word_at = word_at;
        self
    }

    /// The JSON, indented, with a line's end at its end. Fails only where the
    /// summary cannot be written as JSON.
    pub fn to_json(&self) -> Result<String, serde_json::Error> {
        let mut text = serde_json::to_string_pretty(self)?;
        text.push('\n');
        Ok(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::timeline::{MomentKind, MomentSource, Outcome, SoundKind};
    use serde_json::{Value, json};

    fn review() -> Review<Value> {
        let pair = |moment_s, mark_s, lag_ms, outcome, u_ms| Pair {
            moment: None,
            mark: None,
            moment_s,
            mark_s,
            lag_ms,
            outcome,
            u_ms,
        };
        Review::new(
            Recording {
                path: "juniper.wav".into(),
                sample_rate_hz: 48_000,
                channels: 2,
                duration_s: 12.5,
                track: Some(2),
                compression: Some(Compression {
                    codec: "AAC".into(),
                    kbit_s: Some(64.5),
                    lossy: true,
                }),
            },
            vec![Sound {
                t_s: 1.0 / 3.0,
                kind: SoundKind::Click,
                name: "box".into(),
                confidence: 0.98,
                level_dbfs: -12.25,
            }],
            vec![Moment {
                t_s: 0.1 + 0.2,
                kind: MomentKind::Floor,
                source: MomentSource::Sound,
                label: String::new(),
            }],
            vec![
                pair(Some(0.25), Some(0.5), Some(250.0), Outcome::Late, Some(0.5)),
                pair(Some(4.0), None, None, Outcome::Missed, None),
                pair(None, Some(9.0), None, Outcome::Stray, None),
            ],
            json!({"n": 1}),
        )
    }

    /// Every field, word for word, as the contract says.
    #[test]
    fn the_json_is_the_contract() {
        let json: Value = serde_json::from_str(&review().to_json().unwrap()).unwrap();
        let mut expected = json!({
            "format": "marklag.review/1",
            "recording": {
                "path": "juniper.wav", "sample_rate_hz": 48000, "channels": 2, "duration_s": 12.5,
                "track": 2, "compression": {"codec": "AAC", "kbit_s": 64.5, "lossy": true}
            },
            "sounds": [{
                "t_s": null, "kind": "click", "name": "box", "confidence": 0.98,
                "level_dbfs": -12.25
            }],
            "moments": [{"t_s": null, "kind": "floor", "source": "sound", "label": ""}],
            "pairs": [
                {"moment_s": 0.25, "mark_s": 0.5, "lag_ms": 250.0, "outcome": "late", "u_ms": 0.5},
                {"moment_s": 4.0, "mark_s": null, "lag_ms": null, "outcome": "missed",
                 "u_ms": null},
                {"moment_s": null, "mark_s": 9.0, "lag_ms": null, "outcome": "stray",
                 "u_ms": null}
            ],
            "summary": {"n": 1}
        });
        // These two are held to their digits below.
        expected["sounds"][0]["t_s"] = json["sounds"][0]["t_s"].clone();
        expected["moments"][0]["t_s"] = json["moments"][0]["t_s"].clone();
        assert_eq!(json, expected);
    }

    #[test]
    fn the_contracts_words_for_kinds_sources_and_outcomes() {
        let word = |v: Value| v.as_str().unwrap().to_owned();
        let kinds = [SoundKind::Click, SoundKind::Word, SoundKind::Impact];
        let words = kinds.map(|k| word(json!(k)));
        assert_eq!(words, ["click", "word", "impact"]);
        let moments = [
            MomentKind::Floor,
            MomentKind::Release,
            MomentKind::Top,
            MomentKind::Behaviour,
        ];
        let words = moments.map(|k| word(json!(k)));
        assert_eq!(words, ["floor", "release", "top", "behaviour"]);
        let sources = [MomentSource::Sound, MomentSource::File, MomentSource::Hand];
        assert_eq!(sources.map(|s| word(json!(s))), ["sound", "file", "hand"]);
        let outcomes = [
            Outcome::OnTime,
            Outcome::Early,
            Outcome::Late,
            Outcome::Missed,
            Outcome::Stray,
        ];
        let words = outcomes.map(|o| word(json!(o)));
        assert_eq!(words, ["on_time", "early", "late", "missed", "stray"]);
    }

    #[test]
    fn times_keep_every_digit() {
        let text = review().to_json().unwrap();
        assert!(text.contains("\"t_s\": 0.3333333333333333,"));
        assert!(text.contains("\"t_s\": 0.30000000000000004,"));
        assert!(text.ends_with("}\n"));
    }
}
