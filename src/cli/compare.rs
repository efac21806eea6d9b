//! `marklag compare`: two who noted the same session, or one who looked twice.

use std::fs;
use std::io::Write;
use std::path::Path;

use anyhow::{Context, bail};
use clap::Args;

use super::review::is_events_table;
use super::train::read_events;
use super::trouble::cannot_read;
use crate::journal::{Home, Journal, Settings, StoredSession};
use crate::measure::agree::Kappa;
use crate::measure::agree::observers::{
    Agreement, Call, Noted, OF_THE_ANIMAL, agreement, earned, lags_icc,
};
use crate::measure::proportion::Share;
use crate::session::{log_of_lines, measure, with_marks_of};
use crate::timeline::session::{Happened, Log};
use crate::timeline::{Pair, Plan, parse_moments};

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
enum Side {
    /// Live, or at a second look that was kept.
    Session(Box<StoredSession>),
    /// A table of events.
    Events(Log),
    /// Moments alone: nothing is said of near misses, cues and treats.
    Moments(Log),
}

impl CompareCmd {
    pub(super) fn run(self, home: &Home, out: &mut dyn Write) -> anyhow::Result<()> {
        let (first, second) = (side(home, &self.first)?, side(home, &self.second)?);
        let only_moments = first.is_moments() || second.is_moments();
        let (a, b) = (noted(first.log()), noted(second.log()));
        let of = if only_moments {
            &[Call::Reached]
        } else {
            &OF_THE_ANIMAL[..]
        };
        let found = agreement(&a, &b, of, self.window)?;
        writeln!(out, "What the animal did ({}):", names(of))?;
        words(&found, self.window, of.len() > 1, out)?;
        let others = [(Call::Cue, "Cues"), (Call::Treat, "Treats")];
        for (call, name) in others.iter().filter(|_| !only_moments) {
            let found = agreement(&a, &b, &[*call], self.window)?;
            if found.matched.of > 0 {
                writeln!(out, "\n{name}:")?;
                words(&found, self.window, false, out)?;
            }
        }
        writeln!(out, "\nThe marks:")?;
        match (first.pairs(&second), second.pairs(&first)) {
            (Some(a), Some(b)) => marks(&a, &b, out),
            _ => Ok(writeln!(
                out,
                "  Nothing to say: a session of the journal has marks, and none was named."
            )?),
        }
    }
}

impl Side {
    fn log(&self) -> &Log {
        match self {
            Self::Session(stored) => &stored.log,
            Self::Events(log) | Self::Moments(log) => log,
        }
    }

    fn is_moments(&self) -> bool {
        matches!(self, Self::Moments(_))
    }

    /// What its moments come to with the marks of a session: its own, or those of
    /// the other side, which was there.
    fn pairs(&self, other: &Self) -> Option<Vec<Pair>> {
        match (self, other) {
            (Self::Session(own), _) => {
                Some(measure(&own.log, &own.setup, own.log.latest_s()).pairs)
            }
            (_, Self::Session(session)) => {
                let log = with_marks_of(self.log(), &session.log);
                Some(measure(&log, &session.setup, log.latest_s()).pairs)
            }
            _ => None,
        }
    }
}

fn marks(first: &[Pair], second: &[Pair], out: &mut dyn Write) -> anyhow::Result<()> {
    let Some(found) = earned(first, second)? else {
        return Ok(writeln!(
            out,
            "  Nothing to say: there is no mark that both have moments for."
        )?);
    };
    writeln!(
        out,
        "  Earned or stray: both say the same of {}.",
        share(&found.alike)
    )?;
    match found.kappa {
        Some(kappa) => kappa_words(&kappa, out)?,
        None => writeln!(
            out,
            "  No kappa: it has no meaning where both call all marks alike."
        )?,
    }
    match lags_icc(first, second)?.and_then(|icc| Some((icc, icc.icc2_single?))) {
        Some((icc, value)) => {
            let fits = icc.icc2_single_interval.map_or(String::new(), |i| {
                format!(" ({:.2} to {:.2} would fit, 95 %)", i.low, i.high)
            });
            writeln!(
                out,
                "  The lags that both give to the same {} marks: ICC(2,1) {value:.2}{fits}.",
                icc.targets
            )?;
        }
        None => writeln!(
            out,
            "  No ICC: it needs two marks or more to which both give a lag."
        )?,
    }
    Ok(())
}

