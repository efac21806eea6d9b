//! The words of the timeline. All times are seconds from the first sample of
//! the recording or session.

use serde::{Deserialize, Serialize};

/// What kind of sound was heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SoundKind {
    /// A taught hand clicker's press.
    Click,
    /// A taught word, stamped at its onset.
    Word,
    /// A short bang that no profile claims: perhaps a ball on the floor.
    Impact,
}

/// Which sound of a stream or a session: no other of its sounds has this number. In
/// the journal it is the sound's row.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct SoundId(pub i64);

/// Which moment of a review, a drill or a session: no other of its moments has this
/// number. In the journal it is the moment's row.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct MomentId(pub i64);

impl SoundId {
    /// The sound at a place of a list, from 0.
    pub fn at(place: usize) -> Self {
        Self(i64::try_from(place).unwrap_or(i64::MAX))
    }

    /// The place in the list that [`SoundId::at`] numbered; beyond any list where it
    /// is of none.
    pub fn place(self) -> usize {
        usize::try_from(self.0).unwrap_or(usize::MAX)
    }
}

impl MomentId {
    /// The moment at a place of a list, from 0.
    pub fn at(place: usize) -> Self {
        Self(i64::try_from(place).unwrap_or(i64::MAX))
    }

    /// The place in the list that [`MomentId::at`] numbered; beyond any list where it
    /// is of none.
    pub fn place(self) -> usize {
        usize::try_from(self.0).unwrap_or(usize::MAX)
    }
}

/// One sound event as the ear gives it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sound {
    /// The instant the sound rises out of the background, in seconds.
    pub t_s: f64,
    /// What it is.
    pub kind: SoundKind,
    /// The taught sound's name; empty for an impact.
    pub name: String,
    /// How sure the ear is, 0 to 1.
    pub confidence: f64,
    /// Peak level near the instant, dB re full scale (≤ 0 unless clipped floats).
    pub level_dbfs: f64,
}

impl Sound {
    /// Whether it is a mark: a click or a word.
    pub fn is_mark(&self) -> bool {
        self.kind != SoundKind::Impact
    }
}

/// A sound as it was heard in a stream: which one, and how well its instant is known.
#[derive(Debug, Clone, PartialEq)]
pub struct HeardSound {
    /// Which one.
    pub id: SoundId,
    /// The sound.
    pub sound: Sound,
    /// Standard uncertainty of its instant, in milliseconds.
    pub u_ms: f64,
}

/// Which instant a moment is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MomentKind {
    /// The ball's first impact on the floor.
    Floor,
    /// The ball left the hand.
    Release,
    /// The ball stood at the top of its first bounce.
    Top,
    /// A behaviour reached its criterion.
    Behaviour,
}

impl MomentKind {
    /// For people and for files: "floor".
    pub const fn word(self) -> &'static str {
        match self {
            Self::Floor => "floor",
            Self::Release => "release",
            Self::Top => "top",
            Self::Behaviour => "behaviour",
        }
    }

    /// Whether the trainer can see the moment coming (coincidence-anticipation)
    /// or must react to it.
    pub fn is_predictable(self) -> bool {
        matches!(self, Self::Floor | Self::Top)
    }
}

/// Where a moment was learned from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MomentSource {
    /// Heard.
    Sound,
    /// Read from a file.
    File,
    /// A key or a pedal.
    Hand,
}

/// An instant that should be marked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Moment {
    /// Seconds.
    pub t_s: f64,
    /// Which instant it is.
    pub kind: MomentKind,
    /// Where it was learned from.
    pub source: MomentSource,
    /// Free words; may be empty.
    pub label: String,
}

/// A moment with its number and how well its instant is known.
#[derive(Debug, Clone, PartialEq)]
pub struct KnownMoment {
    /// Which one.
    pub id: MomentId,
    /// The moment.
    pub moment: Moment,
    /// Standard uncertainty of its instant, in milliseconds; `None` where its source
    /// alone says how well it is known.
    pub u_ms: Option<f64>,
}

impl KnownMoment {
    /// Moments numbered by their places.
    pub fn list(moments: &[Moment]) -> Vec<Self> {
        let numbered = moments.iter().enumerate();
        numbered
            .map(|(place, moment)| Self {
                id: MomentId::at(place),
                moment: moment.clone(),
                u_ms: None,
            })
            .collect()
    }
}

/// A moment's outcome against the aim, or a mark that no moment earned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// The lag is inside the aim (its ends count as inside).
    OnTime,
    /// The lag is below the aim.
    Early,
    /// The lag is above the aim.
    Late,
    /// No mark was paired with the moment.
    Missed,
    /// No moment was paired with the mark.
    Stray,
}

impl Outcome {
    /// For people: "on time".
    pub const fn words(self) -> &'static str {
        match self {
            Self::OnTime => "on time",
            Self::Early => "early",
            Self::Late => "late",
            Self::Missed => "missed",
            Self::Stray => "stray",
        }
    }

    /// For files: "on_time".
    pub const fn id(self) -> &'static str {
        match self {
            Self::OnTime => "on_time",
            other => other.words(),
        }
    }
}

/// One line of the pairing: a moment with its mark, a moment alone (missed) or
/// a mark alone (stray).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Pair {
    /// Which moment; `None` for a stray. Not part of any file.
    #[serde(skip)]
    pub moment: Option<MomentId>,
    /// Which mark; `None` for a miss. Not part of any file.
    #[serde(skip)]
    pub mark: Option<SoundId>,
    /// Seconds; `None` for a stray.
    pub moment_s: Option<f64>,
    /// Seconds; `None` for a miss.
    pub mark_s: Option<f64>,
    /// mark − moment in milliseconds; negative is early.
    pub lag_ms: Option<f64>,
    /// What it counts as.
    pub outcome: Outcome,
    /// Standard uncertainty of the lag in milliseconds; `None` where there is no lag.
    pub u_ms: Option<f64>,
}

/// The trainer's aim: the window of lags that counts as on time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Aim {
    /// Lower end in milliseconds (inclusive); usually negative.
    pub from_ms: f64,
    /// Upper end in milliseconds (inclusive).
    pub to_ms: f64,
}

impl Aim {
    /// On time, early or late.
    pub fn judge(self, lag_ms: f64) -> Outcome {
        if lag_ms < self.from_ms {
            Outcome::Early
        } else if lag_ms > self.to_ms {
            Outcome::Late
        } else {
            Outcome::OnTime
        }
    }
}
