//! `marklag journal`: what was kept, shown, taken elsewhere, forgotten.

mod export;
mod forget;
mod keeping;
mod people;
mod remeasure;
mod show;

use std::io::{self, BufWriter, IsTerminal, Write};
use std::path::PathBuf;

use anyhow::{Result, bail};
use clap::{Args, Subcommand};
use jiff::Timestamp;

pub(super) use self::forget::ask_on_terminal;
use super::prose;
use crate::journal::{Home, Journal};

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
        /// Write to this new file; - for the terminal
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
    /// Give one to a person, or all that nobody is named for
    Give {
        /// Its id, the beginning of its id, or "last"
        #[arg(value_name = "ID", required_unless_present = "all_nobodys")]
        id: Option<String>,
        /// Whose marks these are
        #[arg(long, value_name = "NAME")]
        person: String,
        /// All that nobody is named for
        #[arg(long, conflicts_with = "id")]
        all_nobodys: bool,
    },
    /// Give a person another name; two of one name become one person
    Rename {
        /// The name they have
        #[arg(value_name = "OLD")]
        old: String,
        /// The name they get
        #[arg(value_name = "NEW")]
        new: String,
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
                "Nothing has been kept yet: there is no {}. A drill is kept by: marklag drop, or marklag review drill.m4a --keep",
                file.display()
            )?;
            return Ok(());
        };
        if let Some(notice) = journal.notice() {
            // To the side, so that an export stays whole.
            prose::aside(&format!("Note: {notice}."));
        }
        match self.what {
            What::List { limit } => show::list(&journal, limit, out),
            What::Show { id } => {
                let id = journal.find(&id)?;
                show::show(&journal.row(&id)?, &journal.read_bout(&id)?, out)
            }
            What::Export { id, out: file, csv } => {
                let id = id.map(|id| journal.find(&id)).transpose()?;
                match (file, csv) {
                    (_, Some(folder)) => export::to_csv(&journal, id.as_ref(), &folder, out),
                    (Some(file), None) if file.as_os_str() != "-" => {
                        export::to_file(&journal, id.as_ref(), &file, out)
                    }
                    (None, None) if io::stdout().is_terminal() => bail!(
                        "an export is data for a program, not to be read; give a file to write: --out journal.jsonl (or --out - to see it here all the same)"
                    ),
                    (_, None) => {
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
            What::Give { id, person, .. } => {
                people::give(&mut journal, id.as_deref(), &person, out)
            }
            What::Rename { old, new } => people::rename(&mut journal, &old, &new, out),
            What::Forget {
                id,
                person,
                animal,
                yes,
                sweep: _,
            } => {
                let sure = |question: &str| if yes { Ok(true) } else { ask(question) };
                match (id, person, animal) {
                    (_, Some(name), _) => forget::person(&mut journal, home, &name, sure, out),
                    (_, None, Some(name)) => forget::animal(&mut journal, &name, sure, out),
                    (Some(id), None, None) => forget::one(&mut journal, home, &id, sure, out),
                    (None, None, None) => {
                        journal.sweep()?;
                        writeln!(out, "Nothing of what was forgotten is left in the file.")?;
                        Ok(())
                    }
                }
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
mod tests;
