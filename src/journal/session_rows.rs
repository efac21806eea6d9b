//! A session's events as rows of the journal, and back.

use serde::{Deserialize, Serialize};

use super::error::JournalError;
use super::read::StoredBout;
use super::record::{BoutEvent, Note, NoteKind, OtherEvent, SetAside};
use crate::session::SessionMeasures;
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

/// The rows at a session's end: its pairs, then its measures.
pub(super) fn end_rows(
    measures: &SessionMeasures,
    length_s: f64,
) -> Result<Vec<BoutEvent>, JournalError> {
    let text = serde_json::to_string(measures).map_err(bad_json)?;
    let pairs = measures.pairs.iter().cloned().map(BoutEvent::Pair);
    let last = BoutEvent::Other(OtherEvent {
        t_s: Some(length_s),
        u_ms: None,
        kind: MEASURES.to_owned(),
        detail_json: Some(text),
    });
    Ok(pairs.chain([last]).collect())
}

/// An event as rows of the journal; the first bears its number. `label` is a
/// moment's.
pub(super) fn rows_of(event: &SessionEvent, label: String) -> Result<Vec<BoutEvent>, JournalError> {
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
            label,
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
pub(super) fn log_of(bout: &StoredBout) -> Result<(Log, Option<SessionMeasures>), JournalError> {
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

pub(super) fn bad_json(error: serde_json::Error) -> JournalError {
    JournalError::BadValue {
        what: error.to_string(),
    }
}
