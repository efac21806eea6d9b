//! Puts rows into the journal's tables, inside a transaction of the caller.

use std::collections::HashMap;

use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, params};

use super::error::JournalError;
use super::people;
use super::record::{Bout, BoutEvent, BoutId, ProfileSnapshot, new_id, sha256_hex};
use super::words::Word;
use crate::timeline::{Moment, MomentId, MomentKind, Pair, Sound, SoundId};

/// Why a row was not taken.
#[derive(Debug)]
pub(super) enum Refused {
    /// SQLite said no.
    Sqlite(rusqlite::Error),
    /// The value is not one to keep.
    Value(String),
}

impl From<rusqlite::Error> for Refused {
    fn from(error: rusqlite::Error) -> Self {
        Self::Sqlite(error)
    }
}

impl Refused {
    pub(super) fn told(self, path: &std::path::Path) -> JournalError {
        match self {
            Self::Sqlite(error) => JournalError::of(path, error),
            Self::Value(what) => JournalError::BadValue { what },
        }
    }
}

/// Text of an instant, with all nine decimals so that text sorts as time does.
pub(super) fn instant(at: Timestamp) -> String {
    format!("{at:.9}")
}

/// Puts in a bout with its person and its profiles; gives its key in this file.
pub(super) fn bout(
    conn: &Connection,
    id: &BoutId,
    bout: &Bout,
    ended_at: Option<Timestamp>,
) -> Result<i64, Refused> {
    if let Some(duration_s) = bout.duration_s {
        finite(duration_s, "the duration")?;
    }
    let person_key = match &bout.person {
        Some(name) => Some(person(conn, name)?),
        None => None,
    };
    conn.prepare_cached(
        "INSERT INTO bout (id, kind, person_key, started_at, ended_at, time_zone, source,
             sound_file, sample_rate_hz, channels, duration_s, program_version, settings_json)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)",
    )?
    .execute(params![
        id,
        bout.kind.word(),
        person_key,
        instant(bout.started_at),
        ended_at.map(instant),
        bout.time_zone,
        bout.source,
        bout.sound_file,
        bout.sample_rate_hz,
        bout.channels,
        bout.duration_s,
        bout.program_version,
        bout.settings_json,
    ])?;
    let key = conn.last_insert_rowid();
    for snapshot in &bout.profiles {
        let profile_key = profile(conn, snapshot)?;
        conn.prepare_cached("INSERT OR IGNORE INTO bout_profile VALUES (?1, ?2)")?
            .execute([key, profile_key])?;
    }
    Ok(key)
}

/// The key of a person, however the name is written; made when they are new.
pub(super) fn person(conn: &Connection, name: &str) -> Result<i64, Refused> {
    if let Some((key, _)) = people::known(conn, name)? {
        return Ok(key);
    }
    let name = name.trim();
    conn.prepare_cached("INSERT INTO person (id, name) VALUES (?1, ?2)")?
        .execute([&new_id(), name])?;
    Ok(conn.last_insert_rowid())
}

fn profile(conn: &Connection, snapshot: &ProfileSnapshot) -> Result<i64, Refused> {
    let sha256 = sha256_hex(&snapshot.json);
    let known = conn
        .prepare_cached("SELECT profile_key FROM profile WHERE name = ?1 AND sha256 = ?2")?
        .query_row([&snapshot.name, &sha256], |row| row.get(0))
        .optional()?;
    if let Some(key) = known {
        return Ok(key);
    }
    conn.prepare_cached("INSERT INTO profile (name, sha256, profile_json) VALUES (?1, ?2, ?3)")?
        .execute([&snapshot.name, &sha256, &snapshot.json])?;
    Ok(conn.last_insert_rowid())
}

/// Adds the events of one bout in order, each with the next number.
pub(super) struct Appender<'a> {
    conn: &'a Connection,
    bout_key: i64,
    next_seq: i64,
    // Moments and marks added here, so that those of a long review need not be read
    // back for each pair.
    moments: HashMap<MomentId, (MomentKind, f64)>,
    marks: HashMap<SoundId, f64>,
}

