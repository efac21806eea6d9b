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
use crate::sound::recording::{ChannelChoice, Listen, Recording};
use crate::timeline::{Aim, KnownMoment, Moment, MomentSource, Pair, Window, pair};
use crate::words::count;

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
    track: Option<usize>,
    height_m: Option<f64>,
    ball: Option<String>,
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
    let track = listened.track.filter(|_| !is_kept);
    let mut recording = Recording::open(sound, Listen { channel, track })?;
    let rate_hz = recording.info().sample_rate_hz;
    let ball = listened.ball.as_deref().and_then(|kind| kind.parse().ok());
    let mut listening = taught
        .listening(rate_hz, listened.height_m, word_at)?
        .with_ball(ball);
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
        track: in_force.listened.track,
        height_m: in_force.listened.height_m.or(in_force.drill.height_m),
        ball: in_force.listened.ball.or(in_force.drill.ball),
    };
    let kind = stored.moments().next().map(|m| m.kind);
    let kind = kind.context("there were no moments in it")?;
    let heard = listen(stored, sound, &listened, in_force.settings.bridge.word_at)?;
    let told = stored.moments().filter(|m| m.source != MomentSource::Sound);
    let told: Vec<Moment> = told.cloned().collect();
    let mut moments = match told.is_empty() {
        true => heard.moments(kind),
        false => KnownMoment::list(&told),
    };
    let (pauses, undone) = (pauses(stored), undone(stored));
    let is_in_pause = |t_s: f64| pauses.iter().any(|(from, to)| (*from..=*to).contains(&t_s));
    let is_undone = |t_s: f64| undone.iter().any(|one| (one - t_s).abs() < SAME_S);
    let counts = |t_s: f64| !is_in_pause(t_s) && !is_undone(t_s);
    moments.retain(|m| counts(m.moment.t_s));
    let marks = heard.marks().filter(|m| counts(m.sound.t_s));
    let aim = Some((in_force.aim.from_ms, in_force.aim.to_ms));
    let rules = rules(&in_force.settings, kind, aim, None)?;
    Ok(judge(marks, &moments, &rules).pairs)
}

/// The stretches of a drill that do not count: from, to.
fn pauses(stored: &StoredBout) -> Vec<(f64, f64)> {
    let mut pauses: Vec<(f64, f64)> = Vec::new();
    for row in &stored.events {
        let BoutEvent::Other(other) = &row.event else {
            continue;
        };
        match (other.kind.as_str(), other.t_s, pauses.last_mut()) {
            ("pause", Some(t_s), _) => pauses.push((t_s, f64::INFINITY)),
            ("resume", Some(t_s), Some(pause)) => pause.1 = t_s,
            _ => {}
        }
    }
    pauses
}

/// The moments that the trainer took back, and the marks that went with them.
fn undone(stored: &StoredBout) -> Vec<f64> {
    let aside = stored.aside();
    let rows = || stored.events.iter().filter(|row| aside.contains(&row.seq));
    let instants = rows().filter_map(|row| match &row.event {
        BoutEvent::Moment(moment) => Some(moment.t_s),
        BoutEvent::Pair(pair) => pair
            .mark_s
            .filter(|_| pair.moment.is_some_and(|id| aside.contains(&id.0))),
        _ => None,
    });
    instants.collect()
}

/// A session: what was heard is heard again; what was keyed stays.
fn session_again(journal: &Journal, stored: &StoredBout, sound: &Path) -> Result<Vec<Pair>> {
    let session = journal.read_session(&stored.id)?;
    let heard = listen(stored, sound, &Listened::default(), session.setup.word_at)?;
    let log = reheard(&session.log, &session.setup, &heard.sounds);
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
    let then: Vec<&Pair> = stored.pairs_counted().collect();
    let (old, new) = (counts(then.iter().copied()), counts(now));
    let changes_ms = lag_changes_ms(&then, now)?;
    let changed = changes_ms.iter().filter(|ms| **ms > SAME_MS).count();
    let worst_ms = changes_ms.iter().copied().fold(0.0, f64::max);
    let name = stored.bout.source.as_deref().map(plain).unwrap_or_default();
    write!(out, "{} {name}: ", id.short())?;
    if old == new && changed == 0 {
        writeln!(out, "the same ({})", count(old[0], "lag", "lags"))?;
    } else {
        writeln!(
            out,
            "lags {} now {}, missed {} now {}, stray {} now {}; {} by at most {worst_ms:.2} ms",
            old[0],
            new[0],
            old[1],
            new[1],
            old[2],
            new[2],
            count(changed, "lag differs,", "lags differ,")
        )?;
    }
    Ok(())
}

