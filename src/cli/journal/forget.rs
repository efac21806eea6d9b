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
    if let Some(name) = journal.forget(&id)? {
        remove_sound(home, &name)?;
    }
    swept(journal, out)
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
    for sound in journal.forget_person(name)? {
        remove_sound(home, &sound)?;
    }
    swept(journal, out)
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
