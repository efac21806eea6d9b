//! `marklag journal remeasure`: old bouts heard again by today's ear, where their
//! sound was kept. It shows what changes and changes nothing.

use std::io::Write;
use std::path::PathBuf;

use anyhow::{Context, Result};
use serde::Deserialize;

use super::bridges::Bridges;
use super::journal::plain;
use super::review::rules;
use crate::journal::{BoutId, BoutKind, Home, Journal, Settings, StoredBout};
use crate::review::judge;
use crate::sound::recording::{ChannelChoice, Recording};
use crate::timeline::{Aim, Moment, MomentSource, Pair};

/// Lags that differ by less than this are the same.
const SAME_MS: f64 = 0.01;

/// What was in force, as kept beside the bout.
#[derive(Deserialize)]
struct InForce {
    settings: Settings,
    aim: Aim,
}

/// Hears again one bout, or all of them.
pub(super) fn run(
    journal: &Journal,
    home: &Home,
    id: Option<BoutId>,
    out: &mut dyn Write,
) -> Result<()> {
    let ids: Vec<BoutId> = match id {
        Some(id) => vec![id],
        None => journal.list(None)?.into_iter().map(|row| row.id).collect(),
    };
    let (mut heard, mut without) = (0, 0);
    for id in &ids {
        let stored = journal.read_bout(id)?;
        let Some(file) = sound_of(&stored, home) else {
            without += 1;
            continue;
        };
        heard += 1;
        match again(&stored, &file) {
            Ok(pairs) => compare(id, &stored, &pairs, out)?,
            Err(error) => writeln!(out, "{}: cannot be heard again: {error:#}", id.short())?,
        }
    }
    writeln!(
        out,
        "{heard} heard again, {without} without their sound. The journal was not changed."
    )?;
    Ok(())
}

/// The kept sound, or the recording that a review was of, if it is still there.
fn sound_of(stored: &StoredBout, home: &Home) -> Option<PathBuf> {
    let kept = stored.bout.sound_file.as_deref().and_then(|name| {
        // A journal from elsewhere must not name a file outside the home folder.
        let is_plain = std::path::Path::new(name).file_name() == Some(name.as_ref());
        is_plain.then(|| home.sounds_folder().join(name))
    });
    let source = stored.bout.source.as_ref().map(PathBuf::from);
    let source = source.filter(|_| stored.bout.kind == BoutKind::Review);
    kept.into_iter().chain(source).find(|path| path.is_file())
}

fn again(stored: &StoredBout, file: &std::path::Path) -> Result<Vec<Pair>> {
    let in_force: InForce = serde_json::from_str(&stored.bout.settings_json)
        .context("its settings are not those of a review or a drill")?;
    let taught = Bridges::of_snapshots(&stored.bout.profiles)?;
    let told: Vec<Moment> = stored
        .moments()
        .filter(|m| m.source != MomentSource::Sound)
        .cloned()
        .collect();
    let kind = stored.moments().next().map(|m| m.kind);
    let kind = kind.context("there were no moments in it")?;
    let mut recording = Recording::open(file, ChannelChoice::Mix)?;
    let word_at = in_force.settings.bridge.word_at;
    let mut listening = taught.listening(recording.info().sample_rate_hz, None, word_at)?;
    while let Some(block) = recording.next_block()? {
        listening.push(block)?;
    }
    let heard = listening.finish()?;
    let moments = if told.is_empty() {
        heard.moments(kind)
    } else {
        told
    };
    let aim = Some((in_force.aim.from_ms, in_force.aim.to_ms));
    let rules = rules(&in_force.settings, kind, aim, None)?;
    Ok(judge(&heard, &moments, &rules).pairs)
}

fn compare(id: &BoutId, stored: &StoredBout, now: &[Pair], out: &mut dyn Write) -> Result<()> {
    let then: Vec<&Pair> = stored.pairs().collect();
    let count = |pairs: &mut dyn Iterator<Item = &Pair>| {
        let (mut lags, mut missed, mut stray) = (0, 0, 0);
        for pair in pairs {
            match (pair.moment_s, pair.mark_s) {
                (Some(_), Some(_)) => lags += 1,
                (Some(_), None) => missed += 1,
                _ => stray += 1,
            }
        }
        (lags, missed, stray)
    };
    let old = count(&mut then.iter().copied());
    let new = count(&mut now.iter());
    let mut worst_ms = 0.0_f64;
    let mut changed = 0;
    for pair in &then {
        let near = now.iter().find(|p| {
            let far_s = p.moment_s.zip(pair.moment_s).map(|(a, b)| (a - b).abs());
            far_s.is_some_and(|s| s < 0.05)
        });
        if let Some((a, b)) = near.and_then(|p| p.lag_ms).zip(pair.lag_ms)
            && (a - b).abs() > SAME_MS
        {
            changed += 1;
            worst_ms = worst_ms.max((a - b).abs());
        }
    }
    let name = stored.bout.source.as_deref().map(plain).unwrap_or_default();
    write!(out, "{} {name}: ", id.short())?;
    if old == new && changed == 0 {
        writeln!(out, "the same ({} lags)", old.0)?;
    } else {
        writeln!(
            out,
            "lags {} now {}, missed {} now {}, stray {} now {}; {changed} lags differ, by at most {worst_ms:.2} ms",
            old.0, new.0, old.1, new.1, old.2, new.2
        )?;
    }
    Ok(())
}