/// How far the lags of the same moments lie apart, in milliseconds. Which moments are
/// the same is told by their instants, each once: the sound was heard anew.
fn lag_changes_ms(then: &[&Pair], now: &[Pair]) -> Result<Vec<f64>> {
    let lags = |pair: &Pair| pair.moment_s.zip(pair.lag_ms);
    let old: Vec<(f64, f64)> = then.iter().filter_map(|p| lags(p)).collect();
    let new: Vec<(f64, f64)> = now.iter().filter_map(lags).collect();
    let times = |lags: &[(f64, f64)]| -> Vec<f64> { lags.iter().map(|l| l.0).collect() };
    let window = Window::new(1e3 * SAME_S, 1e3 * SAME_S)?;
    // The aim plays no part here.
    let aim = Aim {
        from_ms: 0.0,
        to_ms: 0.0,
    };
    let same = pair(&times(&old), &times(&new), window, aim);
    let same = same.iter().filter_map(|p| p.moment.zip(p.mark));
    let change = same.filter_map(|(a, b)| Some((old.get(a.place())?.1, new.get(b.place())?.1)));
    Ok(change.map(|(a, b)| (a - b).abs()).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::{Bout, OtherEvent, SetAside};
    use crate::timeline::{MomentId, MomentKind, Outcome, Sound, SoundId, SoundKind};

    fn click(t_s: f64) -> Sound {
        Sound {
            t_s,
            kind: SoundKind::Click,
            name: "box".into(),
            confidence: 1.0,
            level_dbfs: -12.0,
        }
    }

    fn bout() -> Bout {
        Bout {
            kind: BoutKind::Drill,
            started_at: jiff::Timestamp::UNIX_EPOCH,
            time_zone: None,
            person: None,
            source: None,
            sound_file: None,
            sample_rate_hz: None,
            channels: None,
            duration_s: None,
            program_version: String::new(),
            settings_json: "{}".to_owned(),
            profiles: Vec::new(),
        }
    }

    /// A drill in the journal: a drop that was taken back with its mark, a pause from
    /// 20 s to 30 s, and one from 50 s to the end.
    fn drill() -> StoredBout {
        let other = |kind: &str, t_s| {
            BoutEvent::Other(OtherEvent {
                t_s: Some(t_s),
                u_ms: None,
                kind: kind.to_owned(),
                detail_json: None,
            })
        };
        let aside = |target_seq| {
            BoutEvent::SetAside(SetAside {
                target_seq,
                is_aside: true,
                reason: String::new(),
            })
        };
        let moment = Moment {
            t_s: 10.0,
            kind: MomentKind::Floor,
            source: MomentSource::Sound,
            label: String::new(),
        };
        let pair = Pair {
            moment: Some(MomentId(2)),
            mark: Some(SoundId(1)),
            moment_s: Some(10.0),
            mark_s: Some(10.3),
            lag_ms: Some(300.0),
            outcome: Outcome::Late,
            u_ms: None,
        };
        let events = [
            BoutEvent::Sound(click(10.3)),
            BoutEvent::Moment(moment),
            BoutEvent::Pair(pair),
            aside(2),
            aside(3),
            other("pause", 20.0),
            other("warning", 22.0),
            other("resume", 30.0),
            other("pause", 50.0),
        ];
        let folder = tempfile::tempdir().unwrap();
        let mut journal = Journal::open(&folder.path().join("journal.sqlite")).unwrap();
        let id = journal.begin_bout(&bout()).unwrap();
        journal.append_events(&id, &events).unwrap();
        journal.read_bout(&id).unwrap()
    }

    #[test]
    fn what_did_not_count_in_a_drill_does_not_count_again() {
        let stored = drill();
        assert_eq!(pauses(&stored), [(20.0, 30.0), (50.0, f64::INFINITY)]);
        assert_eq!(undone(&stored), [10.0, 10.3]);
        let counts = |t_s: f64| {
            let is_in = |(from, to): &(f64, f64)| (*from..=*to).contains(&t_s);
            !pauses(&stored).iter().any(is_in)
        };
        assert!([15.0, 40.0].map(counts).iter().all(|c| *c));
        assert!(![25.0, 60.0].map(counts).iter().any(|c| *c));
    }
}
