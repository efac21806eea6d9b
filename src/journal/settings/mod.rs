//! The settings a trainer writes in `settings.toml`: aims, the pairing window,
//! distances, the person. Every field may be left out.

mod aims;
mod keys;

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Deserializer, Serialize, de};
use thiserror::Error;

pub use self::aims::{AimSetting, Aims};
pub use self::keys::Keys;
use crate::ear::word::WordAt;
use crate::measure::observer::Observer;
use crate::measure::session::{SessionRules, number};
use crate::screen::theme::{ColourSetting, SignSetting};
use crate::session::Setup;
use crate::timeline::{MomentKind, Plan};

/// A settings file with every field at its default, and what each means.
pub const DEFAULT_SETTINGS: &str = include_str!("settings.toml");

const WINDOW_MAX_MS: f64 = 60_000.0;
const DISTANCE_MAX_M: f64 = 100.0;
const PERSON_MAX_CHARS: usize = 80;

/// Why a settings file cannot be used.
#[derive(Debug, Error)]
pub enum SettingsError {
    /// It cannot be read at all.
    #[error("{}: the settings cannot be read: {source}. Make them readable for yourself, or choose another home with --home FOLDER", .path.display())]
    Unreadable {
        /// The settings file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// A line of it is wrong.
    #[error("{}, line {line}{}: {why}. Correct the line, or take it out to use the default", .path.display(), in_field(.field))]
    Wrong {
        /// The settings file.
        path: PathBuf,
        /// Counted from 1.
        line: usize,
        /// The field with its section, as `aim.floor.to_ms`; empty when the
        /// file is not TOML at that line.
        field: String,
        /// What is wrong with it.
        why: String,
    },
}

fn in_field(field: &str) -> String {
    if field.is_empty() {
        String::new()
    } else {
        format!(", {field}")
    }
}

/// What a trainer can set. The aims are the program's conventions, not findings
/// about animals.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Settings {
    /// Who marks, when no name is given on the line.
    #[serde(deserialize_with = "person", skip_serializing_if = "Option::is_none")]
    pub person: Option<String>,
    /// The window of lags that counts as on time, for each kind of moment.
    pub aim: Aims,
    /// What the trainer wants to reach.
    pub goal: GoalSetting,
    /// How far a mark may lie from its moment.
    pub pairing: PairingWindow,
    /// Where the microphone stood.
    pub distance: Distances,
    /// Where in a spoken mark the mark is.
    pub bridge: BridgeSetting,
    /// How the screen looks.
    pub screen: ScreenSetting,
    /// Which key does what on the screen.
    pub keys: Keys,
    /// What a pedal or second keyboard does in a session, by the device's name:
    /// from a key's code ("48"), or "any" for its other keys, to a name of `keys`.
    pub pedals: BTreeMap<String, BTreeMap<String, String>>,
    /// What a session with an animal is judged and warned by.
    pub session: SessionRules,
}

/// What counts as the instant of a bridge.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct BridgeSetting {
    /// Where in a word its mark is stamped.
    pub word_at: WordAt,
}

/// How the screen looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct ScreenSetting {
    /// For which ground the colours are, if any.
    pub colours: ColourSetting,
    /// Which signs may be drawn.
    pub signs: SignSetting,
}

/// The goal for every kind of moment.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct GoalSetting {
    /// The share of moments that is to be on time, 0 to 1. 8 of 10 is common
    /// practice, no source.
    #[serde(deserialize_with = "share")]
    pub on_time_share: f64,
}

impl Default for GoalSetting {
    fn default() -> Self {
        Self { on_time_share: 0.8 }
    }
}

/// How far a mark may lie from its moment and still be paired with it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct PairingWindow {
    /// How early, in milliseconds, 0 to 60 000.
    #[serde(deserialize_with = "window")]
    pub before_ms: f64,
    /// How late, in milliseconds, 0 to 60 000.
    #[serde(deserialize_with = "window")]
    pub after_ms: f64,
}

