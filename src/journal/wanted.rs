//! What is asked of the journal: whose bouts, with which animal, from when to when.

use std::collections::HashMap;

use jiff::tz::TimeZone;
use rusqlite::ToSql;

use super::error::JournalError;
use super::open::Journal;
use super::read::instant_from;
use super::record::BoutId;
use super::sessions::StoredSession;
use crate::measure::weeks::Day;

/// Which bouts, and what of them.
#[derive(Debug, Clone)]
pub struct Wanted {
    /// Only this taught sound.
    pub bridge: Option<String>,
    /// Only moments of this behaviour (their label).
    pub behaviour: Option<String>,
    /// Only sessions with this animal.
    pub animal: Option<String>,
    /// From this day on.
    pub from: Option<Day>,
    /// Up to and with this day.
    pub until: Option<Day>,
    /// The zone of bouts that do not tell theirs: the user's.
    pub zone: TimeZone,
}

impl Wanted {
    pub(super) fn has_day(&self, day: Day) -> bool {
        self.from.is_none_or(|from| from <= day) && self.until.is_none_or(|until| day <= until)
    }
}

/// What of `bout AS b` is wanted, as SQL over ?1 (the person), ?2 and ?3 (the
/// instants between which it began, given too) and ?4 (the animal).
pub(super) fn which(person: Option<&str>, wanted: &Wanted) -> (String, String, String) {
    let who = if person.is_some() {
        "b.person_key IN (SELECT person_key FROM person WHERE name = ?1)"
    } else {
        "b.person_key IS ?1"
    };
    let with = if wanted.animal.is_some() {
        "b.bout_key IN (SELECT bout_key FROM session JOIN animal USING (animal_key)
                        WHERE animal.name = ?4)"
    } else {
        "?4 IS NULL"
    };
    // A day's bounds in any zone lie within a day of its bounds in UTC.
    let bound = |day: Option<Day>, by: i32, none: &str| {
        day.map_or(none.to_owned(), |d| Day(d.0 + by).to_string())
    };
    (
        format!("{who} AND {with} AND b.started_at >= ?2 AND b.started_at < ?3"),
        bound(wanted.from, -1, ""),
        bound(wanted.until, 3, "~"),
    )
}

/// Zones by name, each looked up once.
pub(super) struct Zones {
    known: HashMap<String, TimeZone>,
    own: TimeZone,
}

impl Zones {
    pub fn new(own: TimeZone) -> Self {
        Self {
            known: HashMap::new(),
            own,
        }
    }

    /// The zone called so; the user's own where there is none.
    pub fn of(&mut self, name: Option<&str>) -> &TimeZone {
        let Some(name) = name else { return &self.own };
        if !self.known.contains_key(name) {
            let zone = TimeZone::get(name).unwrap_or_else(|_| self.own.clone());
            self.known.insert(name.to_owned(), zone);
        }
        self.known.get(name).unwrap_or(&self.own)
    }
}

impl Journal {
    /// The names of those who marked, in order; `None` stands for bouts with
    /// nobody named. Two rows of one name are one person here.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn people(&self) -> Result<Vec<Option<String>>, JournalError> {
        let read = || -> rusqlite::Result<Vec<_>> {
            self.conn
                .prepare(
                    "SELECT name FROM (
                         SELECT name FROM person AS p WHERE EXISTS
                             (SELECT 1 FROM bout AS b WHERE b.person_key = p.person_key)
                         UNION SELECT NULL WHERE EXISTS
                             (SELECT 1 FROM bout WHERE person_key IS NULL))
                     ORDER BY name IS NULL, name",
                )?
                .query_map([], |row| row.get(0))?
                .collect()
        };
        read().map_err(|error| self.told(error))
    }

    /// The names of the animals that sessions were with, in order.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn animals(&self) -> Result<Vec<String>, JournalError> {
        let read = || -> rusqlite::Result<Vec<_>> {
            self.conn
                .prepare(
                    "SELECT DISTINCT a.name FROM animal AS a JOIN session USING (animal_key)
                     ORDER BY a.name",
                )?
                .query_map([], |row| row.get(0))?
                .collect()
        };
        read().map_err(|error| self.told(error))
    }

    /// The latest sessions of one person that fit, at most `most`, the latest first.
    /// The bridge is not asked for: a session is shown whole.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn latest_sessions(
        &self,
        person: Option<&str>,
        wanted: &Wanted,
        most: usize,
    ) -> Result<Vec<StoredSession>, JournalError> {
        let ids = || -> rusqlite::Result<Vec<BoutId>> {
            let (which, from, until) = which(person, wanted);
            let mut statement = self.conn.prepare(&format!(
                "SELECT b.id, b.started_at, b.time_zone FROM bout AS b
                 WHERE {which} AND b.kind = 'session' AND b.ended_at IS NOT NULL
                   AND (?5 IS NULL OR EXISTS (SELECT 1 FROM moment AS m
                        WHERE m.bout_key = b.bout_key AND m.label = ?5))
                 ORDER BY b.started_at DESC, b.bout_key DESC"
            ))?;
            let known: [&dyn ToSql; 5] =
                [&person, &from, &until, &wanted.animal, &wanted.behaviour];
            let mut rows = statement.query(&known[..])?;
            let mut zones = Zones::new(wanted.zone.clone());
            let mut ids = Vec::new();
            while let Some(row) = rows.next()? {
                let zone = zones.of(row.get_ref(2)?.as_str_or_null().ok().flatten());
                let started_at = instant_from(row.get_ref(1)?)?;
                let day = Day::of(zone.to_datetime(started_at).date());
                if wanted.has_day(day) {
                    ids.push(row.get(0)?);
                }
                if ids.len() >= most {
                    break;
                }
            }
            Ok(ids)
        };
        let ids = ids().map_err(|error| self.told(error))?;
        ids.iter().map(|id| self.read_session(id)).collect()
    }
}
