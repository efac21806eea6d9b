//! Which bouts a command is about: whose, which kind of moment, when.

use anyhow::{Context, bail};
use clap::{Args, ValueEnum};
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::cli::people::listed;
use crate::journal::{Journal, Settings, Wanted};
use crate::measure::weeks::{Day, Lot};
use crate::timeline::MomentKind;

/// A kind of moment on the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Kind {
    /// The ball hits the floor
    Floor,
    /// The ball leaves the hand
    Release,
    /// The ball stands at its top
    Top,
    /// A behaviour reaches its criterion
    Behaviour,
}

impl From<Kind> for MomentKind {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Floor => Self::Floor,
            Kind::Release => Self::Release,
            Kind::Top => Self::Top,
            Kind::Behaviour => Self::Behaviour,
        }
    }
}

/// Filters, the same for every command that looks over the weeks.
#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct Choice {
    /// Whose marks
    #[arg(long, value_name = "NAME")]
    person: Option<String>,
    /// The bouts with nobody named
    #[arg(long, conflicts_with = "person")]
    nobody: bool,
    /// Only this kind of moment
    #[arg(long, value_enum, value_name = "KIND")]
    kind: Option<Kind>,
    /// Only marks with this taught sound
    #[arg(long, value_name = "NAME")]
    bridge: Option<String>,
    /// Only this behaviour
    #[arg(long, value_name = "NAME")]
    behaviour: Option<String>,
    /// Only sessions with this animal
    #[arg(long, value_name = "NAME")]
    animal: Option<String>,
    /// From this day on, for instance 2025-03-01
    #[arg(long, value_name = "DATE")]
    from: Option<Date>,
    /// Up to and with this day
    #[arg(long, value_name = "DATE")]
    until: Option<Date>,
}

/// Whom a command is about.
pub(in crate::cli) enum Chosen {
    /// Nothing is kept.
    Nobody,
    /// One person; `None` for bouts with nobody named.
    One(Option<String>),
    /// Several, and nobody was named.
    Several,
}

impl Choice {
    /// Whom: as named on the line, else in the settings, else the only one.
    pub(in crate::cli) fn whom(
        &self,
        journal: &Journal,
        settings: &Settings,
    ) -> anyhow::Result<Chosen> {
        let mut people = journal.people()?;
        if self.nobody {
            if people.contains(&None) {
                return Ok(Chosen::One(None));
            }
            bail!(
                "every bout has somebody's name; there is something of: {}",
                listed(&people)
            );
        }
        let known = |name: &str| -> anyhow::Result<Option<String>> {
            let known = journal.person_known_as(name)?;
            Ok(known.filter(|known| people.iter().flatten().any(|one| one == known)))
        };
        if let Some(name) = &self.person {
            return match known(name)? {
                Some(name) => Ok(Chosen::One(Some(name))),
                None => bail!(
                    "nothing is kept of {name:?}; there is something of: {}",
                    listed(&people)
                ),
            };
        }
        if let Some(name) = &settings.person
            && let Some(name) = known(name)?
        {
            return Ok(Chosen::One(Some(name)));
        }
        Ok(match people.len() {
            0 => Chosen::Nobody,
            1 => Chosen::One(people.pop().flatten()),
            _ => Chosen::Several,
        })
    }
}

impl Choice {
    /// What of the journal is wanted.
    pub(in crate::cli) fn wanted(&self, journal: &Journal) -> anyhow::Result<Wanted> {
        if self.from.zip(self.until).is_some_and(|(a, b)| a > b) {
            bail!("--from is after --until; there are no days between them");
        }
        if let Some(name) = &self.animal {
            let known = journal.animals()?;
            if !known.contains(name) {
                bail!(
                    "no session with {name:?} is kept; there are sessions with: {}",
                    if known.is_empty() {
                        "no animal by name".to_owned()
                    } else {
                        known.join(", ")
                    }
                );
            }
        }
        Ok(Wanted {
            bridge: self.bridge.clone(),
            behaviour: self.behaviour.clone(),
            animal: self.animal.clone(),
            from: self.from.map(Day::of),
            until: self.until.map(Day::of),
            zone: TimeZone::system(),
        })
    }

    /// The lots of one person that the choice lets through.
    pub(in crate::cli) fn lots(
        &self,
        journal: &Journal,
        person: Option<&str>,
    ) -> anyhow::Result<Vec<Lot>> {
        let mut lots = journal
            .lots(person, &self.wanted(journal)?)
            .context("the journal could not be read through")?;
        // A behaviour is asked for: other kinds of moment are beside the point.
        let kind = self
            .kind
            .map(MomentKind::from)
            .or(self.behaviour.as_ref().map(|_| MomentKind::Behaviour));
        if let Some(kind) = kind {
            lots.retain(|lot| lot.kind == kind);
        }
        Ok(lots)
    }
}
