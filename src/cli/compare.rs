//! `marklag compare`: two who noted the same session, or one who looked twice.

use std::fs;
use std::io::Write;
use std::path::Path;

use anyhow::{Context, bail};
use clap::Args;

use super::train::read_events;
use super::trouble::cannot_read;
use crate::journal::{Home, Journal};
use crate::measure::agree::observers::{Agreement, Noted, agreement, lags_icc};
use crate::measure::proportion::Share;
use crate::session::log_of_lines;
use crate::timeline::session::{Happened, Log};
use crate::timeline::{Pair, parse_moments};

/// Compare what two people noted of the same session, or one at a second look
#[derive(Debug, Args)]
pub(super) struct CompareCmd {
    /// A session in the journal (its id), an events file, or a moments file
    #[arg(value_name = "A")]
    first: String,
    /// The other one
    #[arg(value_name = "B")]
    second: String,
    /// How far apart two notes of the same thing may lie, in ms
    #[arg(
        long,
        value_name = "MS",
        default_value_t = 500.0,
        allow_hyphen_values = true
    )]
    window: f64,
}

/// What one of the two noted.
struct Side {
    noted: Vec<Noted>,
    /// Marks with lags; of a session only.
    pairs: Vec<Pair>,
}

impl CompareCmd {
    pub(super) fn run(self, home: &Home, out: &mut dyn Write) -> anyhow::Result<()> {
        let (first, second) = (side(home, &self.first)?, side(home, &self.second)?);
        let found = agreement(&first.noted, &second.noted, self.window)?;
        words(&found, self.window, out)?;
        match lags_icc(&first.pairs, &second.pairs)?.and_then(|icc| Some((icc, icc.icc2_single?))) {
            Some((icc, value)) => {
                let fits = icc.icc2_single_interval.map_or(String::new(), |i| {
                    format!(" ({:.2} to {:.2} would fit, 95 %)", i.low, i.high)
                });
                writeln!(
                    out,
                    "The lags that both give to the same {} marks: ICC(2,1) {value:.2}{fits}.",
                    icc.targets
                )?;
            }
            None => writeln!(
                out,
                "No ICC: it needs lags of the same marks from both (two sessions of the journal)."
            )?,
        }
        Ok(())
    }
}

fn words(found: &Agreement, window_ms: f64, out: &mut dyn Write) -> anyhow::Result<()> {
    writeln!(
        out,
        "Whether: {} noted by both within {window_ms:.0} ms; A alone {}, B alone {}.",
        share(&found.matched),
        found.only_first,
        found.only_second
    )?;
    if found.alike.of > 0 {
        writeln!(
            out,
            "What: both called {} alike (reached or near miss).",
            share(&found.alike)
        )?;
    }
    match found.kinds {
        Some(kappa) => {
            let fits = kappa.interval(0.95).map_or(String::new(), |i| {
                format!(" ({:.2} to {:.2} would fit, 95 %)", i.low, i.high)
            });
            writeln!(
                out,
                "Beyond chance: Cohen's kappa {:.2}{fits}, {} (words by convention).",
                kappa.kappa,
                kappa.landis_koch_words()
            )?;
        }
        None => writeln!(
            out,
            "No kappa: it has no meaning where everything is called alike, nor for whether something was noted."
        )?,
    }
    match found.when {
        Some(when) => writeln!(
            out,
            "When: A − B is {:+.0} ms on average ({:+.0} to {:+.0} would fit, 95 %); 95 % of differences lie between about {:+.0} and {:+.0} ms (Bland and Altman).",
            when.bias,
            when.bias_interval.low,
            when.bias_interval.high,
            when.lower_limit,
            when.upper_limit
        )?,
        None => writeln!(out, "When: too few noted by both to say.")?,
    }
    Ok(())
}

fn share(share: &Share) -> String {
    match share.share {
        Some(part) => format!("{} of {} ({:.0} %)", share.count, share.of, 100.0 * part),
        None => "nothing".to_owned(),
    }
}

fn side(home: &Home, wanted: &str) -> anyhow::Result<Side> {
    let file = Path::new(wanted);
    if file.is_file() {
        return Ok(of_log(&read_file(file)?, Vec::new()));
    }
    let Some(journal) = Journal::open_existing(&home.journal_file())? else {
        bail!("{wanted:?} is no file, and nothing has been kept in the journal yet");
    };
    let id = journal.find(wanted)?;
    let stored = journal.read_session(&id)?;
    let pairs = match stored.measures {
        Some(measures) => measures.pairs,
        None => crate::session::measure(&stored.log, &stored.setup, stored.log.latest_s()).pairs,
    };
    Ok(of_log(&stored.log, pairs))
}

fn of_log(log: &Log, pairs: Vec<Pair>) -> Side {
    let noted = log.counted().into_iter().filter_map(|e| {
        let is_reached = match e.what {
            Happened::Reached => true,
            Happened::NearMiss => false,
            _ => return None,
        };
        Some(Noted {
            t_s: e.t_s,
            is_reached,
        })
    });
    Side {
        noted: noted.collect(),
        pairs,
    }
}

/// An events file, told by its header, or else a moments file.
fn read_file(file: &Path) -> anyhow::Result<Log> {
    let text =
        fs::read_to_string(file).map_err(|e| cannot_read("what was noted from", file, &e))?;
    let header = text
        .lines()
        .find(|l| !l.trim().is_empty() && !l.starts_with('#'));
    let is_events = header.is_some_and(|h| h.split(',').any(|c| c.trim() == "event"));
    if is_events {
        return Ok(log_of_lines(Vec::new(), &[], read_events(file)?));
    }
    let moments =
        parse_moments(&text).with_context(|| format!("the moments in {}", file.display()))?;
    Ok(log_of_lines(Vec::new(), &moments.moments, Vec::new()))
}
