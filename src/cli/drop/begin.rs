//! What a drill needs before it begins: its sound, its line in the journal, its file.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde_json::json;

use super::{By, DropCmd};
use crate::cli::bridges::Bridges;
use crate::cli::sound_in::Origin;
use crate::drill::State;
use crate::journal::{Bout, BoutKind, Settings};

impl DropCmd {
    /// What is known of the drill before it begins; sound file and person are put
    /// in by the caller.
    pub(super) fn bout(
        &self,
        state: &State,
        settings: &Settings,
        origin: &Origin,
        taught: &Bridges,
        seed: u64,
    ) -> anyhow::Result<Bout> {
        let rules = &state.setup.rules;
        let mut used = settings.clone();
        used.pairing.before_ms = rules.window.before_ms();
        used.pairing.after_ms = rules.window.after_ms();
        used.bridge.word_at = state.setup.word_at;
        let by = match self.by {
            By::Ball => "ball",
            By::Partner => "partner",
            By::Screen => "screen",
        };
        Ok(Bout {
            kind: BoutKind::Drill,
            started_at: Timestamp::now(),
            time_zone: TimeZone::system().iana_name().map(str::to_owned),
            person: None,
            source: Some(origin.name.clone()),
            sound_file: None,
            sample_rate_hz: Some(origin.source.rate_hz()),
            channels: Some(origin.channels),
            duration_s: None,
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            settings_json: serde_json::to_string(&json!({
                "settings": used,
                "aim": rules.aim,
                "drill": {
                    "moment": state.setup.kind,
                    "by": by,
                    "catch": self.catch,
                    "drops": state.setup.drops,
                    "height_m": self.height,
                    "seed": seed,
                },
            }))?,
            profiles: taught.snapshots()?,
        })
    }
}
