//! `marklag plan`: what sessions are to practise.

mod form;
mod lines;

use std::fs;
use std::io::{self, BufRead, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::{Args, Subcommand};

use super::bridges::Bridges;
use super::review::open_journal;
use super::trouble::cannot_read;
use crate::journal::{Home, Journal};
use crate::page::minutes;
use crate::timeline::Plan;

/// Write, look at and change what sessions are to practise
#[derive(Debug, Args)]
#[command(args_conflicts_with_subcommands = true)]
pub(super) struct PlanCmd {
    /// Look a plan file over, and keep nothing
    #[arg(long, value_name = "FILE")]
    check: Option<PathBuf>,
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, Subcommand)]
enum What {
    /// List the plans
    List,
    /// Write a new plan in a form on the screen
    New {
        /// Question by question instead, as where there is no screen
        #[arg(long)]
        plain: bool,
    },
    /// Change a plan; with another name it is kept beside the old one
    Change {
        /// The plan's name
        name: String,
        /// Question by question instead, as where there is no screen
        #[arg(long)]
        plain: bool,
    },
    /// Print a plan as a TOML file
    Show {
        /// The plan's name
        name: String,
    },
    /// Keep the plan of a TOML file, in the place of one with its name
    Load {
        /// The file
        file: PathBuf,
    },
    /// Forget a plan; its sessions stay
    Forget {
        /// The plan's name
        name: String,
    },
    /// Give an animal another name
    RenameAnimal {
        /// The name it has
        old: String,
        /// The name it gets
        new: String,
    },
    /// Forget an animal with its behaviours and plans; its sessions stay without a name
    ForgetAnimal {
        /// Its name
        name: String,
        /// Do not ask
        #[arg(long)]
        yes: bool,
    },
}

impl PlanCmd {
    pub(super) fn run(self, home: &Home, out: &mut dyn Write) -> anyhow::Result<()> {
        if let Some(file) = self.check {
            let plan = read(&file)?;
            return Ok(writeln!(
                out,
                "{} is a plan.\n{}",
                file.display(),
                summary(&plan)
            )?);
        }
        match self.what.unwrap_or(What::List) {
            What::List => list(home, out),
            What::New { plain } => write_one(home, None, plain, out),
            What::Change { name, plain } => write_one(home, Some(kept(home, &name)?), plain, out),
            What::Show { name } => Ok(write!(out, "{}", kept(home, &name)?.to_toml())?),
            What::Load { file } => keep(home, &read(&file)?, out),
            What::Forget { name } => {
                if !open_journal(home)?.forget_plan(&name)? {
                    bail!("there is no plan called {name:?}; marklag plan lists those there are");
                }
                Ok(writeln!(
                    out,
                    "The plan {name:?} is forgotten; its sessions stay."
                )?)
            }
            What::RenameAnimal { old, new } => {
                if !open_journal(home)?.rename_animal(&old, &new)? {
                    bail!("there is no animal called {old:?}; marklag plan lists those there are");
                }
                Ok(writeln!(
                    out,
                    "{old} is {new} now, in all plans and sessions."
                )?)
            }
            What::ForgetAnimal { name, yes } => {
                let question = format!(
                    "Forget {name} for good, with its behaviours and plans? Its sessions stay without a name."
                );
                if !yes && !super::journal::ask_on_terminal(&question)? {
                    return Ok(writeln!(out, "Nothing was forgotten.")?);
                }
                let mut journal = open_journal(home)?;
                if !journal.forget_animal(&name)? {
                    bail!("there is no animal called {name:?}; marklag plan lists those there are");
                }
                journal.sweep()?;
                Ok(writeln!(out, "Forgotten.")?)
            }
        }
    }
}

/// The plan that a name or a file's path names.
pub(super) fn find(home: &Home, wanted: &str) -> anyhow::Result<Plan> {
    let file = Path::new(wanted);
    if file.is_file() {
        return read(file);
    }
    kept(home, wanted)
}

