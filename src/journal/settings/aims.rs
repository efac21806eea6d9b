//! The aim for each kind of moment: the program's conventions, until the trainer
//! sets their own.

use serde::{Deserialize, Deserializer, Serialize};

use super::number;
use crate::timeline::{Aim, MomentKind};

const AIM_MAX_MS: f64 = 10_000.0;

/// The aim for each kind of moment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Aims {
    /// The ball hits the floor: seen coming.
    pub floor: AimSetting,
    /// The ball leaves the hand: a reaction.
    pub release: AimSetting,
    /// The ball stands at its top: seen coming.
    pub top: AimSetting,
    /// A behaviour reaches its criterion: a reaction.
    pub behaviour: AimSetting,
}

impl Default for Aims {
    fn default() -> Self {
        let seen_coming = AimSetting {
            from_ms: -50.0,
            to_ms: 50.0,
        };
        let reaction = AimSetting {
            from_ms: 0.0,
            to_ms: 400.0,
        };
        Self {
            floor: seen_coming,
            release: reaction,
            top: seen_coming,
            behaviour: reaction,
        }
    }
}

impl Aims {
    /// The aim for one kind of moment.
    pub fn of(&self, kind: MomentKind) -> Aim {
        let setting = match kind {
            MomentKind::Floor => self.floor,
            MomentKind::Release => self.release,
            MomentKind::Top => self.top,
            MomentKind::Behaviour => self.behaviour,
        };
        Aim {
            from_ms: setting.from_ms,
            to_ms: setting.to_ms,
        }
    }
}

/// An aim as it stands in the settings: both ends, in order.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "AimEnds")]
pub struct AimSetting {
    /// Lower end in milliseconds (inclusive), −10 000 to 10 000.
    pub from_ms: f64,
    /// Upper end in milliseconds (inclusive), −10 000 to 10 000, not below `from_ms`.
    pub to_ms: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct AimEnds {
    #[serde(deserialize_with = "aim_end")]
    from_ms: f64,
    #[serde(deserialize_with = "aim_end")]
    to_ms: f64,
}

impl TryFrom<AimEnds> for AimSetting {
    type Error = String;

    fn try_from(AimEnds { from_ms, to_ms }: AimEnds) -> Result<Self, String> {
        if from_ms > to_ms {
            return Err(format!(
                "from_ms ({from_ms}) is above to_ms ({to_ms}); an aim begins at its earlier end"
            ));
        }
        Ok(Self { from_ms, to_ms })
    }
}

fn aim_end<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
    number(from, -AIM_MAX_MS, AIM_MAX_MS, "milliseconds")
}