impl Default for PairingWindow {
    fn default() -> Self {
        Self {
            before_ms: 500.0,
            after_ms: 1500.0,
        }
    }
}

/// Distances, so that the sound's travel (2.9 ms a metre) can be taken out of a
/// lag. Equal distances cancel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Distances {
    /// From the microphone to where the ball lands, in metres, 0 to 100.
    #[serde(deserialize_with = "distance")]
    pub microphone_to_ball_m: f64,
    /// From the microphone to the clicker or the mouth, in metres, 0 to 100.
    #[serde(deserialize_with = "distance")]
    pub microphone_to_clicker_m: f64,
    /// How well both are known: ± this many metres, 0 to 100.
    #[serde(deserialize_with = "distance")]
    pub known_within_m: f64,
}

impl Default for Distances {
    fn default() -> Self {
        Self {
            microphone_to_ball_m: 1.0,
            microphone_to_clicker_m: 1.0,
            known_within_m: crate::review::DISTANCE_HALF_WIDTH_M,
        }
    }
}

impl Settings {
    /// Reads a settings file; one that is not there gives the defaults.
    ///
    /// # Errors
    /// The file, the line and the field that are wrong.
    pub fn load(path: &Path) -> Result<Self, SettingsError> {
        match fs::read_to_string(path) {
            Ok(text) => Self::parse(&text, path),
            Err(source) if source.kind() == io::ErrorKind::NotFound => Ok(Self::default()),
            Err(source) => Err(SettingsError::Unreadable {
                path: path.to_path_buf(),
                source,
            }),
        }
    }

    /// What a session with this plan is judged by.
    pub fn session_setup(&self, plan: Plan, observer: Option<Observer>) -> Setup {
        Setup {
            plan,
            rules: self.session.clone(),
            aim: self.aim.of(MomentKind::Behaviour),
            before_ms: self.pairing.before_ms,
            after_ms: self.pairing.after_ms,
            clicker_m: self.distance.microphone_to_clicker_m,
            known_within_m: self.distance.known_within_m,
            observer,
            word_at: self.bridge.word_at,
        }
    }

    /// Reads settings from text; `path` is only for the words of an error.
    ///
    /// # Errors
    /// The line and the field that are wrong.
    pub fn parse(text: &str, path: &Path) -> Result<Self, SettingsError> {
        // A byte-order mark is what some editors put first; TOML has none.
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let wrong = |field: String, error: &toml::de::Error| SettingsError::Wrong {
            path: path.to_path_buf(),
            line: line_of(text, error.span().map_or(0, |span| span.start)),
            field,
            why: error.message().trim_end_matches('.').to_owned(),
        };
        let deserializer = toml::Deserializer::parse(text).map_err(|e| wrong(String::new(), &e))?;
        serde_path_to_error::deserialize(deserializer).map_err(|error| {
            let field = error.path().to_string();
            let field = if field == "." { String::new() } else { field };
            wrong(field, error.inner())
        })
    }
}

fn line_of(text: &str, byte: usize) -> usize {
    let before = text.as_bytes().iter().take(byte);
    before.filter(|&&byte| byte == b'\n').count() + 1
}

fn person<'de, D: Deserializer<'de>>(from: D) -> Result<Option<String>, D::Error> {
    let name = String::deserialize(from)?;
    let name = name.trim();
    if name.is_empty() {
        return Ok(None);
    }
    if name.chars().count() > PERSON_MAX_CHARS || name.chars().any(char::is_control) {
        return Err(de::Error::custom(format!(
            "a person's name is one line of at most {PERSON_MAX_CHARS} characters"
        )));
    }
    Ok(Some(name.to_owned()))
}

fn share<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
    number(from, 0.0, 1.0, "(a share of all moments)")
}

fn window<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
    number(from, 0.0, WINDOW_MAX_MS, "milliseconds")
}

fn distance<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
    number(from, 0.0, DISTANCE_MAX_M, "metres")
}

#[cfg(test)]
mod tests;
