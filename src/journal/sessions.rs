//! Sessions with an animal: kept as they happen, read back as a log, and ended
//! with their pairs and measures.

use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, Transaction, params};
use serde::{Deserialize, Serialize};

use super::digest;
use super::error::JournalError;
use super::insert::{self, Appender, Refused};
use super::open::Journal;
use super::plans::{animal, plan_key};
use super::read::StoredBout;
use super::record::{Bout, BoutId, BoutKind};
use super::session_rows::{bad_json, end_rows, log_of, rows_of};
use crate::session::{SessionMeasures, Setup, measure};
use crate::timeline::session::{Happened, Log, SessionEvent};
use crate::timeline::{MomentId, SoundId};

/// A session's settings as they stand in its bout.
#[derive(Serialize, Deserialize)]
struct SettingsJson {
    session: Setup,
}

/// A session read back.
#[derive(Debug, Clone, PartialEq)]
pub struct StoredSession {
    /// The bout.
    pub bout: StoredBout,
    /// What it is judged by.
    pub setup: Setup,
    /// What happened.
    pub log: Log,
    /// The animal's name, unless it was forgotten.
    pub animal: Option<String>,
    /// The plan's name, unless it was forgotten or there was none.
    pub plan: Option<String>,
    /// The measures that were kept at its end.
    pub measures: Option<SessionMeasures>,
}

/// A whole session, kept at once.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptSession {
    /// When, who, with what; its settings are made from `setup`.
    pub bout: Bout,
    /// The animal's name.
    pub animal: Option<String>,
    /// What it is judged by.
    pub setup: Setup,
    /// What happened.
    pub log: Log,
    /// Length in seconds.
    pub length_s: f64,
}

/// The setup as it is kept with a bout: without the names of animal, plan and
/// person, which are linked, so that they can be changed and forgotten.
///
/// # Errors
/// None in practice; a setup is plain data.
pub fn settings_json(setup: &Setup) -> serde_json::Result<String> {
    let mut session = setup.clone();
    session.plan.animal.clear();
    session.plan.name.clear();
    session.plan.person = None;
    serde_json::to_string(&SettingsJson { session })
}

impl Journal {
    /// Begins a session that is kept as it happens, linked with its animal (made
    /// when it is new) and with its plan, where one of that name is kept.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn begin_session(
        &mut self,
        bout: &Bout,
        animal_name: Option<&str>,
        plan_name: Option<&str>,
    ) -> Result<BoutId, JournalError> {
        let id = BoutId::new();
        self.write(|tx| begin(tx, &id, bout, animal_name, plan_name, None))?;
        Ok(id)
    }

    /// Keeps a whole session in one transaction, as if it had been kept as it
    /// happened. The animal is made when it is new.
    ///
    /// # Errors
    /// A value is not to be kept, or the file cannot be written.
    pub fn keep_session(&mut self, kept: &KeptSession) -> Result<BoutId, JournalError> {
        let id = BoutId::new();
        let bout = Bout {
            duration_s: Some(kept.length_s),
            settings_json: settings_json(&kept.setup).map_err(bad_json)?,
            ..kept.bout.clone()
        };
        let mut measures = measure(&kept.log, &kept.setup, kept.length_s);
        self.write(|tx| {
            let ended_at = Some(super::store::end_of(&bout));
            let plan = Some(kept.setup.plan.name.as_str()).filter(|name| !name.is_empty());
            let key = begin(tx, &id, &bout, kept.animal.as_deref(), plan, ended_at)?;
            let mut rows = Appender::new(tx, key)?;
            let mut numbers = std::collections::HashMap::new();
            for entry in kept.log.entries() {
                let mut event = entry.event.clone();
                if let Happened::Aside { target, .. } = &mut event.what {
                    *target = numbers.get(target).copied().unwrap_or(*target);
                }
                numbers.insert(entry.number, rows.next_seq());
                let label = label_at(tx, key, &event)?;
                for row in rows_of(&event, label).map_err(value)? {
                    rows.append(&row)?;
                }
            }
            for pair in &mut measures.pairs {
                let row = |number: i64| numbers.get(&number).copied();
                pair.moment = pair.moment.and_then(|id| row(id.0)).map(MomentId);
                pair.mark = pair.mark.and_then(|id| row(id.0)).map(SoundId);
            }
            for row in end_rows(&measures, kept.length_s).map_err(value)? {
                rows.append(&row)?;
            }
            digest::keep(tx, key)?;
            Ok(())
        })?;
        Ok(id)
    }

    /// Adds an event of a session; when this has returned it outlives the
    /// program. Gives the number by which it can be set aside.
    ///
    /// # Errors
    /// The session is unknown or has ended, or the file cannot be written.
    pub fn append_session_event(
        &mut self,
        id: &BoutId,
        event: &SessionEvent,
    ) -> Result<i64, JournalError> {
        let label = self
            .conn
            .prepare_cached("SELECT bout_key FROM bout WHERE id = ?1")
            .and_then(|mut found| found.query_row([id], |row| row.get(0)).optional())
            .map_err(Refused::Sqlite)
            .and_then(|key| key.map_or(Ok(String::new()), |key| label_at(&self.conn, key, event)))
            .map_err(|refused| refused.told(self.path()))?;
        Ok(self.append_events(id, &rows_of(event, label)?)?.start)
    }

    /// Ends a session: its pairs and measures are kept with it.
    ///
    /// # Errors
    /// The session is unknown or has ended, or the file cannot be written.
    pub fn end_session(
        &mut self,
        id: &BoutId,
        ended_at: Timestamp,
        length_s: f64,
    ) -> Result<SessionMeasures, JournalError> {
        let stored = self.read_session(id)?;
        let measures = measure(&stored.log, &stored.setup, length_s);
        // Both or neither: rows of an end that did not come would be added once more
        // when the session is ended again.
        let rows = end_rows(&measures, length_s)?;
        self.end_with(id, &rows, ended_at, Some(length_s))?;
        Ok(measures)
    }

    /// Reads a session back.
    ///
    /// # Errors
    /// No such bout, it is no session, or the file cannot be read.
    pub fn read_session(&self, id: &BoutId) -> Result<StoredSession, JournalError> {
        let bout = self.read_bout(id)?;
        let no = |what: String| JournalError::BadValue { what };
        if bout.bout.kind != BoutKind::Session {
            return Err(no(format!("{} is no session", id.short())));
        }
        let kept: SettingsJson = serde_json::from_str(&bout.bout.settings_json)
            .map_err(|e| no(format!("the settings kept with {}: {e}", id.short())))?;
        let (animal, plan): (Option<String>, Option<String>) = self
            .conn
            .query_row(
                "SELECT a.name, p.name FROM bout AS b
                 LEFT JOIN session AS s USING (bout_key)
                 LEFT JOIN animal AS a ON a.animal_key = s.animal_key
                 LEFT JOIN plan AS p ON p.plan_key = s.plan_key WHERE b.id = ?1",
                [id],
                |row| Ok((row.get(0)?, row.get(1)?)),
            )
            .map_err(|error| self.told(error))?;
        let mut setup = kept.session;
        setup.plan.animal = animal.clone().unwrap_or_default();
        setup.plan.name = plan.clone().unwrap_or_default();
        let (log, measures) = log_of(&bout)?;
        Ok(StoredSession {
            bout,
            setup,
            log,
            animal,
            plan,
            measures,
        })
    }
}

