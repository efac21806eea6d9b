//! What is kept: a bout (one review, drill or session) and what happened in it.

use std::collections::HashMap;
use std::fmt;

use jiff::Timestamp;
use rusqlite::types::{FromSql, FromSqlResult, ToSql, ToSqlOutput, ValueRef};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::timeline::{HeardSound, Moment, Pair, Sound, SoundId};

/// A bout's id: a random UUID (version 4), the same in every journal that the
/// bout is ever copied to. Random throughout, so that its first few characters
/// nearly always tell it from all others.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct BoutId(String);

impl BoutId {
    pub(super) fn new() -> Self {
        Self(new_id())
    }

    /// All 36 characters.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The first eight characters, for people.
    pub fn short(&self) -> &str {
        self.0.get(..8).unwrap_or(&self.0)
    }
}

impl fmt::Display for BoutId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl ToSql for BoutId {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        self.0.to_sql()
    }
}

impl FromSql for BoutId {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        String::column_result(value).map(Self)
    }
}

/// A new random id.
pub(super) fn new_id() -> String {
    uuid::Uuid::new_v4().to_string()
}

/// SHA-256 of a text's UTF-8 bytes, in lower-case hexadecimal.
pub(super) fn sha256_hex(text: &str) -> String {
    let sum = Sha256::digest(text.as_bytes());
    sum.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// What kind of bout it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BoutKind {
    /// A recording was reviewed.
    Review,
    /// A ball-drop drill.
    Drill,
    /// A session with an animal.
    Session,
}

/// A bout as a whole: when, who, from what, and with which settings.
#[derive(Debug, Clone, PartialEq)]
pub struct Bout {
    /// What kind it is.
    pub kind: BoutKind,
    /// When its first sample was heard; for a recording, as near as is known.
    pub started_at: Timestamp,
    /// The IANA name of the user's time zone, as "Europe/Vienna"; days are
    /// counted in it.
    pub time_zone: Option<String>,
    /// Who marked.
    pub person: Option<String>,
    /// Where the sound came from: a recording's path or a microphone's name.
    pub source: Option<String>,
    /// The name of the kept sound in the home's `sounds` folder.
    pub sound_file: Option<String>,
    /// Samples a second.
    pub sample_rate_hz: Option<u32>,
    /// Channels of the source.
    pub channels: Option<u16>,
    /// Length in seconds; `None` while it is not known.
    pub duration_s: Option<f64>,
    /// The version of marklag that heard it.
    pub program_version: String,
    /// Every setting that was in force, as JSON text; kept to the letter.
    pub settings_json: String,
    /// The taught sounds that were listened for.
    pub profiles: Vec<ProfileSnapshot>,
}

/// A taught sound's profile as it was when it was used.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct ProfileSnapshot {
    /// The taught sound's name.
    pub name: String,
    /// The profile file's JSON text; kept to the letter.
    pub json: String,
}

impl ProfileSnapshot {
    /// Of a taught sound, as its file is written.
    ///
    /// # Errors
    /// It cannot be written as JSON (no taught sound is such a one).
    pub fn of(name: &str, profile: &impl serde::Serialize) -> serde_json::Result<Self> {
        Ok(Self {
            name: name.to_owned(),
            json: serde_json::to_string(profile)?,
        })
    }
}

/// A whole review, kept at once.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptReview {
    /// The recording and the settings.
    pub bout: Bout,
    /// All sounds heard.
    pub sounds: Vec<Sound>,
    /// All moments.
    pub moments: Vec<Moment>,
    /// The pairing; moments and marks are named by their places in `moments` and
    /// `sounds`.
    pub pairs: Vec<Pair>,
}

impl KeptReview {
    /// A review of sounds that were heard and of moments that pairs name by their
    /// places.
    pub fn of_heard(bout: Bout, heard: &[HeardSound], moments: &[Moment], pairs: &[Pair]) -> Self {
        let places: HashMap<SoundId, usize> = (0..)
            .zip(heard)
            .map(|(place, sound)| (sound.id, place))
            .collect();
        let at_place = |pair: &Pair| Pair {
            mark: pair
                .mark
                .and_then(|id| Some(SoundId::at(*places.get(&id)?))),
            ..pair.clone()
        };
        Self {
            bout,
            sounds: heard.iter().map(|one| one.sound.clone()).collect(),
            moments: moments.to_vec(),
            pairs: pairs.iter().map(at_place).collect(),
        }
    }
}

/// One thing that happened in a bout, kept as it comes.
#[derive(Debug, Clone, PartialEq)]
pub enum BoutEvent {
    /// A sound was heard.
    Sound(Sound),
    /// A moment came.
    Moment(Moment),
    /// A moment and a mark were paired, or one of them is alone for good. The moment
    /// and the mark are rows of this bout and must have been kept before.
    Pair(Pair),
    /// Anything else: a gap, a pause, a cue, a treat.
    Other(OtherEvent),
    /// Words about the bout or an instant of it.
    Note(Note),
    /// An earlier event counts no longer, or counts again.
    SetAside(SetAside),
}

/// An event that is neither a sound nor a moment nor a pair.
#[derive(Debug, Clone, PartialEq)]
pub struct OtherEvent {
    /// Seconds; `None` for what has no instant.
    pub t_s: Option<f64>,
    /// Standard uncertainty of the instant, in milliseconds.
    pub u_ms: Option<f64>,
    /// One word of a–z, 0–9 and `_`, as "gap".
    pub kind: String,
    /// What belongs to it, as JSON text.
    pub detail_json: Option<String>,
}

/// Words about a bout.
#[derive(Debug, Clone, PartialEq)]
pub struct Note {
    /// Seconds; `None` when it is about the whole bout.
    pub t_s: Option<f64>,
    /// A sentence or a tag.
    pub kind: NoteKind,
    /// The words.
    pub text: String,
}

/// What a note is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NoteKind {
    /// Free words.
    Note,
    /// One word to find the bout by.
    Tag,
}

/// An undo that loses nothing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetAside {
    /// The number of the event in its bout.
    pub target_seq: i64,
    /// Whether it is set aside (`true`) or taken back in (`false`).
    pub is_aside: bool,
    /// Why, in words; may be empty.
    pub reason: String,
}
