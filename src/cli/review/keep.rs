//! What a review keeps in the journal.

use std::fs;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::jobs::Done;
use crate::cli::bridges::Bridges;
use crate::cli::journal::{local, plain};
use crate::cli::prose;
use crate::journal::{Bout, BoutId, BoutKind, Home, Journal, KeptReview, Settings};
use crate::review::Rules;

pub(in crate::cli) fn open_journal(home: &Home) -> anyhow::Result<Journal> {
    home.create()?;
    Ok(Journal::open(&home.journal_file())?)
}

/// Says that a recording is in the journal already, and as what.
pub(super) fn kept_already(journal: &Journal, id: &BoutId) -> anyhow::Result<()> {
    let row = journal.row(id)?;
    let of = row
        .person
        .as_deref()
        .map_or(String::new(), |name| format!(" for {}", plain(name)));
    prose::aside(&format!(
        "Already kept as {} on {}{of}; not kept again (--again keeps it once more).",
        id.short(),
        local(row.started_at, row.time_zone.as_deref())
    ));
    Ok(())
}

pub(super) fn kept(
    one: &Done,
    settings: &Settings,
    rules: &Rules,
    taught: &Bridges,
    person: Option<&str>,
    listened: &serde_json::Value,
) -> anyhow::Result<KeptReview> {
    let mut used = settings.clone();
    used.pairing.before_ms = rules.window.before_ms();
    used.pairing.after_ms = rules.window.after_ms();
    used.bridge.word_at = one.heard.word_at;
    let bout = Bout {
        kind: BoutKind::Review,
        started_at: Timestamp::now(),
        time_zone: TimeZone::system().iana_name().map(str::to_owned),
        person: person
            .map(str::to_owned)
            .or_else(|| settings.person.clone()),
        source: Some(
            fs::canonicalize(&one.file)
                .unwrap_or_else(|_| one.file.clone())
                .display()
                .to_string(),
        ),
        sound_file: None,
        sample_rate_hz: Some(one.rate_hz),
        channels: Some(one.channels),
        duration_s: Some(one.heard.duration_s),
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        settings_json: serde_json::to_string(&serde_json::json!({
            "settings": used,
            "aim": rules.aim,
            "listened": listened,
        }))?,
        profiles: taught.snapshots()?,
    };
    Ok(KeptReview::of_heard(
        bout,
        &one.heard.sounds,
        &one.moments,
        &one.outcome.pairs,
    ))
}