fn read(file: &Path) -> anyhow::Result<Plan> {
    let text = fs::read_to_string(file).map_err(|e| cannot_read("the plan", file, &e))?;
    Plan::parse(&text).with_context(|| format!("the plan {}", file.display()))
}

fn kept(home: &Home, name: &str) -> anyhow::Result<Plan> {
    let journal = Journal::open_existing(&home.journal_file())?;
    let plan = journal.map(|j| j.plan(name)).transpose()?.flatten();
    plan.with_context(|| {
        format!(
            "there is no plan called {name:?} and no such file; marklag plan lists the plans, marklag plan new writes one"
        )
    })
}

fn list(home: &Home, out: &mut dyn Write) -> anyhow::Result<()> {
    let plans = match Journal::open_existing(&home.journal_file())? {
        Some(journal) => journal.plans()?,
        None => Vec::new(),
    };
    if plans.is_empty() {
        writeln!(
            out,
            "No plan yet. Write one: marklag plan new. Or from a file: marklag plan load FILE"
        )?;
    }
    for plan in plans {
        let sessions = match plan.sessions {
            1 => "1 session".to_owned(),
            n => format!("{n} sessions"),
        };
        writeln!(
            out,
            "{}: {}, {} at most, {sessions}",
            plan.animal,
            plan.name,
            minutes(plan.length_min * 60.0)
        )?;
    }
    Ok(())
}

fn keep(home: &Home, plan: &Plan, out: &mut dyn Write) -> anyhow::Result<()> {
    open_journal(home)?.keep_plan(plan)?;
    writeln!(out, "Kept. {}", summary(plan))?;
    let taught = Bridges::all(home)?.words;
    for cue in plan.behaviours.iter().filter(|b| !b.cue.is_empty()) {
        let name = &cue.cue;
        if taught.iter().any(|word| cue.is_cue(&word.name)) {
            writeln!(out, "The cue {name:?} is heard when it is spoken.")?;
        } else {
            writeln!(
                out,
                "The cue {name:?} is keyed; to have a word heard: marklag teach word {name:?}"
            )?;
        }
    }
    writeln!(out, "Begin: marklag train {:?}", plan.name)?;
    Ok(())
}

/// A plan in a few lines.
fn summary(plan: &Plan) -> String {
    let mut text = format!(
        "{:?}: {} with {}",
        plan.name,
        minutes(plan.length_min * 60.0),
        if plan.animal.is_empty() {
            "an animal"
        } else {
            &plan.animal
        }
    );
    for (item, one) in plan.practise.iter().enumerate() {
        let step = match one.step {
            Some(step) => format!(", step {step}: {}", plan.earns(item, step)),
            None => String::new(),
        };
        text += &format!("\n  {}{step}", plan.title(item));
    }
    text
}

fn write_one(
    home: &Home,
    before: Option<Plan>,
    is_plain: bool,
    out: &mut dyn Write,
) -> anyhow::Result<()> {
    let plan = if is_plain || !form::has_screen() {
        lines::fill(before, &mut ask)?
    } else {
        form::fill(home, before.as_ref())?
    };
    match plan {
        Some(plan) => keep(home, &plan, out),
        None => Ok(writeln!(
            out,
            "Nothing was kept. A plan can be written as a TOML file too: marklag plan load FILE"
        )?),
    }
}

/// Asks on the terminal; enter keeps what stands in brackets.
fn ask(question: &str, before: &str) -> io::Result<Option<String>> {
    if before.is_empty() {
        eprint!("{question}: ");
    } else {
        eprint!("{question} [{before}]: ");
    }
    io::stderr().flush()?;
    let mut answer = String::new();
    if io::stdin().lock().read_line(&mut answer)? == 0 {
        eprintln!();
        return Ok(None);
    }
    let answer = answer.trim();
    let answer = if answer.is_empty() { before } else { answer };
    Ok(Some(answer.to_owned()))
}
