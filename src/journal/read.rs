//! Reading one bout back, exactly as it was kept.

use std::collections::BTreeSet;

use jiff::Timestamp;
use rusqlite::Row;
use rusqlite::types::{FromSqlError, FromSqlResult, ValueRef};
use serde::Deserialize;

use super::error::JournalError;
use super::open::Journal;
use super::record::{
    Bout, BoutEvent, BoutId, BoutKind, Note, NoteKind, OtherEvent, ProfileSnapshot, SetAside,
};
use super::settings::Distances;
use super::words::Word;
use crate::session::Setup;
use crate::timeline::{
    Moment, MomentId, MomentKind, MomentSource, Outcome, Pair, Sound, SoundId, SoundKind,
};

/// A bout as it is in the journal.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredBout {
    /// Its id.
    pub id: BoutId,
    /// When it ended; `None` when it never did.
    pub ended_at: Option<Timestamp>,
    /// All that was known at its start.
    pub bout: Bout,
    /// What happened, in order of arrival.
    pub events: Vec<NumberedEvent>,
}

/// An event with its number in its bout.
#[derive(Debug, Clone, PartialEq)]
pub struct NumberedEvent {
    /// The number, from 1.
    pub seq: i64,
    /// What happened.
    pub event: BoutEvent,
}

impl StoredBout {
    /// All sounds, in order of arrival.
    pub fn sounds(&self) -> impl Iterator<Item = &Sound> {
        self.events.iter().filter_map(|row| match &row.event {
            BoutEvent::Sound(sound) => Some(sound),
            _ => None,
        })
    }

    /// All moments, in order of arrival.
    pub fn moments(&self) -> impl Iterator<Item = &Moment> {
        self.events.iter().filter_map(|row| match &row.event {
            BoutEvent::Moment(moment) => Some(moment),
            _ => None,
        })
    }

    /// The numbers of the events that count no longer.
    pub fn aside(&self) -> BTreeSet<i64> {
        let mut aside = BTreeSet::new();
        for row in &self.events {
            if let BoutEvent::SetAside(change) = &row.event {
                if change.is_aside {
                    aside.insert(change.target_seq);
                } else {
                    aside.remove(&change.target_seq);
                }
            }
        }
        aside
    }

    /// All pairs, in order of arrival, those set aside among them.
    pub fn pairs(&self) -> impl Iterator<Item = &Pair> {
        self.events.iter().filter_map(|row| match &row.event {
            BoutEvent::Pair(pair) => Some(pair),
            _ => None,
        })
    }

    /// The pairs that count: neither they nor their moment nor their mark set aside, as
    /// the view `pair_counted` of the file has it.
    pub fn pairs_counted(&self) -> impl Iterator<Item = &Pair> {
        let aside = self.aside();
        self.events.iter().filter_map(move |row| {
            let BoutEvent::Pair(pair) = &row.event else {
                return None;
            };
            let rows = [
                Some(row.seq),
                pair.moment.map(|id| id.0),
                pair.mark.map(|id| id.0),
            ];
            let counts = rows.iter().flatten().all(|seq| !aside.contains(seq));
            counts.then_some(pair)
        })
    }

    /// A moment by its row.
    pub fn moment(&self, id: MomentId) -> Option<&Moment> {
        let at = self.events.binary_search_by_key(&id.0, |row| row.seq);
        match &self.events.get(at.ok()?)?.event {
            BoutEvent::Moment(moment) => Some(moment),
            _ => None,
        }
    }

    /// Where ball and clicker were, by the settings in force; what these do not tell is
    /// as in settings of which nothing was changed.
    pub fn distances(&self) -> Distances {
        let in_force: InForce = serde_json::from_str(&self.bout.settings_json).unwrap_or_default();
        match in_force.session {
            Some(session) => Distances {
                microphone_to_ball_m: session.clicker_m,
                microphone_to_clicker_m: session.clicker_m,
                known_within_m: session.known_within_m,
            },
            None => in_force.settings.distance,
        }
    }
}

/// As much of a bout's settings as tells its distances, of a session or of others.
#[derive(Default, Deserialize)]
#[serde(default)]
struct InForce {
    settings: SettingsInForce,
    session: Option<Setup>,
}

#[derive(Default, Deserialize)]
#[serde(default)]
struct SettingsInForce {
    distance: Distances,
}

impl Journal {
    /// Reads a bout with everything in it. Bits come back as they were kept; only
    /// a negative zero comes back as zero.
    ///
    /// # Errors
    /// No such bout, or the file cannot be read.
    pub fn read_bout(&self, id: &BoutId) -> Result<StoredBout, JournalError> {
        let read = || {
            // One transaction, so that a program writing now is seen whole or not.
            let tx = self.conn.unchecked_transaction()?;
            let (key, mut stored) = head(&tx, id)?;
            stored.bout.profiles = profiles(&tx, key)?;
            stored.events = events(&tx, key)?;
            Ok(stored)
        };
        read().map_err(|error| match error {
            rusqlite::Error::QueryReturnedNoRows => JournalError::NoSuchBout {
                wanted: id.to_string(),
            },
            error => self.told(error),
        })
    }
}

/// An instant kept as text.
pub(super) fn instant_from(value: ValueRef<'_>) -> FromSqlResult<Timestamp> {
    let text = value.as_str()?;
    text.parse()
        .map_err(|error| FromSqlError::Other(format!("the time {text:?}: {error}").into()))
}