impl<'a> Appender<'a> {
    pub(super) fn new(conn: &'a Connection, bout_key: i64) -> Result<Self, Refused> {
        let last: Option<i64> = conn
            .prepare_cached(
                "SELECT max(seq) FROM (
                     SELECT max(seq) AS seq FROM sound WHERE bout_key = ?1
                     UNION ALL SELECT max(seq) FROM moment WHERE bout_key = ?1
                     UNION ALL SELECT max(seq) FROM pair WHERE bout_key = ?1
                     UNION ALL SELECT max(seq) FROM event WHERE bout_key = ?1
                     UNION ALL SELECT max(seq) FROM note WHERE bout_key = ?1
                     UNION ALL SELECT max(seq) FROM set_aside WHERE bout_key = ?1)",
            )?
            .query_row([bout_key], |row| row.get(0))?;
        Ok(Self {
            conn,
            bout_key,
            next_seq: last.unwrap_or(0) + 1,
            moments: HashMap::new(),
            marks: HashMap::new(),
        })
    }

    /// The number that the next event will have.
    pub(super) fn next_seq(&self) -> i64 {
        self.next_seq
    }

    /// Adds one event and gives its number.
    pub(super) fn append(&mut self, event: &BoutEvent) -> Result<i64, Refused> {
        match event {
            BoutEvent::Sound(sound) => self.sound(sound),
            BoutEvent::Moment(moment) => self.moment(moment),
            BoutEvent::Pair(pair) => self.pair(pair),
            BoutEvent::Other(other) => {
                maybe_finite(other.t_s, "an event's time")?;
                maybe_finite(other.u_ms, "an event's uncertainty")?;
                let seq = self.take_seq();
                self.conn
                    .prepare_cached("INSERT INTO event VALUES (?1, ?2, ?3, ?4, ?5, ?6)")?
                    .execute(params![
                        self.bout_key,
                        seq,
                        other.t_s,
                        other.u_ms,
                        other.kind,
                        other.detail_json
                    ])?;
                Ok(seq)
            }
            BoutEvent::Note(note) => {
                maybe_finite(note.t_s, "a note's time")?;
                let seq = self.take_seq();
                self.conn
                    .prepare_cached("INSERT INTO note VALUES (?1, ?2, ?3, ?4, ?5)")?
                    .execute(params![
                        self.bout_key,
                        seq,
                        note.t_s,
                        note.kind.word(),
                        note.text
                    ])?;
                Ok(seq)
            }
            BoutEvent::SetAside(aside) => {
                let seq = self.take_seq();
                if !(1..seq).contains(&aside.target_seq) {
                    return Err(Refused::Value(format!(
                        "there is no event {} in the bout to set aside",
                        aside.target_seq
                    )));
                }
                self.conn
                    .prepare_cached("INSERT INTO set_aside VALUES (?1, ?2, ?3, ?4, ?5)")?
                    .execute(params![
                        self.bout_key,
                        seq,
                        aside.target_seq,
                        aside.is_aside,
                        aside.reason
                    ])?;
                Ok(seq)
            }
        }
    }

    pub(super) fn sound(&mut self, sound: &Sound) -> Result<i64, Refused> {
        finite(sound.t_s, "a sound's time")?;
        finite(sound.level_dbfs, "a sound's level")?;
        finite(sound.confidence, "a sound's confidence")?;
        let seq = self.take_seq();
        self.conn
            .prepare_cached("INSERT INTO sound VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)")?
            .execute(params![
                self.bout_key,
                seq,
                sound.t_s,
                sound.kind.word(),
                sound.name,
                sound.confidence,
                sound.level_dbfs
            ])?;
        if sound.is_mark() {
            self.marks.insert(SoundId(seq), sound.t_s);
        }
        Ok(seq)
    }

    pub(super) fn moment(&mut self, moment: &Moment) -> Result<i64, Refused> {
        finite(moment.t_s, "a moment's time")?;
        let seq = self.take_seq();
        self.conn
            .prepare_cached("INSERT INTO moment VALUES (?1, ?2, ?3, ?4, ?5, ?6)")?
            .execute(params![
                self.bout_key,
                seq,
                moment.t_s,
                moment.kind.word(),
                moment.source.word(),
                moment.label
            ])?;
        self.moments
            .insert(MomentId(seq), (moment.kind, moment.t_s));
        Ok(seq)
    }

    pub(super) fn pair(&mut self, pair: &Pair) -> Result<i64, Refused> {
        maybe_finite(pair.lag_ms, "a lag")?;
        maybe_finite(pair.u_ms, "a lag's uncertainty")?;
        let moment_kind = match pair.moment_s {
            Some(t_s) => Some(self.moment_kind(pair.moment, t_s)?),
            None => None,
        };
        if let Some(t_s) = pair.mark_s {
            self.check_mark(pair.mark, t_s)?;
        }
        let seq = self.take_seq();
        self.conn
            .prepare_cached(
                "INSERT INTO pair (bout_key, seq, outcome, moment_kind, moment_seq, mark_seq,
                     moment_s, mark_s, lag_ms, u_ms)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
            )?
            .execute(params![
                self.bout_key,
                seq,
                pair.outcome.word(),
                moment_kind.map(MomentKind::word),
                pair.moment.map(|id| id.0),
                pair.mark.map(|id| id.0),
                pair.moment_s,
                pair.mark_s,
                pair.lag_ms,
                pair.u_ms
            ])?;
        Ok(seq)
    }

    fn take_seq(&mut self) -> i64 {
        let seq = self.next_seq;
        self.next_seq += 1;
        seq
    }

    /// The kind of a pair's moment, which must be a row of the bout and at `t_s`.
    fn moment_kind(&self, id: Option<MomentId>, t_s: f64) -> Result<MomentKind, Refused> {
        finite(t_s, "a pair's moment")?;
        let kept = id.and_then(|id| self.moments.get(&id).copied());
        let kept = match (kept, id) {
            (None, Some(id)) => self
                .conn
                .prepare_cached("SELECT kind, t_s FROM moment WHERE bout_key = ?1 AND seq = ?2")?
                .query_row([self.bout_key, id.0], |row| {
                    Ok((MomentKind::from_column(row.get_ref(0)?)?, row.get(1)?))
                })
                .optional()?,
            (kept, _) => kept,
        };
        match kept {
            Some((kind, at_s)) if at_s == t_s => Ok(kind),
            _ => Err(Refused::Value(format!(
                "a pair's moment at {t_s} s is no moment of the bout"
            ))),
        }
    }

    /// A pair's mark must be a row of the bout and at `t_s`.
    fn check_mark(&self, id: Option<SoundId>, t_s: f64) -> Result<(), Refused> {
        finite(t_s, "a pair's mark")?;
        let kept = id.and_then(|id| self.marks.get(&id).copied());
        let kept = match (kept, id) {
            (None, Some(id)) => self
                .conn
                .prepare_cached(
                    "SELECT t_s FROM sound
                     WHERE bout_key = ?1 AND seq = ?2 AND kind <> 'impact'",
                )?
                .query_row([self.bout_key, id.0], |row| row.get(0))
                .optional()?,
            (kept, _) => kept,
        };
        if kept == Some(t_s) {
            return Ok(());
        }
        Err(Refused::Value(format!(
            "a pair's mark at {t_s} s is no click or word of the bout"
        )))
    }
}

fn finite(value: f64, what: &str) -> Result<(), Refused> {
    if value.is_finite() {
        Ok(())
    } else {
        Err(Refused::Value(format!("{what} is {value}, not a number")))
    }
}

fn maybe_finite(value: Option<f64>, what: &str) -> Result<(), Refused> {
    value.map_or(Ok(()), |value| finite(value, what))
}
