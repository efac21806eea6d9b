//! `marklag journal list, show`: what was kept, as text.

use std::io::Write;

use anyhow::Result;

use super::{local, plain};
use crate::journal::{BoutEvent, BoutKind, BoutRow, Journal, StoredBout};
use crate::timeline::Pair;

pub(super) fn list(journal: &Journal, limit: u32, out: &mut dyn Write) -> Result<()> {
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

pub(super) fn line(row: &BoutRow) -> String {
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

pub(super) fn show(row: &BoutRow, stored: &StoredBout, out: &mut dyn Write) -> Result<()> {
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
    let aside = stored.aside();
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

fn pair_line(pair: &Pair) -> String {
    let at_s = pair.moment_s.or(pair.mark_s).unwrap_or(f64::NAN);
    let outcome = pair.outcome.words();
    let lag = pair.lag_ms.map_or(String::new(), |lag| in_words(Some(lag)));
    format!("  {at_s:>10.3} s  {outcome:7}  {lag}")
        .trim_end()
        .to_owned()
}

fn kind(row: &BoutRow) -> &'static str {
    match row.kind {
        BoutKind::Review => "review",
        BoutKind::Drill => "drill",
        BoutKind::Session => "session",
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
