//! `marklag journal`: what was kept, shown, taken elsewhere, forgotten.

use std::fs;
use std::io::{self, BufRead, BufWriter, IsTerminal, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use clap::{Args, Subcommand};
use jiff::Timestamp;

use super::target::results_folder;
use super::{keeping, remeasure};
use crate::journal::{
    BoutEvent, BoutId, BoutRow, Home, Journal, StoredBout, Table, create_new_private_file,
};
use crate::timeline::{Outcome, Pair};

/// Look at what was kept, take it elsewhere, forget it
#[derive(Debug, Args)]
pub struct JournalCmd {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// List what was kept, newest first
    List {
        /// Show at most this many
        #[arg(long, value_name = "N", default_value_t = 30)]
        limit: u32,
    },
    /// Show one review, drill or session with all its lags
    Show {
        /// Its id, the beginning of its id, or "last"
        #[arg(value_name = "ID", default_value = "last")]
        id: String,
    },
    /// Write what was kept as JSON Lines, or as one CSV file a table
    Export {
        /// Only this one: its id, the beginning of its id, or "last"
        #[arg(value_name = "ID")]
        id: Option<String>,
        /// Write to this new file instead of the terminal
        #[arg(long, value_name = "FILE", conflicts_with = "csv")]
        out: Option<PathBuf>,
        /// Write CSV files into this folder, one for each table
        #[arg(long, value_name = "FOLDER")]
        csv: Option<PathBuf>,
    },
    /// Take in an export (JSON Lines): what is here already stays as it is
    Import {
        /// The export; - for standard input
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
    /// Take in another journal: all that it has, once
    Merge {
        /// Its file, or its home folder
        #[arg(value_name = "OTHER")]
        other: PathBuf,
    },
    /// Copy the journal into a new file, and check the copy
    Backup {
        /// The new file
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
    /// Check that everything in the journal is whole
    Check {},
    /// Hear again what was kept with its sound, and show what today's ear changes
    Remeasure {
        /// Only this one: its id, the beginning of its id, or "last"
        #[arg(value_name = "ID")]
        id: Option<String>,
    },
    /// Take one out for good, with its kept sound, down to its bytes on the disk
    Forget {
        /// Its id, the beginning of its id, or "last"
        #[arg(value_name = "ID", required_unless_present_any = ["sweep", "person", "animal"])]
        id: Option<String>,
        /// Everything of this person
        #[arg(long, value_name = "NAME", conflicts_with = "id")]
        person: Option<String>,
        /// This animal, with what it is taught and its plans; its sessions stay, without it
        #[arg(long, value_name = "NAME", conflicts_with_all = ["id", "person"])]
        animal: Option<String>,
        /// Do not ask
        #[arg(long)]
        yes: bool,
        /// Only finish an earlier forgetting that was cut off
        #[arg(long, conflicts_with_all = ["id", "yes"])]
        sweep: bool,
    },
}

impl JournalCmd {
    /// Does what was asked with the journal of `home`; words go to `out`.
    ///
    /// # Errors
    /// What is wrong and what to do about it.
    pub fn run(self, home: &Home, out: &mut dyn Write) -> Result<()> {
        self.run_asking(home, out, ask_on_terminal)
    }

    fn run_asking(
        self,
        home: &Home,
        out: &mut dyn Write,
        ask: impl FnOnce(&str) -> Result<bool>,
    ) -> Result<()> {
        match &self.what {
            What::Import { file } => return keeping::import(home, file, out),
            What::Merge { other } => return keeping::merge(home, other, out),
            _ => {}
        }
        let file = home.journal_file();
        let Some(mut journal) = Journal::open_existing(&file)? else {
            writeln!(
                out,
                "Nothing has been kept yet: there is no {}.",
                file.display()
            )?;
            return Ok(());
        };
        if let Some(notice) = journal.notice() {
            // To the side, so that an export stays whole.
            eprintln!("Note: {notice}.");
        }
        match self.what {
            What::List { limit } => list(&journal, limit, out),
            What::Show { id } => {
                let id = journal.find(&id)?;
                show(&journal.row(&id)?, &journal.read_bout(&id)?, out)
            }
            What::Export { id, out: file, csv } => {
                let id = id.map(|id| journal.find(&id)).transpose()?;
                match (file, csv) {
                    (_, Some(folder)) => export_csv(&journal, id.as_ref(), &folder, out),
                    (Some(file), None) => export_to_file(&journal, id.as_ref(), &file, out),
                    (None, None) => {
                        journal.export_json_lines(id.as_ref(), &mut BufWriter::new(out))?;
                        Ok(())
                    }
                }
            }
            What::Import { .. } | What::Merge { .. } => Ok(()),
            What::Backup { file } => keeping::backup(&journal, &file, out),
            What::Check {} => keeping::check(&journal, out),
            What::Remeasure { id } => {
                let id = id.map(|id| journal.find(&id)).transpose()?;
                remeasure::run(&journal, home, id, out)
            }
            What::Forget {
                person: Some(name),
                yes,
                ..
            } => {
                let ids = journal.bouts_of(&name)?;
                if ids.is_empty() {
                    bail!("nothing is kept of {name:?}");
                }
                let question = format!(
                    "Forget all {} of {} for good, with kept sound? Nothing brings it back.",
                    ids.len(),
                    plain(&name)
                );
                if !yes && !ask(&question)? {
                    writeln!(out, "Nothing was forgotten.")?;
                    return Ok(());
                }
                for id in &ids {
                    if let Some(sound) = journal.forget(id)? {
                        remove_sound(home, &sound)?;
                    }
                }
                journal.sweep()?;
                writeln!(out, "Forgotten.")?;
                Ok(())
            }
            What::Forget {
                animal: Some(name),
                yes,
                ..
            } => {
                let question = format!(
                    "Forget {} for good, with what it is taught and its plans? Nothing brings it back.",
                    plain(&name)
                );
                if !yes && !ask(&question)? {
                    writeln!(out, "Nothing was forgotten.")?;
                    return Ok(());
                }
                if !journal.forget_animal(&name)? {
                    bail!("nothing is kept of an animal called {name:?}");
                }
                journal.sweep()?;
                writeln!(out, "Forgotten.")?;
                Ok(())
            }
            What::Forget { id: None, .. } => {
                journal.sweep()?;
                writeln!(out, "Nothing of what was forgotten is left in the file.")?;
                Ok(())
            }
            What::Forget {
                id: Some(id), yes, ..
            } => {
                let id = journal.find(&id)?;
                let row = journal.row(&id)?;
                writeln!(out, "{}", line(&row))?;
                let question = "Forget it for good, with its kept sound? Nothing brings it back.";
                if !yes && !ask(question)? {
                    writeln!(out, "Nothing was forgotten.")?;
                    return Ok(());
                }
                forget(&mut journal, home, &id, out)
            }
        }
    }
}

pub(super) fn ask_on_terminal(question: &str) -> Result<bool> {
    if !io::stdin().is_terminal() {
        bail!("there is nobody to ask here; give --yes to forget without being asked");
    }
    eprint!("{question} Type yes to forget: ");
    io::stderr().flush()?;
    let mut answer = String::new();
    io::stdin().lock().read_line(&mut answer)?;
    Ok(answer.trim().eq_ignore_ascii_case("yes"))
}

fn list(journal: &Journal, limit: u32, out: &mut dyn Write) -> Result<()> {
    let rows = journal.list(Some(limit))?;
    if rows.is_empty() {
        writeln!(out, "Nothing has been kept yet.")?;
        return Ok(());
    }
    writeln!(
        out,
        "{:8}  {:16}  {:7}  {:>7}  {:>6}  {:>5}  {:>13}  who, from",
        "id", "started", "kind", "moments", "missed", "stray", "mean lag"
    )?;
    for row in &rows {
        writeln!(out, "{}", line(row))?;
    }
    Ok(())
}

fn line(row: &BoutRow) -> String {
    let mut whence: Vec<String> = Vec::new();
    whence.extend(row.person.as_deref().map(plain));
    whence.extend(row.source.as_deref().map(plain));
    if row.ended_at.is_none() {
        whence.push("never ended".to_owned());
    }
    let line = format!(
        "{:8}  {:16}  {:7}  {:>7}  {:>6}  {:>5}  {:>13}  {}",
        row.id.short(),
        local(row.started_at, row.time_zone.as_deref()),
        kind(row),
        row.moments,
        row.missed,
        row.stray,
        in_words(row.mean_lag_ms),
        whence.join(", ")
    );
    line.trim_end().to_owned()
}

fn show(row: &BoutRow, stored: &StoredBout, out: &mut dyn Write) -> Result<()> {
    let bout = &stored.bout;
    writeln!(out, "{} {}", kind(row), stored.id)?;
    let started = local(bout.started_at, bout.time_zone.as_deref());
    writeln!(out, "started     {started}")?;
    if stored.ended_at.is_none() {
        writeln!(out, "ended       never: it was cut off, or is going on now")?;
    }
    if let Some(duration_s) = bout.duration_s {
        writeln!(out, "length      {duration_s:.1} s")?;
    }
    let words = [
        ("who", &bout.person),
        ("from", &bout.source),
        ("kept sound", &bout.sound_file),
    ];
    for (name, value) in words {
        if let Some(value) = value {
            writeln!(out, "{name:10}  {}", plain(value))?;
        }
    }
    let bridges: Vec<String> = bout.profiles.iter().map(|p| plain(&p.name)).collect();
    if !bridges.is_empty() {
        writeln!(out, "bridges     {}", bridges.join(", "))?;
    }
    writeln!(
        out,
        "moments     {}: {} on time, {} early, {} late, {} missed",
        row.moments, row.on_time, row.early, row.late, row.missed
    )?;
    writeln!(out, "strays      {}", row.stray)?;
    writeln!(out, "mean lag    {}", in_words(row.mean_lag_ms))?;
    let aside = set_aside(stored);
    for numbered in &stored.events {
        let mark = if aside.contains(&numbered.seq) {
            "  (set aside)"
        } else {
            ""
        };
        match &numbered.event {
            BoutEvent::Pair(pair) => writeln!(out, "{}{mark}", pair_line(pair))?,
            BoutEvent::Note(note) => writeln!(out, "note        {}{mark}", plain(&note.text))?,
            _ => {}
        }
    }
    Ok(())
}

/// The numbers of the events that count no longer.
fn set_aside(stored: &StoredBout) -> std::collections::BTreeSet<i64> {
    let mut aside = std::collections::BTreeSet::new();
    for numbered in &stored.events {
        if let BoutEvent::SetAside(change) = &numbered.event {
            if change.is_aside {
                aside.insert(change.target_seq);
            } else {
                aside.remove(&change.target_seq);
            }
        }
    }
    aside
}

fn pair_line(pair: &Pair) -> String {
    let at_s = pair.moment_s.or(pair.mark_s).unwrap_or(f64::NAN);
    let outcome = match pair.outcome {
        Outcome::OnTime => "on time",
        Outcome::Early => "early",
        Outcome::Late => "late",
        Outcome::Missed => "missed",
        Outcome::Stray => "stray",
    };
    let lag = pair.lag_ms.map_or(String::new(), |lag| in_words(Some(lag)));
    format!("  {at_s:>10.3} s  {outcome:7}  {lag}")
        .trim_end()
        .to_owned()
}

fn export_to_file(
    journal: &Journal,
    id: Option<&BoutId>,
    path: &Path,
    out: &mut dyn Write,
) -> Result<()> {
    let rows = into_new_file(path, |file| Ok(journal.export_json_lines(id, file)?))?;
    writeln!(out, "{rows} rows written to {}", path.display())?;
    Ok(())
}

fn export_csv(
    journal: &Journal,
    id: Option<&BoutId>,
    folder: &Path,
    out: &mut dyn Write,
) -> Result<()> {
    results_folder(folder)
        .with_context(|| format!("the folder {} cannot be made", folder.display()))?;
    for table in Table::ALL {
        let path = folder.join(format!("{}.csv", table.name()));
        let rows = into_new_file(&path, |file| Ok(journal.export_csv(table, id, file)?))?;
        writeln!(out, "{rows} rows written to {}", path.display())?;
    }
    Ok(())
}

/// Writes a file that must not be there yet, so that no journal, and no earlier
/// export, is ever written over. A file that cannot be finished is taken away.
fn into_new_file(
    path: &Path,
    write: impl FnOnce(&mut BufWriter<fs::File>) -> Result<u64>,
) -> Result<u64> {
    let file = create_new_private_file(path).with_context(|| {
        format!(
            "{} cannot be made; give the name of a new file",
            path.display()
        )
    })?;
    let mut file = BufWriter::new(file);
    let done = write(&mut file).and_then(|rows| {
        file.flush()?;
        file.get_ref().sync_all()?;
        Ok(rows)
    });
    if done.is_err() {
        // Half an export is of no use; the first error is the one to tell.
        let _ = fs::remove_file(path);
    }
    done.with_context(|| format!("{} was not written", path.display()))
}

fn forget(journal: &mut Journal, home: &Home, id: &BoutId, out: &mut dyn Write) -> Result<()> {
    let sound_file = journal.forget(id)?;
    if let Some(name) = sound_file {
        remove_sound(home, &name)?;
    }
    journal.sweep()?;
    writeln!(out, "Forgotten.")?;
    Ok(())
}

fn remove_sound(home: &Home, name: &str) -> Result<()> {
    // A journal from elsewhere must not name a file outside the home folder.
    if Path::new(name).file_name() != Some(name.as_ref()) {
        bail!(
            "it is forgotten, but its kept sound was not removed: {name:?} is no plain file name"
        );
    }
    let path = home.sounds_folder().join(name);
    match fs::remove_file(&path) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error).with_context(|| {
            let path = path.display();
            format!(
                "it is forgotten, but its kept sound {path} could not be removed; remove it by hand"
            )
        }),
        _ => Ok(()),
    }
}

fn kind(row: &BoutRow) -> &'static str {
    match row.kind {
        crate::journal::BoutKind::Review => "review",
        crate::journal::BoutKind::Drill => "drill",
        crate::journal::BoutKind::Session => "session",
    }
}