/// An instant kept as text, or none.
pub(super) fn maybe_instant_from(value: ValueRef<'_>) -> FromSqlResult<Option<Timestamp>> {
    match value {
        ValueRef::Null => Ok(None),
        value => instant_from(value).map(Some),
    }
}

fn head(conn: &rusqlite::Connection, id: &BoutId) -> rusqlite::Result<(i64, StoredBout)> {
    conn.query_row(
        "SELECT bout_key, bout.id, kind, person.name, started_at, ended_at, time_zone, source,
                sound_file, sample_rate_hz, channels, duration_s, program_version, settings_json
         FROM bout LEFT JOIN person USING (person_key) WHERE bout.id = ?1",
        [id],
        |row| {
            let stored = StoredBout {
                id: row.get(1)?,
                ended_at: maybe_instant_from(row.get_ref(5)?)?,
                bout: Bout {
                    kind: BoutKind::from_column(row.get_ref(2)?)?,
                    person: row.get(3)?,
                    started_at: instant_from(row.get_ref(4)?)?,
                    time_zone: row.get(6)?,
                    source: row.get(7)?,
                    sound_file: row.get(8)?,
                    sample_rate_hz: row.get(9)?,
                    channels: row.get(10)?,
                    duration_s: row.get(11)?,
                    program_version: row.get(12)?,
                    settings_json: row.get(13)?,
                    profiles: Vec::new(),
                },
                events: Vec::new(),
            };
            Ok((row.get(0)?, stored))
        },
    )
}

fn profiles(conn: &rusqlite::Connection, key: i64) -> rusqlite::Result<Vec<ProfileSnapshot>> {
    conn.prepare(
        "SELECT name, profile_json FROM bout_profile JOIN profile USING (profile_key)
         WHERE bout_key = ?1 ORDER BY name, profile_json",
    )?
    .query_map([key], |row| {
        Ok(ProfileSnapshot {
            name: row.get(0)?,
            json: row.get(1)?,
        })
    })?
    .collect()
}

type ReadEvent = fn(&Row<'_>) -> rusqlite::Result<BoutEvent>;

const EVENT_TABLES: [(&str, ReadEvent); 6] = [
    ("SELECT * FROM sound WHERE bout_key = ?1", sound),
    ("SELECT * FROM moment WHERE bout_key = ?1", moment),
    ("SELECT * FROM pair WHERE bout_key = ?1", pair),
    ("SELECT * FROM event WHERE bout_key = ?1", other),
    ("SELECT * FROM note WHERE bout_key = ?1", note),
    ("SELECT * FROM set_aside WHERE bout_key = ?1", set_aside),
];

fn events(conn: &rusqlite::Connection, key: i64) -> rusqlite::Result<Vec<NumberedEvent>> {
    let mut all = Vec::new();
    for (sql, event) in EVENT_TABLES {
        let mut statement = conn.prepare_cached(sql)?;
        let mut rows = statement.query([key])?;
        while let Some(row) = rows.next()? {
            let seq = row.get("seq")?;
            let event = event(row)?;
            all.push(NumberedEvent { seq, event });
        }
    }
    all.sort_by_key(|row| row.seq);
    Ok(all)
}

fn sound(row: &Row<'_>) -> rusqlite::Result<BoutEvent> {
    Ok(BoutEvent::Sound(Sound {
        t_s: row.get("t_s")?,
        kind: SoundKind::from_column(row.get_ref("kind")?)?,
        name: row.get("name")?,
        confidence: row.get("confidence")?,
        level_dbfs: row.get("level_dbfs")?,
    }))
}

fn moment(row: &Row<'_>) -> rusqlite::Result<BoutEvent> {
    Ok(BoutEvent::Moment(Moment {
        t_s: row.get("t_s")?,
        kind: MomentKind::from_column(row.get_ref("kind")?)?,
        source: MomentSource::from_column(row.get_ref("source")?)?,
        label: row.get("label")?,
    }))
}

fn pair(row: &Row<'_>) -> rusqlite::Result<BoutEvent> {
    let moment_seq: Option<i64> = row.get("moment_seq")?;
    let mark_seq: Option<i64> = row.get("mark_seq")?;
    Ok(BoutEvent::Pair(Pair {
        moment: moment_seq.map(MomentId),
        mark: mark_seq.map(SoundId),
        moment_s: row.get("moment_s")?,
        mark_s: row.get("mark_s")?,
        lag_ms: row.get("lag_ms")?,
        outcome: Outcome::from_column(row.get_ref("outcome")?)?,
        u_ms: row.get("u_ms")?,
    }))
}

fn other(row: &Row<'_>) -> rusqlite::Result<BoutEvent> {
    Ok(BoutEvent::Other(OtherEvent {
        t_s: row.get("t_s")?,
        u_ms: row.get("u_ms")?,
        kind: row.get("kind")?,
        detail_json: row.get("detail_json")?,
    }))
}

fn note(row: &Row<'_>) -> rusqlite::Result<BoutEvent> {
    Ok(BoutEvent::Note(Note {
        t_s: row.get("t_s")?,
        kind: NoteKind::from_column(row.get_ref("kind")?)?,
        text: row.get("text")?,
    }))
}

fn set_aside(row: &Row<'_>) -> rusqlite::Result<BoutEvent> {
    Ok(BoutEvent::SetAside(SetAside {
        target_seq: row.get("target_seq")?,
        is_aside: row.get("is_aside")?,
        reason: row.get("reason")?,
    }))
}
