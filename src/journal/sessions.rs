//! Sessions with an animal: kept as they happen, read back as a log, and ended
//! with their pairs and measures. And how people press a key.

use jiff::Timestamp;
use rusqlite::{OptionalExtension, params};
use serde::{Deserialize, Serialize};

use super::error::JournalError;
use super::insert::{self, instant, person};
use super::open::Journal;
use super::plans::{animal, plan_key};
use super::read::StoredBout;
use super::record::{
    Bout, BoutEvent, BoutId, BoutKind, Note, NoteKind, OtherEvent, SetAside, new_id,
};
use crate::measure::observer::Observer;
use crate::session::{SessionMeasures, Setup, measure};
use crate::timeline::session::{Happened, Log, SessionEvent};
use crate::timeline::{Moment, MomentKind, MomentSource};

/// The row that tells the uncertainty of the row before it.
const INSTANT: &str = "instant";
/// The row with the measures of an ended session.
const MEASURES: &str = "measures";

/// What belongs to an event that is no plain word.
#[derive(Debug, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct Detail {
    #[serde(skip_serializing_if = "Option::is_none")]
    source: Option<MomentSource>,
    #[serde(skip_serializing_if = "Option::is_none")]
    item: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    number: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    missing_ms: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    by_s: Option<f64>,
}

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
        self.write(|tx| {
            let key = insert::bout(tx, &id, bout, None)?;
            let animal = match animal_name {
                Some(name) => Some(animal(tx, name)?),
                None => None,
            };
            let plan = match plan_name {
                Some(name) => plan_key(tx, name)?,
                None => None,
            };
            tx.execute(
                "INSERT INTO session VALUES (?1, ?2, ?3)",
                params![key, animal, plan],
            )?;
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
        Ok(self.append_events(id, &rows_of(event)?)?.start)
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
        let text = serde_json::to_string(&measures).map_err(bad_json)?;
        let pairs = measures.pairs.iter().cloned().map(BoutEvent::Pair);
        let last = BoutEvent::Other(OtherEvent {
            t_s: Some(length_s),
            u_ms: None,
            kind: MEASURES.to_owned(),
            detail_json: Some(text),
        });
        self.append_events(id, &pairs.chain([last]).collect::<Vec<_>>())?;
        self.end_bout(id, ended_at, Some(length_s))?;
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

    /// Keeps how a person presses a key.
    ///
    /// # Errors
    /// A value is not to be kept, or the file cannot be written.
    pub fn keep_observer(
        &mut self,
        name: &str,
        measured_at: Timestamp,
        who: &Observer,
    ) -> Result<(), JournalError> {
        self.write(|tx| {
            tx.execute(
                "INSERT INTO observer (id, person_key, measured_at, n, bias_ms, spread_ms)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                params![
                    new_id(),
                    person(tx, name)?,
                    instant(measured_at),
                    i64::try_from(who.n).unwrap_or(i64::MAX),
                    who.bias_ms,
                    who.spread_ms
                ],
            )?;
            Ok(())
        })
    }

    /// How a person presses a key, as it was last measured.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn observer(&self, name: &str) -> Result<Option<Observer>, JournalError> {
        self.conn
            .query_row(
                "SELECT o.n, o.bias_ms, o.spread_ms FROM observer AS o
                 JOIN person AS p USING (person_key) WHERE p.name = ?1
                 ORDER BY o.measured_at DESC, o.observer_key DESC LIMIT 1",
                [name],
                |row| {
                    Ok(Observer {
                        n: row.get::<_, u32>(0)? as usize,
                        bias_ms: row.get(1)?,
                        spread_ms: row.get(2)?,
                    })
                },
            )
            .optional()
            .map_err(|error| self.told(error))
    }
}

fn bad_json(error: serde_json::Error) -> JournalError {
    JournalError::BadValue {
        what: error.to_string(),
    }
}

