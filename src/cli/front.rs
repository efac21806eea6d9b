//! What `marklag` alone shows: where the trainer stands and what comes next.

use std::fmt::Write;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use super::bridges::Bridges;
use super::train::unended;
use crate::journal::{BoutKind, BoutRow, Home, HomeError, Journal};

/// How many of the newest bouts are looked at for the last of each kind.
const LOOK_BACK: u32 = 200;

/// What there is to do, in order, and how.
const STEPS: [(&str, &str); 6] = [
    ("Teach your clicker", "marklag teach click NAME"),
    ("A drill with a ball", "marklag drop"),
    ("Plan a session", "marklag plan new"),
    ("A session with an animal", "marklag train"),
    ("A recording you made", "marklag review FILE"),
    ("How it goes over weeks", "marklag progress"),
];

/// The step of that number, from 1: what it is, and its command.
pub(super) fn step(number: usize) -> Option<(&'static str, &'static str)> {
    STEPS.get(number.checked_sub(1)?).copied()
}

/// What has been done so far.
#[derive(Debug, Default)]
struct Standing {
    /// Names of the taught sounds.
    taught: Vec<String>,
    last_drill: Option<Last>,
    last_session: Option<Last>,
    last_review: Option<Last>,
    /// Names of the kept plans.
    plans: Vec<String>,
    /// Sessions that never ended: with whom, on which day, and their id.
    unended: Vec<(String, String, String)>,
    /// What could not be read, in words.
    trouble: Vec<String>,
}

/// The last bout of its kind.
#[derive(Debug)]
struct Last {
    day: String,
    lags: u32,
}

/// The front page for a home folder; never fails: what cannot be read is said.
pub(super) fn page(home: Result<Home, HomeError>) -> String {
    words(&standing(home))
}

fn standing(home: Result<Home, HomeError>) -> Standing {
    let mut standing = Standing::default();
    let home = match home {
        Ok(home) => home,
        Err(e) => {
            standing.trouble.push(e.to_string());
            return standing;
        }
    };
    match Bridges::all(&home) {
        Ok(taught) => {
            let words = taught.words.into_iter().map(|p| p.name);
            let clicks = taught.clicks.into_iter().map(|p| p.name);
            standing.taught = clicks.chain(words).collect();
        }
        Err(e) => standing.trouble.push(super::trouble::sentence(&e)),
    }
    match kept(&home) {
        Ok(Some(kept)) => {
            let rows = kept.newest;
            let last = |kind| rows.iter().find(|row| row.kind == kind).map(Last::of);
            standing.last_drill = last(BoutKind::Drill);
            standing.last_session = last(BoutKind::Session);
            standing.last_review = last(BoutKind::Review);
            standing.plans = kept.plans;
            standing.unended = kept.unended;
        }
        Ok(None) => {}
        Err(e) => standing.trouble.push(super::trouble::sentence(&e)),
    }
    standing
}

/// What the journal tells.
struct Kept {
    newest: Vec<BoutRow>,
    plans: Vec<String>,
    unended: Vec<(String, String, String)>,
}

fn kept(home: &Home) -> anyhow::Result<Option<Kept>> {
    let Some(journal) = Journal::open_existing(&home.journal_file())? else {
        return Ok(None);
    };
    let mut cut_off = Vec::new();
    for row in unended(&journal)? {
        let animal = journal.read_session(&row.id)?.animal;
        cut_off.push((
            animal.unwrap_or_else(|| "an animal".to_owned()),
            day(row.started_at, row.time_zone.as_deref()),
            row.id.short().to_owned(),
        ));
    }
    Ok(Some(Kept {
        newest: journal.list(Some(LOOK_BACK))?,
        plans: journal.plans()?.into_iter().map(|p| p.name).collect(),
        unended: cut_off,
    }))
}

impl Last {
    fn of(row: &BoutRow) -> Self {
        Self {
            day: day(row.started_at, row.time_zone.as_deref()),
            lags: row.lags,
        }
    }

    fn words(&self) -> String {
        let lags = match self.lags {
            1 => "1 lag".to_owned(),
            n => format!("{n} lags"),
        };
        format!("last on {}, {lags}", self.day)
    }
}

fn day(at: Timestamp, zone: Option<&str>) -> String {
    let zone = zone
        .and_then(|name| TimeZone::get(name).ok())
        .unwrap_or(TimeZone::UTC);
    zone.to_datetime(at).strftime("%-d %B %Y").to_string()
}

