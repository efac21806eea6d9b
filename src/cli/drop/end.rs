//! What a drill comes to: its measures, the last drills beside it, one thing to
//! try next.

use std::io::{self, Write};

use crate::cli::review::open_journal;
use crate::drill::{State, Way, advice};
use crate::journal::{BoutId, BoutKind, Home, Journal, JournalError, StoredBout};
use crate::measure::observer::{FEWEST, observer};
use crate::measure::{Summary, Yardstick, summarise, words};
use crate::review::Outcome;
use crate::timeline::{MomentKind, Pair};
use crate::words::count;

/// How many of the trainer's last drills stand beside this one.
const BESIDE: usize = 5;
/// How far back they are looked for, in bouts.
const LOOKED_AT: u32 = 200;

/// Writes all of it.
pub(super) fn write(
    out: &mut dyn Write,
    title: &str,
    state: &State,
    outcome: &Outcome,
    before: &[Before],
    width: usize,
) -> io::Result<()> {
    let kind = state.setup.kind;
    super::super::summary::write(out, title, &state.heard, kind, outcome, width)?;
    let (fooled, catches) = state.fooled();
    if catches > 0 {
        let held = count(catches, "catch drop", "catch drops");
        writeln!(out, "{held}, {fooled} marked all the same (strays).")?;
    }
    let doubtful = state.doubtful();
    if doubtful > 0 {
        let near = count(doubtful, "pair lies", "pairs lie");
        writeln!(
            out,
            "{near} within a second of lost sound and may be wrong."
        )?;
    }
    if state.setup.way == Way::Screen {
        writeln!(
            out,
            "The ball was on the screen: these lags hold what your display adds, perhaps 60 ms, \
             and are less exact than a real ball's."
        )?;
    }
    if !before.is_empty() {
        writeln!(
            out,
            "\nYour last drills of this moment, oldest first (half of the lags lie within the spread):"
        )?;
        for one in before {
            writeln!(out, "  {}  {}", one.day, row(&one.summary))?;
        }
        writeln!(out, "  {:10}  {}", "this one", row(&outcome.summary))?;
    }
    match advice(&outcome.summary) {
        Ok(sentence) => writeln!(out, "\nNext: {sentence}"),
        Err(few) => writeln!(out, "\nNo advice yet: {few}."),
    }
}

/// How a person presses, held against the sound of the ball: told, and kept under
/// their name.
pub(super) fn measure_presser(
    home: &Home,
    person: Option<&str>,
    errors_ms: &[f64],
    is_kept: bool,
    out: &mut dyn Write,
) -> anyhow::Result<()> {
    let Some(who) = observer(errors_ms) else {
        writeln!(
            out,
            "\nHow you press cannot be told from {} presses near a floor; at least {FEWEST} are needed.",
            errors_ms.len()
        )?;
        return Ok(());
    };
    writeln!(
        out,
        "\nHow you press: {} on average, give or take {:.0} ms (standard deviation), from {} presses.",
        words::lag(who.bias_ms),
        who.spread_ms,
        who.n
    )?;
    match person.filter(|_| is_kept) {
        Some(name) => {
            let mut journal = open_journal(home)?;
            journal.keep_observer(name, jiff::Timestamp::now(), &who)?;
            writeln!(
                out,
                "Kept for {name}; marklag train takes it off their moments."
            )?;
        }
        None => writeln!(out, "Not kept: say whose it is with --person NAME.")?,
    }
    Ok(())
}

fn row(summary: &Summary) -> String {
    let median = match summary.median_ms {
        Some(ms) => words::lag(ms),
        None => "no lags".to_owned(),
    };
    // As everywhere on the screens: from the first quartile to the third.
    let spread = match summary.q25_ms.zip(summary.q75_ms) {
        Some((low, high)) => format!("spread {:.0} ms", high - low),
        None => String::new(),
    };
    format!(
        "{median:<18} {spread:<13} {} of {} on time, {} missed",
        summary.on_time.count, summary.n_moments, summary.missed.count
    )
}

/// An earlier drill.
pub(super) struct Before {
    /// Its day, in the time zone that it was in.
    pub(super) day: String,
    /// Its measures, against the aim of now.
    pub(super) summary: Summary,
}

/// The last drills of one person on one kind of moment, oldest first.
pub(super) fn before(
    journal: &Journal,
    this: Option<&BoutId>,
    person: Option<&str>,
    state: &State,
) -> Result<Vec<Before>, JournalError> {
    let kind = state.setup.kind;
    let mut found = Vec::new();
    for row in journal.list(Some(LOOKED_AT))? {
        let fits = row.kind == BoutKind::Drill
            && row.lags > 0
            && row.person.as_deref() == person
            && Some(&row.id) != this;
        if !fits || found.len() == BESIDE {
            continue;
        }
        let stored = journal.read_bout(&row.id)?;
        if stored.moments().next().is_none_or(|m| m.kind != kind) {
            continue;
        }
        let zone = row.time_zone.as_deref().unwrap_or("UTC");
        let day = match row.started_at.in_tz(zone) {
            Ok(there) => there.date().to_string(),
            Err(_) => row.started_at.to_string(),
        };
        let summary = measure(&stored, kind, state);
        found.push(Before { day, summary });
    }
    found.reverse();
    Ok(found)
}

fn measure(stored: &StoredBout, kind: MomentKind, state: &State) -> Summary {
    let pairs: Vec<Pair> = stored.pairs_counted().cloned().collect();
    summarise(&pairs, Yardstick::of(kind), state.setup.rules.aim)
}
