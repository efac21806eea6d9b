//! Keeps a session in the journal as it happens: a kill loses at most the event
//! in hand.

use std::collections::{HashMap, VecDeque};

use jiff::Timestamp;

use crate::journal::{Bout, BoutId, Journal, JournalError};
use crate::session::SessionMeasures;
use crate::timeline::session::{Happened, SessionEvent};

/// Keeps one session.
pub(super) struct Keeper {
    journal: Journal,
    id: BoutId,
    waiting: VecDeque<(i64, SessionEvent)>,
    /// The journal's number of each event, by the log's.
    rows: HashMap<i64, i64>,
}

impl Keeper {
    /// Begins a session in the journal.
    pub(super) fn begin(
        mut journal: Journal,
        bout: &Bout,
        animal: Option<&str>,
        plan: Option<&str>,
    ) -> Result<Self, JournalError> {
        let id = journal.begin_session(bout, animal, plan)?;
        Ok(Self {
            journal,
            id,
            waiting: VecDeque::new(),
            rows: HashMap::new(),
        })
    }

    pub(super) fn id(&self) -> &BoutId {
        &self.id
    }

    /// Takes an event to be kept next.
    pub(super) fn take(&mut self, number: i64, event: SessionEvent) {
        self.waiting.push_back((number, event));
    }

    /// Keeps what waits.
    pub(super) fn keep(&mut self) -> Result<(), JournalError> {
        while let Some((number, mut event)) = self.waiting.front().cloned() {
            if let Happened::Aside { target, .. } = &mut event.what {
                *target = self.rows.get(target).copied().unwrap_or(*target);
            }
            let row = self.journal.append_session_event(&self.id, &event)?;
            self.rows.insert(number, row);
            self.waiting.pop_front();
        }
        Ok(())
    }

    /// Ends the session; gives the measures that are kept with it.
    pub(super) fn end(&mut self, length_s: f64) -> Result<SessionMeasures, JournalError> {
        self.keep()?;
        self.journal
            .end_session(&self.id, Timestamp::now(), length_s)
    }
}