/// Puts in a session's bout, linked with its animal and its plan.
fn begin(
    tx: &Transaction<'_>,
    id: &BoutId,
    bout: &Bout,
    animal_name: Option<&str>,
    plan_name: Option<&str>,
    ended_at: Option<Timestamp>,
) -> Result<i64, Refused> {
    let key = insert::bout(tx, id, bout, ended_at)?;
    let animal = match animal_name {
        Some(name) => Some(animal(tx, name)?),
        None => None,
    };
    let plan = match plan_name {
        Some(name) => plan_key(tx, name)?,
        None => None,
    };
    tx.prepare_cached("INSERT INTO session VALUES (?1, ?2, ?3)")?
        .execute(params![key, animal, plan])?;
    Ok(key)
}

/// The behaviour that is practised when a moment comes: its label. Empty for what
/// is no moment, and while the bridge is paired with food.
fn label_at(conn: &Connection, key: i64, event: &SessionEvent) -> Result<String, Refused> {
    if event.what != Happened::Reached {
        return Ok(String::new());
    }
    let settings: String = conn
        .prepare_cached("SELECT settings_json FROM bout WHERE bout_key = ?1")?
        .query_row([key], |row| row.get(0))?;
    // Settings of another kind: then there is nothing to name it by.
    let Ok(kept) = serde_json::from_str::<SettingsJson>(&settings) else {
        return Ok(String::new());
    };
    let item: Option<usize> = conn
        .prepare_cached(
            "SELECT json_extract(detail_json, '$.item') FROM event AS e
             WHERE bout_key = ?1 AND kind = 'turn' AND t_s <= ?2 AND NOT EXISTS
                 (SELECT 1 FROM aside_now AS a
                  WHERE a.bout_key = e.bout_key AND a.target_seq = e.seq)
             ORDER BY t_s DESC, seq DESC LIMIT 1",
        )?
        .query_row(params![key, event.t_s], |row| row.get::<_, i64>(0))
        .optional()?
        .and_then(|item| usize::try_from(item).ok());
    let behaviour = kept.session.plan.behaviour_of(item.unwrap_or(0));
    Ok(behaviour.map_or(String::new(), |b| b.name.clone()))
}

fn value(error: JournalError) -> Refused {
    Refused::Value(error.to_string())
}