fn words(standing: &Standing) -> String {
    let told = |last: &Option<Last>| {
        last.as_ref()
            .map_or_else(|| "not yet".to_owned(), Last::words)
    };
    let taught = if standing.taught.is_empty() {
        "not yet".to_owned()
    } else {
        format!("taught: {}", standing.taught.join(", "))
    };
    let train = if standing.plans.is_empty() {
        "marklag train"
    } else {
        "marklag train PLAN"
    };
    let states = [
        taught,
        told(&standing.last_drill),
        plans(&standing.plans),
        told(&standing.last_session),
        told(&standing.last_review),
        String::new(),
    ];
    let next = next_step(standing);
    let mut page = String::from("marklag: how late is your mark?\n\n");
    for (n, ((what, command), state)) in STEPS.iter().zip(&states).enumerate() {
        let command = if *command == "marklag train" {
            train
        } else {
            command
        };
        let sign = if n == next { "->" } else { "  " };
        let line = format!("{sign} {}  {what:<25} {command:<25} {state}", n + 1);
        let _ = writeln!(page, "{}", line.trim_end());
    }
    page.push('\n');
    for (animal, day, id) in &standing.unended {
        let _ = writeln!(
            page,
            "A session with {animal} of {day} never ended; all that was noted is kept.\n\
             To bring it to its end: marklag train --finish {id}\n"
        );
    }
    for trouble in &standing.trouble {
        let _ = writeln!(page, "{trouble}\n");
    }
    page.push_str(
        "Before the first of them, marklag check tells whether the microphone hears well.\n\
         No ball, no clicker, no microphone? marklag demo shows a made-up drill.\n\
         marklag --help lists every command.\n\n\
         Never click beside an ear, yours or an animal's. Tell people before you record\n\
         them. The program measures the trainer; it is no medical test.\n",
    );
    page
}

/// The plans by name, as many as have room.
fn plans(names: &[String]) -> String {
    match names {
        [] => "none yet".to_owned(),
        [one] => one.chars().take(20).collect(),
        more => format!("{} plans", more.len()),
    }
}

/// The first step that has not been done; progress when all of them have.
fn next_step(standing: &Standing) -> usize {
    if standing.taught.is_empty() {
        0
    } else if standing.last_drill.is_none() {
        1
    } else if standing.last_session.is_some() {
        5
    } else if standing.plans.is_empty() {
        2
    } else {
        3
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn last(lags: u32) -> Option<Last> {
        Some(Last {
            day: "3 May 2031".to_owned(),
            lags,
        })
    }

    fn arrow(page: &str) -> &str {
        page.lines()
            .find(|line| line.starts_with("->"))
            .unwrap_or("")
    }

    #[test]
    fn the_arrow_stands_at_the_first_thing_not_done() {
        let mut standing = Standing::default();
        assert!(arrow(&words(&standing)).contains("marklag teach click"));
        standing.taught = vec!["blue".to_owned()];
        assert!(arrow(&words(&standing)).contains("marklag drop"));
        // A review is a way of its own: it stands in nobody's way.
        standing.last_review = last(9);
        assert!(arrow(&words(&standing)).contains("marklag drop"));
        standing.last_drill = last(1);
        assert!(arrow(&words(&standing)).contains("marklag plan new"));
        standing.plans = vec!["target, first week".to_owned()];
        assert!(arrow(&words(&standing)).contains("marklag train PLAN"));
        standing.last_session = last(20);
        let page = words(&standing);
        assert!(arrow(&page).contains("marklag progress"));
        assert!(page.contains("last on 3 May 2031, 1 lag\n"), "{page}");
        assert!(page.contains("taught: blue"), "{page}");
        // Who works without plans is not sent back to them.
        standing.plans.clear();
        assert!(arrow(&words(&standing)).contains("marklag progress"));
    }

    #[test]
    fn a_session_that_never_ended_is_told_of() {
        let standing = Standing {
            unended: vec![("Juniper".into(), "3 May 2031".into(), "ab12cd34".into())],
            ..Standing::default()
        };
        let page = words(&standing);
        assert!(
            page.contains("with Juniper of 3 May 2031 never ended"),
            "{page}"
        );
        assert!(page.contains("marklag train --finish ab12cd34"), "{page}");
    }

    #[test]
    fn what_cannot_be_read_is_said_and_the_page_still_stands() {
        let page = page(Err(HomeError::Nowhere));
        assert!(page.contains("--home FOLDER"), "{page}");
        assert!(page.contains("marklag teach click"), "{page}");
    }

    #[test]
    fn it_fits_eighty_columns_with_nothing_done() {
        let page = words(&Standing::default());
        assert!(page.lines().all(|l| l.chars().count() <= 80), "{page}");
    }
}