/// An event as rows of the journal; the first bears its number.
fn rows_of(event: &SessionEvent) -> Result<Vec<BoutEvent>, JournalError> {
    let other = |kind: &str, detail: Detail| -> Result<BoutEvent, JournalError> {
        let detail = Detail {
            source: Some(event.source),
            ..detail
        };
        Ok(BoutEvent::Other(OtherEvent {
            t_s: Some(event.t_s),
            u_ms: Some(event.u_ms),
            kind: kind.to_owned(),
            detail_json: Some(serde_json::to_string(&detail).map_err(bad_json)?),
        }))
    };
    let exact = |row: BoutEvent| {
        let instant = BoutEvent::Other(OtherEvent {
            t_s: Some(event.t_s),
            u_ms: Some(event.u_ms),
            kind: INSTANT.to_owned(),
            detail_json: None,
        });
        vec![row, instant]
    };
    Ok(match &event.what {
        Happened::Mark(sound) => exact(BoutEvent::Sound(crate::timeline::Sound {
            t_s: event.t_s,
            ..sound.clone()
        })),
        Happened::Reached => exact(BoutEvent::Moment(Moment {
            t_s: event.t_s,
            kind: MomentKind::Behaviour,
            source: event.source,
            label: String::new(),
        })),
        Happened::Note(text) => vec![BoutEvent::Note(Note {
            t_s: Some(event.t_s),
            kind: NoteKind::Note,
            text: text.clone(),
        })],
        Happened::Aside { target, is_aside } => vec![BoutEvent::SetAside(SetAside {
            target_seq: *target,
            is_aside: *is_aside,
            reason: String::new(),
        })],
        Happened::Turn { item } => vec![other(
            "turn",
            Detail {
                item: Some(*item),
                ..Detail::default()
            },
        )?],
        Happened::Step { number } => vec![other(
            "step",
            Detail {
                number: Some(*number),
                ..Detail::default()
            },
        )?],
        Happened::Gap { missing_ms } => vec![other(
            "gap",
            Detail {
                missing_ms: Some(*missing_ms),
                ..Detail::default()
            },
        )?],
        Happened::ClockMoved { by_s } => vec![other(
            "clock_moved",
            Detail {
                by_s: Some(*by_s),
                ..Detail::default()
            },
        )?],
        plain => vec![other(
            plain.plain_word().unwrap_or("note"),
            Detail::default(),
        )?],
    })
}

/// The log that rows of the journal make, and the measures kept at the end.
fn log_of(bout: &StoredBout) -> Result<(Log, Option<SessionMeasures>), JournalError> {
    let mut log = Log::default();
    let mut measures = None;
    for (k, row) in bout.events.iter().enumerate() {
        let u_ms = match bout.events.get(k + 1).map(|next| &next.event) {
            Some(BoutEvent::Other(next)) if next.kind == INSTANT => next.u_ms.unwrap_or(0.0),
            _ => 0.0,
        };
        let event = |t_s: f64, u_ms: f64, source: MomentSource, what: Happened| SessionEvent {
            t_s,
            u_ms,
            source,
            what,
        };
        let read = match &row.event {
            BoutEvent::Sound(sound) => event(
                sound.t_s,
                u_ms,
                MomentSource::Sound,
                Happened::Mark(sound.clone()),
            ),
            BoutEvent::Moment(moment) => event(moment.t_s, u_ms, moment.source, Happened::Reached),
            BoutEvent::Note(note) => event(
                note.t_s.unwrap_or(0.0),
                0.0,
                MomentSource::Hand,
                Happened::Note(note.text.clone()),
            ),
            BoutEvent::SetAside(aside) => event(
                log.latest_s(),
                0.0,
                MomentSource::Hand,
                Happened::Aside {
                    target: aside.target_seq,
                    is_aside: aside.is_aside,
                },
            ),
            BoutEvent::Pair(_) => continue,
            BoutEvent::Other(other) if other.kind == INSTANT => continue,
            BoutEvent::Other(other) if other.kind == MEASURES => {
                let text = other.detail_json.as_deref().unwrap_or("null");
                measures = serde_json::from_str(text).map_err(bad_json)?;
                continue;
            }
            BoutEvent::Other(other) => {
                let text = other.detail_json.as_deref().unwrap_or("{}");
                let detail: Detail = serde_json::from_str(text).map_err(bad_json)?;
                let Some(what) = happened(&other.kind, &detail) else {
                    // Of a newer program: passed over, not lost.
                    continue;
                };
                event(
                    other.t_s.unwrap_or(0.0),
                    other.u_ms.unwrap_or(0.0),
                    detail.source.unwrap_or(MomentSource::Hand),
                    what,
                )
            }
        };
        log.apply(row.seq, read);
    }
    Ok((log, measures))
}

fn happened(kind: &str, detail: &Detail) -> Option<Happened> {
    Some(match kind {
        "turn" => Happened::Turn { item: detail.item? },
        "step" => Happened::Step {
            number: detail.number?,
        },
        "gap" => Happened::Gap {
            missing_ms: detail.missing_ms?,
        },
        "clock_moved" => Happened::ClockMoved { by_s: detail.by_s? },
        word => Happened::from_plain_word(word)?,
    })
}
