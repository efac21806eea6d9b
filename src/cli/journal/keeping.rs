//! `marklag journal import, merge, backup, check`: the journal for life.

use std::fs::File;
use std::io::{BufReader, Write};
use std::path::Path;

use anyhow::{Context, Result, bail};

use super::plain;
use crate::cli::trouble::cannot_read;
use crate::journal::{Conflict, Home, Journal, Merged};

pub(super) fn import(home: &Home, file: &Path, out: &mut dyn Write) -> Result<()> {
    let mut journal = opened(home)?;
    let merged = if file == Path::new("-") {
        journal.import(std::io::stdin().lock())?
    } else {
        let from = File::open(file).map_err(|e| cannot_read("the export", file, &e))?;
        journal.import(BufReader::new(from))?
    };
    told(&merged, out)
}

pub(super) fn merge(home: &Home, other: &Path, out: &mut dyn Write) -> Result<()> {
    let mut journal = opened(home)?;
    let file = if other.is_dir() {
        Home::at(other).journal_file()
    } else {
        other.to_path_buf()
    };
    told(&journal.merge(&file)?, out)
}

fn opened(home: &Home) -> Result<Journal> {
    home.create()?;
    Ok(Journal::open(&home.journal_file())?)
}

fn told(merged: &Merged, out: &mut dyn Write) -> Result<()> {
    let Merged {
        added,
        replaced,
        unchanged,
        conflicts,
    } = merged;
    if added.is_empty() && *replaced == 0 && conflicts.is_empty() {
        writeln!(out, "Nothing new: all of it was here already.")?;
        return Ok(());
    }
    let words: Vec<String> = added
        .iter()
        .map(|(table, n)| format!("{n} {table}"))
        .collect();
    if words.is_empty() {
        writeln!(out, "Nothing new.")?;
    } else {
        writeln!(out, "New here: {}.", words.join(", "))?;
    }
    if *replaced > 0 {
        writeln!(out, "Taken in a fuller version: {replaced}.")?;
    }
    if *unchanged > 0 {
        writeln!(out, "Left as they were: {unchanged}.")?;
    }
    for conflict in conflicts {
        conflict_told(conflict, out)?;
    }
    Ok(())
}

fn conflict_told(conflict: &Conflict, out: &mut dyn Write) -> Result<()> {
    writeln!(
        out,
        "Two versions of {} {} contradict each other; the one from {} stays. Not in it:",
        conflict.table,
        plain(&conflict.identity),
        if conflict.theirs_stays {
            "there"
        } else {
            "here"
        }
    )?;
    for row in &conflict.lost {
        let row: String = plain(row).chars().take(100).collect();
        writeln!(out, "    {row}")?;
    }
    Ok(())
}

pub(super) fn backup(journal: &Journal, file: &Path, out: &mut dyn Write) -> Result<()> {
    if file.exists() {
        bail!(
            "{} is there already; give the name of a new file",
            file.display()
        );
    }
    journal
        .backup(file)
        .with_context(|| format!("no copy was made in {}", file.display()))?;
    writeln!(
        out,
        "Copied to {} and checked. Taught sounds are in it as they were used; settings and kept \
         sound are not: they lie in the home folder.",
        file.display()
    )?;
    Ok(())
}

pub(super) fn check(journal: &Journal, out: &mut dyn Write) -> Result<()> {
    let findings = journal.check_all()?;
    if findings.is_empty() {
        writeln!(out, "The journal is whole: nothing was found.")?;
        return Ok(());
    }
    for finding in &findings {
        writeln!(out, "{}", plain(&finding.what))?;
    }
    bail!(
        "{} found in the journal; nothing was changed. Make a copy of its folder before anything else",
        match findings.len() {
            1 => "1 fault was".to_owned(),
            n => format!("{n} faults were"),
        }
    );
}