fn in_words(lag_ms: Option<f64>) -> String {
    match lag_ms {
        None => "-".to_owned(),
        Some(lag_ms) => {
            let rounded_ms = lag_ms.abs().round();
            if rounded_ms == 0.0 {
                "0 ms".to_owned()
            } else if lag_ms < 0.0 {
                format!("{rounded_ms} ms early")
            } else {
                format!("{rounded_ms} ms late")
            }
        }
    }
}

/// The day and time where the bout was; in UTC, and saying so, where that is
/// not known.
pub(super) fn local(at: Timestamp, time_zone: Option<&str>) -> String {
    match time_zone.and_then(|name| at.in_tz(name).ok()) {
        Some(there) => there.strftime("%Y-%m-%d %H:%M").to_string(),
        None => at.strftime("%Y-%m-%d %H:%MZ").to_string(),
    }
}

/// Words from a file as one plain line: nothing in them steers the terminal.
pub(super) fn plain(text: &str) -> String {
    let safe = |c: char| if c.is_control() { '\u{fffd}' } else { c };
    text.chars().map(safe).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use clap::Parser;

    use super::*;
    use crate::journal::{Bout, BoutKind, KeptReview, ProfileSnapshot};
    use crate::timeline::{Moment, MomentKind, MomentSource, Sound, SoundKind};

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        command: JournalCmd,
    }

    fn home_with_a_review() -> (tempfile::TempDir, Home, BoutId) {
        let scratch = tempfile::tempdir().unwrap();
        let home = Home::at(scratch.path().join("home"));
        home.create().unwrap();
        fs::write(home.sounds_folder().join("a.wav"), "sound").unwrap();
        let mut journal = Journal::open(&home.journal_file()).unwrap();
        let review = KeptReview {
            bout: Bout {
                kind: BoutKind::Review,
                // A quarter past midnight UTC is a quarter past one in Vienna.
                started_at: "2025-01-31T00:15:00Z".parse().unwrap(),
                time_zone: Some("Europe/Vienna".into()),
                person: Some("Ada\u{1b}[31m".into()),
                source: Some("barn.wav".into()),
                sound_file: Some("a.wav".into()),
                sample_rate_hz: Some(48_000),
                channels: Some(1),
                duration_s: Some(60.0),
                program_version: "0.1.0".into(),
                settings_json: "{}".into(),
                profiles: vec![ProfileSnapshot {
                    name: "box".into(),
                    json: "{}".into(),
                }],
            },
            sounds: vec![Sound {
                t_s: 0.958,
                kind: SoundKind::Click,
                name: "box".into(),
                confidence: 1.0,
                level_dbfs: -6.0,
            }],
            moments: vec![Moment {
                t_s: 1.0,
                kind: MomentKind::Floor,
                source: MomentSource::Sound,
                label: String::new(),
            }],
            pairs: vec![Pair {
                moment_s: Some(1.0),
                mark_s: Some(0.958),
                lag_ms: Some(-42.0),
                outcome: Outcome::OnTime,
                u_ms: Some(0.1),
            }],
        };
        let id = journal.keep_review(&review).unwrap();
        (scratch, home, id)
    }

    fn run(home: &Home, line: &str, answer: bool) -> Result<String> {
        let words = std::iter::once("journal").chain(line.split_whitespace());
        let command = Line::try_parse_from(words)?.command;
        let mut out = Vec::new();
        command.run_asking(home, &mut out, |_| Ok(answer))?;
        Ok(String::from_utf8(out).unwrap())
    }

    #[test]
    fn list_and_show_speak_plainly() {
        let (_scratch, home, id) = home_with_a_review();
        let list = run(&home, "list", false).unwrap();
        let line = list.lines().nth(1).unwrap();
        for word in [
            id.short(),
            "2025-01-31 01:15",
            "review",
            "42 ms early",
            "barn.wav",
        ] {
            assert!(line.contains(word), "{word}: {line}");
        }
        let show = run(&home, "show", false).unwrap();
        assert!(
            show.contains("1: 1 on time, 0 early, 0 late, 0 missed"),
            "{show}"
        );
        assert!(show.contains("1.000 s  on time  42 ms early"), "{show}");
        for text in [list, show] {
            assert!(!text.contains('\u{1b}'), "{text:?}");
        }
    }

    #[test]
    fn an_empty_home_is_no_error_and_stays_empty() {
        let scratch = tempfile::tempdir().unwrap();
        let home = Home::at(scratch.path().join("none"));
        for line in ["list", "show", "export", "forget last"] {
            let text = run(&home, line, true).unwrap();
            assert!(text.starts_with("Nothing has been kept yet"), "{text}");
        }
        assert!(!home.folder().exists());
    }

    #[test]
    fn forgetting_asks_and_takes_the_sound_too() {
        let (_scratch, home, id) = home_with_a_review();
        let line = format!("forget {}", id.short());
        let text = run(&home, &line, false).unwrap();
        assert!(text.ends_with("Nothing was forgotten.\n"), "{text}");
        assert!(home.sounds_folder().join("a.wav").exists());
        let text = run(&home, &line, true).unwrap();
        assert!(text.ends_with("Forgotten.\n"), "{text}");
        assert!(!home.sounds_folder().join("a.wav").exists());
        assert!(run(&home, &line, true).is_err());
        assert_eq!(
            run(&home, "list", false).unwrap(),
            "Nothing has been kept yet.\n"
        );
    }

    #[test]
    fn a_sound_outside_the_home_is_not_removed() {
        let (scratch, home, _) = home_with_a_review();
        for name in ["../settings.toml", "..", "/etc/hostname", "a/b", ""] {
            assert!(remove_sound(&home, name).is_err(), "{name:?}");
        }
        assert!(scratch.path().exists());
    }

    #[test]
    fn an_export_never_writes_over_a_file() {
        let (scratch, home, _) = home_with_a_review();
        let journal = home.journal_file();
        let before = fs::read(&journal).unwrap();
        let line = format!("export --out {}", journal.display());
        let error = format!("{:#}", run(&home, &line, false).unwrap_err());
        assert!(error.contains("give the name of a new file"), "{error}");
        assert_eq!(fs::read(&journal).unwrap(), before);

        let file = scratch.path().join("all.jsonl");
        let line = format!("export last --out {}", file.display());
        run(&home, &line, false).unwrap();
        let piped = run(&home, "export", false).unwrap();
        assert_eq!(fs::read_to_string(file).unwrap(), piped);

        let folder = scratch.path().join("tables");
        let line = format!("export --csv {}", folder.display());
        run(&home, &line, false).unwrap();
        let pairs = fs::read_to_string(folder.join("pair.csv")).unwrap();
        assert!(
            pairs.lines().nth(1).unwrap().contains("on_time,floor,"),
            "{pairs}"
        );
        assert_eq!(fs::read_dir(folder).unwrap().count(), Table::ALL.len());
    }
}
