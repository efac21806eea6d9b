//! `marklag progress`: over the weeks, is the timing getting better?

pub(super) mod choose;
mod table;
mod text;

use std::io::Write;

use clap::{Args, ValueEnum};
use serde::Serialize;

use self::choose::{Choice, Chosen};
use super::{columns, prose};
use crate::journal::{Home, Journal, Settings};
use crate::measure::weeks::{
    By, Comparison, Lot, Progress, Suggestion, comparisons, progress, suggest,
};
use crate::timeline::MomentKind;

/// The kinds of moment, in the order in which they are told.
pub(super) const KINDS: [MomentKind; 4] = [
    MomentKind::Floor,
    MomentKind::Release,
    MomentKind::Top,
    MomentKind::Behaviour,
];

/// What a row of the table is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Each {
    /// One drill, session or review
    Bout,
    /// A day
    Day,
    /// A week, from Monday
    Week,
    /// A month
    Month,
}

impl From<Each> for By {
    fn from(each: Each) -> Self {
        match each {
            Each::Bout => Self::Bout,
            Each::Day => Self::Day,
            Each::Week => Self::Week,
            Each::Month => Self::Month,
        }
    }
}

/// Over the weeks: is my timing getting better?
#[derive(Debug, Args)]
pub(super) struct ProgressCmd {
    #[command(flatten)]
    choice: Choice,
    /// What a line of the table stands for
    #[arg(long, value_enum, default_value = "day", value_name = "EACH")]
    by: Each,
    /// Show at most this many lines of each table, the latest
    #[arg(long, default_value_t = 14, value_name = "N")]
    lines: usize,
    /// Compare: clicks and words, bridges, sessions and drills, first month and last
    #[arg(long)]
    compare: bool,
    /// One line for each person and kind of moment
    #[arg(long, conflicts_with_all = ["person", "nobody", "compare"])]
    everyone: bool,
    /// Print all of it as JSON
    #[arg(long)]
    json: bool,
}

/// Everything about one person.
#[derive(Debug, Serialize)]
pub(super) struct Told {
    format: &'static str,
    /// Who; `None` for bouts with nobody named.
    pub(super) person: Option<String>,
    /// What a row stands for.
    by: By,
    /// One for each kind of moment that was practised.
    pub(super) kinds: Vec<Progress>,
    /// The comparisons of each kind, in the order of `kinds`.
    pub(super) comparisons: Vec<Vec<Comparison>>,
    /// What to practise next.
    pub(super) next: Option<Suggestion>,
    /// Bouts with their spoken marks at the words' perceptual centre.
    #[serde(skip_serializing_if = "is_none")]
    pub(super) at_centre: usize,
}

fn is_none(n: &usize) -> bool {
    *n == 0
}

impl Told {
    /// All measures of a person's lots.
    pub(super) fn of(
        person: Option<&str>,
        lots: &[Lot],
        settings: &Settings,
        by: By,
        compare: bool,
    ) -> Self {
        let share = settings.goal.on_time_share;
        let each = |by: By| -> Vec<Progress> {
            KINDS
                .iter()
                .filter_map(|kind| progress(lots, *kind, settings.aim.of(*kind), share, by))
                .collect()
        };
        let kinds = each(by);
        let next = if by == By::Day {
            suggest(&kinds)
        } else {
            suggest(&each(By::Day))
        };
        Self {
            format: "marklag.progress/1",
            person: person.map(str::to_owned),
            by,
            comparisons: kinds
                .iter()
                .map(|p| {
                    if compare {
                        comparisons(lots, p.kind)
                    } else {
                        Vec::new()
                    }
                })
                .collect(),
            kinds,
            next,
            at_centre: 0,
        }
    }
}

impl ProgressCmd {
    pub(super) fn run(self, home: &Home, out: &mut dyn Write) -> anyhow::Result<()> {
        let settings = Settings::load(&home.settings_file())?;
        let Some(journal) = Journal::open_existing(&home.journal_file())? else {
            return nothing(out, self.json);
        };
        if let Some(notice) = journal.notice() {
            prose::aside(&format!("Note: {notice}."));
        }
        // What cannot be asked for is said before anything is written.
        self.choice.wanted(&journal)?;
        journal.prepare_lots()?;
        let by = self.by.into();
        if self.everyone {
            return table::everyone(&journal, &self.choice, &settings, self.json, out);
        }
        let person = match self.choice.whom(&journal, &settings)? {
            Chosen::Nobody => return nothing(out, self.json),
            Chosen::Several if self.json => {
                return table::everyone(&journal, &self.choice, &settings, true, out);
            }
            Chosen::Several => {
                table::everyone(&journal, &self.choice, &settings, false, out)?;
                let people = journal.people()?;
                let nobody = if people.contains(&None) {
                    ", or --nobody for those with nobody named"
                } else {
                    ""
                };
                writeln!(out, "\nAdd --person NAME for one of them{nobody}.")?;
                return Ok(());
            }
            Chosen::One(person) => person,
        };
        let lots = self.choice.lots(&journal, person.as_deref())?;
        let mut told = Told::of(
            person.as_deref(),
            &lots,
            &settings,
            by,
            self.compare || self.json,
        );
        told.at_centre = journal.bouts_at_centre(person.as_deref())?;
        if self.json {
            serde_json::to_writer(&mut *out, &told).map_err(std::io::Error::from)?;
            return Ok(writeln!(out)?);
        }
        text::write(out, &told, self.lines, self.compare, columns())
    }
}

fn nothing(out: &mut dyn Write, json: bool) -> anyhow::Result<()> {
    if json {
        writeln!(out, "{{\"format\":\"marklag.progress/1\",\"kinds\":[]}}")?;
    } else {
        writeln!(
            out,
            "Nothing has been kept yet, so there is no progress to tell. A drill is kept by: \
             marklag drop, or marklag review drill.m4a --keep"
        )?;
    }
    Ok(())
}

/// A person in words.
pub(super) fn name_of(person: Option<&str>) -> String {
    person.map_or_else(|| "Nobody named".to_owned(), super::journal::plain)
}

/// The same sentences that the command tells, for data that is not in a journal.
pub(super) fn tell(
    out: &mut dyn Write,
    person: &str,
    lots: &[Lot],
    settings: &Settings,
) -> anyhow::Result<()> {
    let told = Told::of(Some(person), lots, settings, By::Week, true);
    text::write(out, &told, 14, true, columns())
}
