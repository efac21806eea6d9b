//! `marklag journal give, rename`: whose a bout is.

use std::io::Write;

use anyhow::{Result, bail, ensure};

use super::plain;
use super::show::line;
use crate::cli::people::{listed, named};
use crate::cli::prose;
use crate::journal::{BoutId, Journal};

/// Gives one bout, or all that nobody is named for, to a person.
pub(super) fn give(
    journal: &mut Journal,
    wanted: Option<&str>,
    name: &str,
    out: &mut dyn Write,
) -> Result<()> {
    check(name)?;
    let ids: Vec<BoutId> = match wanted {
        Some(wanted) => vec![journal.find(wanted)?],
        None => journal.bouts_of_nobody()?,
    };
    if ids.is_empty() {
        return Ok(writeln!(
            out,
            "Nothing is to be given: every bout has somebody's name."
        )?);
    }
    let (name, note) = named(journal, name)?;
    if let Some(note) = note {
        prose::aside(&format!("Note: {note}."));
    }
    journal.give(&ids, &name)?;
    match &ids[..] {
        [only] => {
            writeln!(out, "{}", line(&journal.row(only)?))?;
            writeln!(out, "It is {}'s now.", plain(&name))?;
        }
        all => writeln!(out, "{} bouts are {}'s now.", all.len(), plain(&name))?,
    }
    Ok(())
}

/// Gives a person another name.
pub(super) fn rename(
    journal: &mut Journal,
    old: &str,
    new: &str,
    out: &mut dyn Write,
) -> Result<()> {
    check(new)?;
    let (old, new) = (old.trim(), new.trim());
    let Some(old) = journal.person_known_as(old)? else {
        bail!(
            "nothing is kept of {old:?}; there is something of: {}",
            listed(&journal.people()?)
        );
    };
    let there = journal.person_known_as(new)?.filter(|known| *known != old);
    journal.rename_person(&old, new)?;
    match there {
        Some(there) => writeln!(
            out,
            "What was {}'s is {}'s now: the two are one person from here on.",
            plain(&old),
            plain(&there)
        )?,
        None => writeln!(
            out,
            "{} is {} now, in all that was kept.",
            plain(&old),
            plain(new)
        )?,
    }
    Ok(())
}

fn check(name: &str) -> Result<()> {
    ensure!(
        !name.trim().is_empty() && !name.chars().any(char::is_control),
        "a person's name is one line, and not empty"
    );
    Ok(())
}
