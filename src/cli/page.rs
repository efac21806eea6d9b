//! `marklag page`: progress as one HTML file, its pictures as SVG.

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::Args;

use super::journal::{local, plain};
use super::people::listed;
use super::progress::choose::{Choice, Chosen};
use super::progress::{Told, name_of};
use super::prose;
use super::target::Target;
use crate::journal::{Distances, Home, Journal, Settings, StoredSession};
use crate::measure::budget::Budget;
use crate::measure::weeks::By;
use crate::page::{Session, Weeks};
use crate::review::budget_of_kept;
use crate::session::Looking;
use crate::system::files::{create_new_private_file, create_private_folder};
use crate::timeline::MomentKind;

/// More days than this are told by week, and more weeks by month.
const ROWS_AT_MOST: usize = 90;

/// The latest sessions with an animal that are drawn.
const SESSIONS_AT_MOST: usize = 3;

/// Write your progress as one page that any browser shows and prints
#[derive(Debug, Args)]
pub(super) struct PageCmd {
    /// The HTML file to write; - for the terminal
    #[arg(value_name = "FILE", required_unless_present = "svg")]
    file: Option<PathBuf>,
    /// Write each picture into this folder as SVG
    #[arg(long, value_name = "FOLDER")]
    svg: Option<PathBuf>,
    #[command(flatten)]
    choice: Choice,
}

impl PageCmd {
    pub(super) fn run(self, home: &Home, out: &mut dyn Write) -> anyhow::Result<()> {
        let settings = Settings::load(&home.settings_file())?;
        let Some(journal) = Journal::open_existing(&home.journal_file())? else {
            bail!(
                "nothing has been kept yet, so there is no page to write. Keep a drill with: \
                 marklag review drill.m4a --keep"
            );
        };
        if let Some(notice) = journal.notice() {
            prose::aside(&format!("Note: {notice}."));
        }
        journal.prepare_lots()?;
        let person = match self.choice.whom(&journal, &settings)? {
            Chosen::Nobody => bail!("nothing has been kept yet, so there is no page to write"),
            Chosen::Several => bail!(
                "several people are in the journal; add --person NAME for one of them: {}",
                listed(&journal.people()?)
            ),
            Chosen::One(person) => person,
        };
        let lots = self.choice.lots(&journal, person.as_deref())?;
        let mut told = Told::of(person.as_deref(), &lots, &settings, By::Day, true);
        for by in [By::Week, By::Month] {
            if told.kinds.iter().any(|p| p.rows.len() > ROWS_AT_MOST) {
                // The comparisons stay the same.
                let coarser = Told::of(person.as_deref(), &lots, &settings, by, false);
                told.kinds = coarser.kinds;
            }
        }
        if told.kinds.is_empty() {
            bail!("nothing that fits has been kept, so there is no page to write");
        }
        let sessions = if told.kinds.iter().any(|p| p.kind == MomentKind::Behaviour) {
            let wanted = self.choice.wanted(&journal)?;
            let latest = journal.latest_sessions(person.as_deref(), &wanted, SESSIONS_AT_MOST)?;
            latest.iter().map(drawn).collect()
        } else {
            Vec::new()
        };
        let name = name_of(person.as_deref());
        let latest = latest_budget(&journal, person.as_deref())?;
        let weeks = Weeks {
            person: &name,
            kinds: &told.kinds,
            comparisons: &told.comparisons,
            next: told.next.as_ref(),
            lots: &lots,
            sessions: &sessions,
            at_centre: journal.bouts_at_centre(person.as_deref())?,
            budget: latest.as_ref(),
        };
        if let Some(file) = &self.file {
            let target = Target::open(file)?;
            let is_file = !target.is_stdout();
            target.write(weeks.html().as_bytes(), out)?;
            if is_file {
                writeln!(out, "Written: {}. Open it in a browser.", file.display())?;
            }
        }
        if let Some(folder) = &self.svg {
            create_private_folder(folder)
                .with_context(|| format!("the folder {} cannot be made", folder.display()))?;
            let pictures = weeks.pictures();
            for picture in &pictures {
                let path = folder.join(format!("{}.svg", picture.name));
                create_new_private_file(&path)
                    .and_then(|mut file| file.write_all(picture.alone().as_bytes()))
                    .with_context(|| {
                        format!("{} cannot be made; give a new folder", path.display())
                    })?;
            }
            // Where the page itself goes to standard output, it stays whole.
            if self.file.as_deref() != Some(Path::new("-")) {
                writeln!(
                    out,
                    "Written: {} into {}.",
                    match pictures.len() {
                        1 => "1 picture".to_owned(),
                        n => format!("{n} pictures"),
                    },
                    folder.display()
                )?;
            }
        }
        Ok(())
    }
}

fn drawn(stored: &StoredSession) -> Session {
    let bout = &stored.bout.bout;
    let when = local(bout.started_at, bout.time_zone.as_deref());
    let with = stored.animal.as_deref().map(plain);
    let what = plain(stored.setup.plan.title(0));
    let length_s = bout.duration_s.unwrap_or(stored.log.latest_s());
    Session {
        title: match with {
            Some(animal) => format!("{when}, with {animal}: {what}"),
            None => format!("{when}: {what}"),
        },
        at: Looking::at(&stored.log, &stored.setup, length_s, true),
        length_s,
    }
}

/// What the lags of the person's latest bout are made of, by what was kept of them.
fn latest_budget(journal: &Journal, person: Option<&str>) -> anyhow::Result<Option<Budget>> {
    let bouts = journal.list(None)?;
    let mut theirs = bouts
        .iter()
        .filter(|b| b.person.as_deref() == person && b.lags > 0);
    let Some(row) = theirs.next() else {
        return Ok(None);
    };
    let stored = journal.read_bout(&row.id)?;
    let Distances {
        microphone_to_clicker_m,
        known_within_m,
        ..
    } = stored.distances();
    let lags = stored.pairs_counted().filter_map(|pair| {
        let moment = stored.moment(pair.moment?)?;
        Some((moment.source, pair.u_ms?))
    });
    Ok(budget_of_kept(
        lags,
        microphone_to_clicker_m,
        known_within_m,
    ))
}
