//! The commands: one file each; words and exit codes.

mod bridges;
mod check;
mod compare;
mod demo;
mod drop;
mod examples;
mod front;
mod going_on;
pub mod journal;
mod keep_sound;
mod misunderstood;
mod near;
mod page;
mod papers;
mod people;
mod plan;
mod progress;
mod prose;
mod review;
mod show;
mod sound_in;
mod summary;
mod target;
mod teach;
mod train;
mod trouble;

use std::io::{self, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{ArgMatches, CommandFactory, FromArgMatches, Parser, Subcommand};

use self::prose::columns;
use crate::journal::Home;

const AFTER_HELP: &str = "\
First steps:
  1. Click ten times into the microphone, or record about ten clicks.
     marklag teach click blue
     marklag teach click blue --from clicks.wav
  2. Let a ball fall on a hard floor and click when it hits, twenty times; the
     program listens, or a phone records beside you.
     marklag drop
     marklag review drill.wav

Never click beside an ear, yours or an animal's. Keep balls from under feet.
Tell people before you record them. The program measures the trainer; it is no
medical test.";

/// How late is your mark? marklag hears your clicker and tells you.
#[derive(Debug, Parser)]
#[command(name = "marklag", version, after_help = AFTER_HELP, max_term_width = 100)]
struct Line {
    /// Folder for taught sounds, settings and the journal
    #[arg(long, value_name = "FOLDER", global = true, env = "MARKLAG_HOME")]
    home: Option<PathBuf>,
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Time the marks in a recording: how early or late each one was
    Review(Box<review::ReviewCmd>),
    /// Drop a ball and mark it, with the lag on the screen at once
    Drop(Box<drop::DropCmd>),
    /// Run a session with an animal: clock, marks, treats, steps
    Train(Box<train::TrainCmd>),
    /// Write, look at and change what sessions are to practise
    Plan(plan::PlanCmd),
    /// Compare what two people noted of the same session, or one at a second look
    Compare(compare::CompareCmd),
    /// Teach marklag the sound of your bridge
    Teach(teach::TeachCmd),
    /// Look at microphone, level, clock and hands, and say how far to trust them
    Check(check::CheckCmd),
    /// List or forget the taught sounds; to change one, teach it again
    Bridges(bridges::BridgesCmd),
    /// Over the weeks: is my timing getting better?
    Progress(Box<progress::ProgressCmd>),
    /// Write your progress as one page that any browser shows and prints
    Page(Box<page::PageCmd>),
    /// Look at what was kept, take it elsewhere, forget it
    Journal(journal::JournalCmd),
    /// Try it with no recording: a made-up farm, or its sound as a file
    Demo(demo::DemoCmd),
    /// Print a file that lets your shell complete marklag's commands
    Completions(papers::CompletionsCmd),
    /// Print the manual page
    Man(papers::ManCmd),
}

/// Runs the program and gives its exit code: 0 done, 1 something was wrong with
/// what was given or found, 2 the command line could not be understood.
pub fn main() -> ExitCode {
    let read = || -> Result<(Line, bool), clap::Error> {
        let matches = Line::command().try_get_matches()?;
        Ok((Line::from_arg_matches(&matches)?, is_data(&matches)))
    };
    let (line, is_data) = match read() {
        Ok(read) => read,
        Err(error) => return misunderstood::tell(error),
    };
    match run(line, is_data) {
        Ok(()) => ExitCode::SUCCESS,
        // Whoever read our output has read enough: not an error.
        Err(error) if is_broken_pipe(&error) => ExitCode::SUCCESS,
        Err(error) if error.is::<trouble::Signalled>() => {
            let signal = error
                .downcast_ref::<trouble::Signalled>()
                .map_or(0, |s| s.0);
            ExitCode::from(u8::try_from(128 + signal).unwrap_or(u8::MAX))
        }
        Err(error) => {
            prose::aside(&format!("marklag: {}", trouble::sentence(&error)));
            if error.is::<trouble::BadUsage>() {
                ExitCode::from(2)
            } else {
                ExitCode::FAILURE
            }
        }
    }
}

fn run(line: Line, is_data: bool) -> anyhow::Result<()> {
    let mut out = prose::stdout(is_data);
    let home = || Home::find(line.home.as_deref());
    match line.command {
        None => Ok(write!(out, "{}", front::page(home()))?),
        Some(Command::Review(command)) => command.run(&home, &mut out),
        Some(Command::Drop(command)) => command.run(&home()?, &mut out),
        Some(Command::Train(command)) => command.run(&home()?, &mut out),
        Some(Command::Plan(command)) => command.run(&home()?, &mut out),
        Some(Command::Compare(command)) => command.run(&home()?, &mut out),
        Some(Command::Teach(command)) => command.run(&home()?, &mut out),
        Some(Command::Check(command)) => command.run(&home()?, &mut out),
        Some(Command::Bridges(command)) => command.run(&home()?, &mut out),
        Some(Command::Progress(command)) => command.run(&home()?, &mut out),
        Some(Command::Page(command)) => command.run(&home()?, &mut out),
        Some(Command::Journal(command)) => command.run(&home()?, &mut out),
        Some(Command::Demo(command)) => command.run(&mut out),
        Some(Command::Completions(command)) => command.run(Line::command(), &mut out),
        Some(Command::Man(command)) => command.run(Line::command(), &mut out),
    }
}

fn is_broken_pipe(error: &anyhow::Error) -> bool {
    error.chain().any(|cause| {
        cause
            .downcast_ref::<io::Error>()
            .is_some_and(|e| e.kind() == io::ErrorKind::BrokenPipe)
    })
}

/// Whether standard output is for a program and not to be read: its lines are then left
/// as they are.
fn is_data(matches: &ArgMatches) -> bool {
    let (mut at, mut path) = (matches, Vec::new());
    while let Some((name, sub)) = at.subcommand() {
        path.push(name);
        at = sub;
    }
    let is_stdout = |id: &str| {
        let values = at.try_get_raw(id).ok().flatten();
        values.is_some_and(|mut values| values.any(|value| value == "-"))
    };
    let is_json = matches!(at.try_get_one::<bool>("json"), Ok(Some(true)));
    is_json
        || match path[..] {
            ["completions" | "man"] | ["journal", "export"] | ["plan", "show"] => true,
            ["review"] => is_stdout("csv") || is_stdout("vtt"),
            ["page"] => is_stdout("file"),
            _ => false,
        }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_like_a_command_is_no_data() {
        let data = |line: &str| {
            let words = std::iter::once("marklag").chain(line.split(' '));
            is_data(&Line::command().try_get_matches_from(words).unwrap())
        };
        for line in ["man", "journal export", "plan show target", "drop --json"] {
            assert!(data(line), "{line}");
        }
        for line in ["review a.wav --csv -", "review - --vtt=-", "page -"] {
            assert!(data(line), "{line}");
        }
        for line in ["review - --person man", "drop --person man", "journal list"] {
            assert!(!data(line), "{line}");
        }
    }
}
