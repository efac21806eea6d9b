//! The log of a session: (log, event) → log. Nothing is ever taken out; an undo
//! is an event like any other, so that the same events give the same log.

use super::event::{Happened, SessionEvent};

/// One event with its number.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Its number; ascending, not always without gaps.
    pub number: i64,
    /// The event.
    pub event: SessionEvent,
    /// Whether it counts no longer.
    pub is_aside: bool,
}

/// All that happened in a session, in order of arrival.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Log {
    entries: Vec<Entry>,
    latest_s: f64,
}

impl Log {
    /// Takes an event in. An undo of what is not there changes nothing.
    pub fn apply(&mut self, number: i64, event: SessionEvent) {
        if event.t_s.is_finite() {
            self.latest_s = self.latest_s.max(event.t_s);
        }
        if let Happened::Aside { target, is_aside } = event.what {
            let found = self.entries.iter_mut().find(|e| e.number == target);
            if let Some(entry) = found {
                entry.is_aside = is_aside;
            }
        }
        self.entries.push(Entry {
            number,
            event,
            is_aside: false,
        });
    }

    /// Every event, in order of arrival.
    pub fn entries(&self) -> &[Entry] {
        &self.entries
    }

    /// The latest instant of any event, in seconds.
    pub fn latest_s(&self) -> f64 {
        self.latest_s
    }

    /// The events that count, in order of time; the ear tells a mark a little
    /// after a key that was pressed later.
    pub fn counted(&self) -> Vec<&SessionEvent> {
        self.counted_entries().iter().map(|e| &e.event).collect()
    }

    /// The events that count, in order of time, each with its number.
    pub fn counted_entries(&self) -> Vec<&Entry> {
        let all = self.entries.iter();
        let mut counted: Vec<&Entry> = all
            .filter(|e| !e.is_aside && e.event.t_s.is_finite() && !is_undo(e))
            .collect();
        counted.sort_by(|a, b| a.event.t_s.total_cmp(&b.event.t_s));
        counted
    }

    /// The event that an undo takes back: the latest to arrive that counts.
    pub fn undo_target(&self) -> Option<&Entry> {
        self.undoable().find(|e| !e.is_aside)
    }

    /// The events that can be set aside and taken back in, the latest to arrive
    /// first.
    pub fn undoable(&self) -> impl Iterator<Item = &Entry> {
        let all = self.entries.iter().rev();
        all.filter(|e| !is_undo(e) && is_of_a_person(e))
    }

    /// The event that was set aside last and still is.
    pub fn redo_target(&self) -> Option<&Entry> {
        self.entries.iter().rev().find_map(|e| match e.event.what {
            Happened::Aside {
                target,
                is_aside: true,
            } => self
                .entries
                .iter()
                .find(|t| t.number == target && t.is_aside),
            _ => None,
        })
    }
}

fn is_undo(entry: &Entry) -> bool {
    matches!(entry.event.what, Happened::Aside { .. })
}

/// What the machine tells of itself is not undone.
fn is_of_a_person(entry: &Entry) -> bool {
    !matches!(
        entry.event.what,
        Happened::Gap { .. } | Happened::ClockMoved { .. }
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::timeline::MomentSource;

    fn at(t_s: f64, what: Happened) -> SessionEvent {
        SessionEvent {
            t_s,
            u_ms: 3.0,
            source: MomentSource::Hand,
            what,
        }
    }

    fn aside(target: i64, is_aside: bool) -> Happened {
        Happened::Aside { target, is_aside }
    }

    #[test]
    fn an_undo_loses_nothing_and_can_be_undone() {
        let mut log = Log::default();
        log.apply(1, at(1.0, Happened::Cue));
        log.apply(2, at(2.0, Happened::Treat));
        log.apply(3, at(2.5, Happened::Gap { missing_ms: 9.0 }));
        assert_eq!(log.undo_target().unwrap().number, 2);
        log.apply(4, at(3.0, aside(2, true)));
        assert_eq!(log.undo_target().unwrap().number, 1);
        log.apply(5, at(3.5, aside(1, true)));
        assert!(log.undo_target().is_none());
        assert_eq!(log.counted().len(), 1, "the gap");
        assert_eq!(log.redo_target().unwrap().number, 1);
        log.apply(6, at(4.0, aside(1, false)));
        assert_eq!(log.redo_target().unwrap().number, 2);
        log.apply(7, at(4.5, aside(2, false)));
        assert!(log.redo_target().is_none());
        assert_eq!(log.entries().len(), 7);
        assert_eq!(log.counted().len(), 3);
        log.apply(8, at(5.0, aside(99, true)));
        assert_eq!(log.counted().len(), 3);
    }

    #[test]
    fn events_count_in_order_of_time_and_odd_times_do_not() {
        let mut log = Log::default();
        log.apply(1, at(2.0, Happened::Treat));
        log.apply(2, at(1.0, Happened::Cue));
        log.apply(3, at(f64::NAN, Happened::Treat));
        let times: Vec<f64> = log.counted().iter().map(|e| e.t_s).collect();
        assert_eq!(times, [1.0, 2.0]);
        assert_eq!(log.latest_s(), 2.0);
    }
}