fn names(of: &[Call]) -> &'static str {
    match of.len() {
        1 => "reached its step",
        _ => "reached its step, near misses, unasked offers",
    }
}

fn words(
    found: &Agreement,
    window_ms: f64,
    has_calls: bool,
    out: &mut dyn Write,
) -> anyhow::Result<()> {
    writeln!(
        out,
        "  Whether: {} noted by both within {window_ms:.0} ms; A alone {}, B alone {}.",
        share(&found.matched),
        found.only_first,
        found.only_second
    )?;
    if has_calls && found.alike.of > 0 {
        writeln!(out, "  What: both called {} alike.", share(&found.alike))?;
        match found.calls {
            Some(kappa) => kappa_words(&kappa, out)?,
            None => writeln!(
                out,
                "  No kappa: it has no meaning where both call everything alike, nor for whether something was noted."
            )?,
        }
    }
    match found.when {
        Some(when) => writeln!(
            out,
            "  When: A − B is {:+.0} ms on average ({:+.0} to {:+.0} would fit, 95 %); 95 % of differences lie between about {:+.0} and {:+.0} ms (Bland and Altman).",
            when.bias,
            when.bias_interval.low,
            when.bias_interval.high,
            when.lower_limit,
            when.upper_limit
        )?,
        None => writeln!(out, "  When: too few noted by both to say.")?,
    }
    Ok(())
}

fn kappa_words(kappa: &Kappa, out: &mut dyn Write) -> anyhow::Result<()> {
    let fits = kappa.interval(0.95).map_or(String::new(), |i| {
        format!(" ({:.2} to {:.2} would fit, 95 %)", i.low, i.high)
    });
    Ok(writeln!(
        out,
        "  Beyond chance: Cohen's kappa {:.2}{fits}, {} (words by convention).",
        kappa.kappa,
        kappa.landis_koch_words()
    )?)
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
        return read_file(file);
    }
    // An id is hexadecimal: anything else was meant for a file.
    let is_id = |c: char| c.is_ascii_hexdigit() || c == '-';
    if wanted != "last" && !wanted.chars().all(is_id) {
        bail!(
            "there is no file {wanted:?}; check the name and the folder (a session in the journal is named by its id: marklag journal list)"
        );
    }
    let Some(journal) = Journal::open_existing(&home.journal_file())? else {
        bail!("{wanted:?} is no file, and nothing has been kept in the journal yet");
    };
    let id = journal.find(wanted)?;
    Ok(Side::Session(Box::new(journal.read_session(&id)?)))
}

fn noted(log: &Log) -> Vec<Noted> {
    let noted = log.counted().into_iter().filter_map(|e| {
        let call = match e.what {
            Happened::Reached => Call::Reached,
            Happened::NearMiss => Call::NearMiss,
            Happened::Offer => Call::Offer,
            Happened::Cue => Call::Cue,
            Happened::Treat => Call::Treat,
            _ => return None,
        };
        Some(Noted { t_s: e.t_s, call })
    });
    noted.collect()
}

/// An events file, told by its header, or else a moments file.
fn read_file(file: &Path) -> anyhow::Result<Side> {
    let text =
        fs::read_to_string(file).map_err(|e| cannot_read("what was noted from", file, &e))?;
    // Without a session there are no steps; what was noted is all that counts.
    let setup = Settings::default().session_setup(Plan::free(60.0), None);
    if is_events_table(&text) {
        let log = log_of_lines(&setup, &[], &[], read_events(file)?);
        return Ok(Side::Events(log));
    }
    let moments =
        parse_moments(&text).with_context(|| format!("the moments in {}", file.display()))?;
    let log = log_of_lines(&setup, &[], &moments.moments, Vec::new());
    Ok(Side::Moments(log))
}
