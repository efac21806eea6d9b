//! Keeps a session in the journal as it happens: a kill loses at most the event
//! in hand.

use std::collections::HashMap;

use jiff::Timestamp;

use crate::journal::{Bout, BoutId, Journal, JournalError, Note, NoteKind};
use crate::session::SessionMeasures;
use crate::timeline::session::{Happened, Log};

/// Keeps one session.
pub(in crate::cli) struct Keeper {
    journal: Journal,
    id: BoutId,
    /// How many of the log's events are kept.
    kept: usize,
    /// The journal's number of each event, by the log's.
    rows: HashMap<i64, i64>,
}

impl Keeper {
    /// Begins a session in the journal, with an animal and by a plan, where they
    /// have names.
    pub(in crate::cli) fn begin(
        mut journal: Journal,
        bout: &Bout,
        animal: &str,
        plan: &str,
    ) -> Result<Self, JournalError> {
        let named = |text| Some(text).filter(|text: &&str| !text.is_empty());
        let id = journal.begin_session(bout, named(animal), named(plan))?;
        Ok(Self {
            journal,
            id,
            kept: 0,
            rows: HashMap::new(),
        })
    }

    pub(in crate::cli) fn id(&self) -> &BoutId {
        &self.id
    }

    /// Keeps what is new in the log. When it fails, what is left is kept next time.
    pub(in crate::cli) fn keep(&mut self, log: &Log) -> Result<(), JournalError> {
        for entry in log.entries().iter().skip(self.kept) {
            let mut event = entry.event.clone();
            if let Happened::Aside { target, .. } = &mut event.what {
                *target = self.rows.get(target).copied().unwrap_or(*target);
            }
            let row = self.journal.append_session_event(&self.id, &event)?;
            self.rows.insert(entry.number, row);
            self.kept += 1;
        }
        Ok(())
    }

    /// Ends the session; gives the measures that are kept with it.
    pub(in crate::cli) fn end(
        &mut self,
        log: &Log,
        ended_at: Timestamp,
        length_s: f64,
    ) -> Result<SessionMeasures, JournalError> {
        self.keep(log)?;
        self.journal.end_session(&self.id, ended_at, length_s)
    }

    /// Adds the words of a note to the session, which may have ended.
    pub(super) fn note(&mut self, t_s: f64, text: &str) -> Result<(), JournalError> {
        let note = Note {
            t_s: Some(t_s),
            kind: NoteKind::Note,
            text: text.to_owned(),
        };
        self.journal.add_notes(&self.id, &[note])
    }
}
