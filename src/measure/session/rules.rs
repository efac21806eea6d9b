//! What a session is judged and warned by; every value can be set in the
//! settings. The defaults are common practice or conventions of this program.

use serde::{Deserialize, Deserializer, Serialize, de};

/// Windows and bars of a session.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct SessionRules {
    /// A treat later than this after a mark does not pay for it, in seconds.
    #[serde(deserialize_with = "seconds")]
    pub treat_within_s: f64,
    /// A behaviour later than this after its cue does not answer it, in seconds.
    #[serde(deserialize_with = "seconds")]
    pub answer_within_s: f64,
    /// How many of the latest tries a step is judged by.
    #[serde(deserialize_with = "count")]
    pub judge_last: usize,
    /// At this share of tries reached or more the evidence leans to asking for
    /// more (8 of 10: common practice).
    #[serde(deserialize_with = "share")]
    pub more_from_share: f64,
    /// At this share or less it leans to going a step back.
    #[serde(deserialize_with = "share")]
    pub back_to_share: f64,
    /// When the screen says a word.
    pub warn: WarnRules,
}

impl Default for SessionRules {
    fn default() -> Self {
        Self {
            treat_within_s: 10.0,
            answer_within_s: 10.0,
            judge_last: 10,
            more_from_share: 0.8,
            back_to_share: 0.5,
            warn: WarnRules::default(),
        }
    }
}

/// When the screen says a word. Each rule has its switch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, Default)]
#[serde(deny_unknown_fields, default)]
pub struct WarnRules {
    /// The limit of the session is near or past.
    pub limit: LimitRule,
    /// Marks that no treat followed.
    pub unpaid: UnpaidRule,
    /// No mark for long.
    pub no_mark: NoMarkRule,
    /// Cues follow treats ever faster.
    pub hurry: HurryRule,
    /// Marks have become rarer.
    pub rate: RateRule,
    /// Answers have become slower.
    pub answers: AnswersRule,
    /// Marks on offers that nobody asked for.
    pub offers: OffersRule,
    /// The same step many times in a row.
    pub same: SameRule,
}

macro_rules! rule {
    ($(#[$doc:meta])* $name:ident { $($(#[$field_doc:meta])* $field:ident: $kind:ty = $value:expr, $check:literal;)* }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
        #[serde(deny_unknown_fields, default)]
        pub struct $name {
            /// Whether the rule is in force.
            pub on: bool,
            $($(#[$field_doc])* #[serde(deserialize_with = $check)] pub $field: $kind,)*
        }

        impl Default for $name {
            fn default() -> Self {
                Self { on: true, $($field: $value,)* }
            }
        }
    };
}

rule!(
    /// Near the session's limit.
    LimitRule {
        /// From how long before the limit on, in seconds.
        before_s: f64 = 30.0, "seconds";
    }
);
rule!(
    /// Unpaid marks.
    UnpaidRule {
        /// From how many on.
        marks: usize = 1, "count";
        /// How long an unpaid mark is spoken of, in seconds.
        for_s: f64 = 20.0, "seconds";
    }
);
rule!(
    /// No mark for long.
    NoMarkRule {
        /// After how long, in seconds.
        after_s: f64 = 45.0, "seconds";
    }
);
rule!(
    /// The trainer hurries: the time from a treat to the next cue shrinks.
    HurryRule {
        /// How many of the latest are held against those before them.
        of: usize = 4, "count";
        /// Fires when their median is below this share of the earlier median.
        below_share: f64 = 0.6, "share";
    }
);
rule!(
    /// The rate of marks has fallen.
    RateRule {
        /// The latest stretch, in seconds; as much must lie before it.
        over_s: f64 = 60.0, "seconds";
        /// Marks that must lie before it.
        after_marks: usize = 6, "count";
        /// Fires when the rate is below this share of the rate before it.
        below_share: f64 = 0.6, "share";
    }
);
rule!(
    /// Answers take longer.
    AnswersRule {
        /// How many of the latest are held against those before them.
        of: usize = 4, "count";
        /// Fires when their median is above this many times the earlier median.
        above_times: f64 = 1.5, "times";
    }
);
rule!(
    /// Marks on unasked offers of what is on cue.
    OffersRule {
        /// From how many on.
        marks: usize = 2, "count";
        /// In the latest stretch of so many seconds.
        over_s: f64 = 120.0, "seconds";
    }
);
rule!(
    /// The same step reached many times in a row.
    SameRule {
        /// From how many on.
        times: usize = 15, "count";
    }
);

fn seconds<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
    number(from, 0.1, 3600.0, "seconds")
}

fn share<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
    number(from, 0.0, 1.0, "(a share of one)")
}

fn times<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
    number(from, 1.0, 100.0, "times")
}

fn count<'de, D: Deserializer<'de>>(from: D) -> Result<usize, D::Error> {
    let value = usize::deserialize(from)?;
    if (1..=1000).contains(&value) {
        Ok(value)
    } else {
        Err(de::Error::custom(format!(
            "{value} is not between 1 and 1000"
        )))
    }
}

/// Reads a number from `least` to `most`; its `unit` is only for the words of the error.
pub(crate) fn number<'de, D: Deserializer<'de>>(
    from: D,
    least: f64,
    most: f64,
    unit: &str,
) -> Result<f64, D::Error> {
    let value = f64::deserialize(from)?;
    if (least..=most).contains(&value) {
        Ok(value)
    } else {
        Err(de::Error::custom(format!(
            "{value} is not between {least} and {most} {unit}"
        )))
    }
}
