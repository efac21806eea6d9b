//! `marklag journal remeasure`: old bouts heard again by today's ear, where their
//! sound was kept. It shows what changes and changes nothing.

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use serde::Deserialize;

use super::plain;
use crate::cli::bridges::Bridges;
use crate::cli::review::rules;
use crate::ear::word::WordAt;
use crate::journal::{BoutEvent, BoutId, BoutKind, Home, Journal, Settings, StoredBout};
use crate::listen::Timeline;
use crate::review::judge;
use crate::session::{measure, reheard};
use crate::sound::recording::{ChannelChoice, Recording};
use crate::timeline::{Aim, MomentSource, Pair, Sound};

/// Lags that differ by less than this are the same.
const SAME_MS: f64 = 0.01;
/// Instants nearer than this are of one event.
const SAME_S: f64 = 0.05;

/// What was in force in a review or a drill, as kept beside it.
#[derive(Deserialize)]
struct InForce {
    settings: Settings,
    aim: Aim,
    #[serde(default)]
    listened: Listened,
    #[serde(default)]
    drill: Listened,
}

/// How it was listened to, as far as that was told.
#[derive(Deserialize, Default)]
struct Listened {
    channel: Option<usize>,
    height_m: Option<f64>,
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
        let Some(sound) = sound_of(&stored, home) else {
            without += 1;
            continue;
        };
        heard += 1;
        let now = match stored.bout.kind {
            BoutKind::Session => session_again(journal, &stored, &sound),
            BoutKind::Review | BoutKind::Drill => drops_again(&stored, &sound),
        };
        match now {
            Ok(now) => compare(id, &stored, &now, out)?,
            Err(error) => writeln!(out, "{}: cannot be heard again: {error:#}", id.short())?,
        }
    }
    writeln!(
        out,
        "{heard} heard again, {without} without their sound. The journal was not changed."
    )?;
    Ok(())
}

/// The kept sound (one channel), or the recording that a bout was of, if it is
/// still there.
fn sound_of(stored: &StoredBout, home: &Home) -> Option<PathBuf> {
    let kept = stored.bout.sound_file.as_deref().and_then(|name| {
        // A journal from elsewhere must not name a file outside the home folder.
        let is_plain = Path::new(name).file_name() == Some(name.as_ref());
        is_plain.then(|| home.sounds_folder().join(name))
    });
    // A microphone's name is no file: only a whole path is taken for one.
    let source = stored.bout.source.as_ref().map(PathBuf::from);
    let source = source.filter(|path| path.is_absolute());
    kept.into_iter().chain(source).find(|path| path.is_file())
}

/// Listens to the sound with the taught sounds of then.
fn listen(
    stored: &StoredBout,
    sound: &Path,
    listened: &Listened,
    word_at: WordAt,
) -> Result<Timeline> {
    let taught = Bridges::of_snapshots(&stored.bout.profiles)?;
    let is_kept = stored.bout.sound_file.is_some();
    let channel = match listened.channel.filter(|_| !is_kept) {
        Some(number) => ChannelChoice::Only(number),
        None => ChannelChoice::Mix,
    };
    let mut recording = Recording::open(sound, channel)?;
    let rate_hz = recording.info().sample_rate_hz;
    let mut listening = taught.listening(rate_hz, listened.height_m, word_at)?;
    while let Some(block) = recording.next_block()? {
        listening.push(block)?;
    }
    Ok(listening.finish()?)
}

/// A drill or a review: the moments of the ball are heard again too; those that
/// somebody told stay.
fn drops_again(stored: &StoredBout, sound: &Path) -> Result<Vec<Pair>> {
    let in_force: InForce = serde_json::from_str(&stored.bout.settings_json)
        .context("its settings are not those of a review or a drill")?;
    let listened = Listened {
        channel: in_force.listened.channel,
        height_m: in_force.listened.height_m.or(in_force.drill.height_m),
    };
    let kind = stored.moments().next().map(|m| m.kind);
    let kind = kind.context("there were no moments in it")?;
    let heard = listen(stored, sound, &listened, in_force.settings.bridge.word_at)?;
    let told = stored.moments().filter(|m| m.source != MomentSource::Sound);
    let told: Vec<_> = told.cloned().collect();
    let mut moments = if told.is_empty() {
        heard.moments(kind)
    } else {
        told
    };
    // What the trainer took back stays taken back.
    let aside = stored.aside();
    let undone: Vec<f64> = stored
        .events
        .iter()
        .filter(|row| aside.contains(&row.seq))
        .filter_map(|row| match &row.event {
            BoutEvent::Moment(moment) => Some(moment.t_s),
            _ => None,
        })
        .collect();
    moments.retain(|m| !undone.iter().any(|t_s| (t_s - m.t_s).abs() < SAME_S));
    let aim = Some((in_force.aim.from_ms, in_force.aim.to_ms));
    let rules = rules(&in_force.settings, kind, aim, None)?;
    Ok(judge(&heard, &moments, &rules).pairs)
}

/// A session: what was heard is heard again; what was keyed stays.
fn session_again(journal: &Journal, stored: &StoredBout, sound: &Path) -> Result<Vec<Pair>> {
    let session = journal.read_session(&stored.id)?;
    let heard = listen(stored, sound, &Listened::default(), session.setup.word_at)?;
    let sounds = heard.sounds.iter().cloned();
    let sounds: Vec<(Sound, f64)> = sounds.zip(heard.sound_u_ms.iter().copied()).collect();
    let log = reheard(&session.log, &session.setup, &sounds);
    let length_s = stored.bout.duration_s.unwrap_or(heard.duration_s);
    Ok(measure(&log, &session.setup, length_s).pairs)
}

/// Lags, misses, strays.
fn counts<'a>(pairs: impl IntoIterator<Item = &'a Pair>) -> [usize; 3] {
    let mut counts = [0; 3];
    for pair in pairs {
        let at = match (pair.moment_s, pair.mark_s) {
            (Some(_), Some(_)) => 0,
            (Some(_), None) => 1,
            _ => 2,
        };
        counts[at] += 1;
    }
    counts
}

fn compare(id: &BoutId, stored: &StoredBout, now: &[Pair], out: &mut dyn Write) -> Result<()> {
    let aside = stored.aside();
    let then: Vec<&Pair> = stored
        .events
        .iter()
        .filter(|row| !aside.contains(&row.seq))
        .filter_map(|row| match &row.event {
            BoutEvent::Pair(pair) => Some(pair),
            _ => None,
        })
        .collect();
    let (old, new) = (counts(then.iter().copied()), counts(now));
    let mut worst_ms = 0.0_f64;
    let mut changed = 0;
    for pair in &then {
        let near = now.iter().find(|p| {
            let far_s = p.moment_s.zip(pair.moment_s).map(|(a, b)| (a - b).abs());
            far_s.is_some_and(|s| s < SAME_S)
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
        let lags = if old[0] == 1 { "lag" } else { "lags" };
        writeln!(out, "the same ({} {lags})", old[0])?;
    } else {
        writeln!(
            out,
            "lags {} now {}, missed {} now {}, stray {} now {}; {changed} lags differ, by at most {worst_ms:.2} ms",
            old[0], new[0], old[1], new[1], old[2], new[2]
        )?;
    }
    Ok(())
}
