//! `marklag journal forget`: out of the journal for good.

use std::fs;
use std::io::{self, BufRead, IsTerminal, Write};
use std::path::Path;

use anyhow::{Context, Result, bail};

use super::plain;
use super::show::line;
use crate::journal::{Home, Journal};

/// One bout, or all of a person, or an animal; nothing of it is left.
pub(super) fn one(
    journal: &mut Journal,
    home: &Home,
    wanted: &str,
    sure: impl FnOnce(&str) -> Result<bool>,
    out: &mut dyn Write,
) -> Result<()> {
    let id = journal.find(wanted)?;
    writeln!(out, "{}", line(&journal.row(&id)?))?;
    if !sure("Forget it for good, with its kept sound? Nothing brings it back.")? {
        return none(out);
    }
    let sounds = journal.forget(&id)?;
    remove_and_sweep(journal, home, sounds, out)
}

/// Everything of a person.
pub(super) fn person(
    journal: &mut Journal,
    home: &Home,
    name: &str,
    sure: impl FnOnce(&str) -> Result<bool>,
    out: &mut dyn Write,
) -> Result<()> {
    if !journal.knows_person(name)? {
        bail!("nothing is kept of {name:?}");
    }
    let question = format!(
        "Forget all {} of {} for good, with kept sound? Nothing brings it back.",
        journal.bouts_of(name)?.len(),
        plain(name)
    );
    if !sure(&question)? {
        return none(out);
    }
    let sounds = journal.forget_person(name)?;
    remove_and_sweep(journal, home, sounds, out)
}

/// An animal.
pub(super) fn animal(
    journal: &mut Journal,
    name: &str,
    sure: impl FnOnce(&str) -> Result<bool>,
    out: &mut dyn Write,
) -> Result<()> {
    let question = format!(
        "Forget {} for good, with what it is taught and its plans? Nothing brings it back.",
        plain(name)
    );
    if !sure(&question)? {
        return none(out);
    }
    if !journal.forget_animal(name)? {
        bail!("nothing is kept of an animal called {name:?}");
    }
    swept(journal, out)
}

fn none(out: &mut dyn Write) -> Result<()> {
    Ok(writeln!(out, "Nothing was forgotten.")?)
}

/// Removes all kept sounds that can be removed and sweeps; what could not be done is
/// told at the end, since nothing else knows of it any more.
fn remove_and_sweep(
    journal: &mut Journal,
    home: &Home,
    sounds: impl IntoIterator<Item = String>,
    out: &mut dyn Write,
) -> Result<()> {
    let sounds = sounds.into_iter();
    let mut failed: Vec<String> = sounds
        .filter_map(|name| remove_sound(home, &name).err())
        .map(|error| format!("{error:#}"))
        .collect();
    if let Err(error) = journal.sweep() {
        failed.push(error.to_string());
    }
    if !failed.is_empty() {
        bail!("{}", failed.join("; "));
    }
    Ok(writeln!(out, "Forgotten.")?)
}

fn swept(journal: &mut Journal, out: &mut dyn Write) -> Result<()> {
    journal.sweep()?;
    Ok(writeln!(out, "Forgotten.")?)
}

pub(in crate::cli) fn ask_on_terminal(question: &str) -> Result<bool> {
    if !io::stdin().is_terminal() {
        bail!("there is nobody to ask here; give --yes to forget without being asked");
    }
    eprint!("{question} Type yes to forget: ");
    io::stderr().flush()?;
    let mut answer = String::new();
    io::stdin().lock().read_line(&mut answer)?;
    Ok(answer.trim().eq_ignore_ascii_case("yes"))
}

pub(super) fn remove_sound(home: &Home, name: &str) -> Result<()> {
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
