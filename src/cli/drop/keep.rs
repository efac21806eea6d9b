//! Keeps a drill in the journal as it happens: a kill loses at most the drop in
//! hand.

use std::collections::{HashMap, HashSet};

use jiff::Timestamp;
use serde_json::json;

use crate::drill::State;
use crate::journal::{Bout, BoutEvent, BoutId, Journal, JournalError, OtherEvent, SetAside};
use crate::timeline::{Moment, Outcome, Pair, Sound};

/// A pair by its numbers' bits.
type Key = (Option<u64>, Option<u64>, Option<u64>, Outcome);

fn key(pair: &Pair) -> Key {
    let bits = |value: Option<f64>| value.map(f64::to_bits);
    (
        bits(pair.moment_s),
        bits(pair.mark_s),
        bits(pair.lag_ms),
        pair.outcome,
    )
}

/// Keeps one drill.
pub(super) struct Keeper {
    journal: Journal,
    id: BoutId,
    /// Sounds and what else happened, to be kept next, in the order of knowing.
    waiting: Vec<BoutEvent>,
    /// The rows of moments, by their time's bits.
    moments: HashMap<u64, i64>,
    /// The rows of pairs that count.
    pairs: HashMap<Key, i64>,
    aside: HashSet<u64>,
}

impl Keeper {
    /// Begins a drill in the journal.
    pub(super) fn begin(mut journal: Journal, bout: &Bout) -> Result<Self, JournalError> {
        let id = journal.begin_bout(bout)?;
        Ok(Self {
            journal,
            id,
            waiting: Vec::new(),
            moments: HashMap::new(),
            pairs: HashMap::new(),
            aside: HashSet::new(),
        })
    }

    pub(super) fn id(&self) -> &BoutId {
        &self.id
    }

    pub(super) fn journal(&self) -> &Journal {
        &self.journal
    }

    /// Takes a sound, to be kept next.
    pub(super) fn heard(&mut self, sound: &Sound) {
        self.waiting.push(BoutEvent::Sound(sound.clone()));
    }

    /// Notes something else that happened.
    pub(super) fn note(&mut self, kind: &str, t_s: Option<f64>, words: Option<&str>) {
        self.waiting.push(BoutEvent::Other(OtherEvent {
            t_s,
            u_ms: None,
            kind: kind.to_owned(),
            detail_json: words.map(|w| json!({ "words": w }).to_string()),
        }));
    }

    /// Keeps what is new: what waits, moments, what was undone, pairs that can be
    /// told; all of it or nothing, and when it fails it is all still new. A pair
    /// that no longer stands is set aside, not taken out.
    pub(super) fn keep(&mut self, state: &State) -> Result<(), JournalError> {
        let is_new = |m: &&Moment| !self.moments.contains_key(&m.t_s.to_bits());
        let moments: Vec<&Moment> = state.moments.iter().filter(is_new).collect();
        let told: Vec<&Pair> = state.told().collect();
        let standing: HashSet<Key> = told.iter().map(|p| key(p)).collect();
        let fallen: Vec<(Key, i64)> = self
            .pairs
            .iter()
            .filter(|(key, _)| !standing.contains(*key))
            .map(|(key, row)| (*key, *row))
            .collect();
        let pairs: Vec<&Pair> = told
            .into_iter()
            .filter(|p| !self.pairs.contains_key(&key(p)))
            .collect();
        let undone: Vec<u64> = state
            .undone
            .iter()
            .map(|t_s| t_s.to_bits())
            .filter(|t| !self.aside.contains(t))
            .collect();
        let count = self.waiting.len() + moments.len() + undone.len() + fallen.len() + pairs.len();
        if count == 0 {
            return Ok(());
        }

        let mut rows = self.moments.clone();
        let made = self.journal.append_numbered(&self.id, |first| {
            let new = (first..).skip(self.waiting.len()).zip(&moments);
            rows.extend(new.map(|(row, moment)| (moment.t_s.to_bits(), row)));
            let undone = undone.iter().filter_map(|t| rows.get(t));
            let undone = undone.map(|row| aside(*row, "undone by the trainer"));
            let fallen = fallen.iter().map(|(_, row)| aside(*row, "judged anew"));
            let mut events = self.waiting.clone();
            events.extend(moments.iter().map(|m| BoutEvent::Moment((*m).clone())));
            events.extend(undone.chain(fallen));
            events.extend(pairs.iter().map(|p| BoutEvent::Pair((*p).clone())));
            events
        })?;

        self.waiting.clear();
        self.moments = rows;
        let undone = undone.into_iter().filter(|t| self.moments.contains_key(t));
        self.aside.extend(undone);
        self.pairs.retain(|key, _| standing.contains(key));
        let kept = pairs.iter().rev().zip(made.rev());
        self.pairs.extend(kept.map(|(pair, row)| (key(pair), row)));
        Ok(())
    }

    /// Ends the drill.
    pub(super) fn end(&mut self, state: &State) -> Result<(), JournalError> {
        self.keep(state)?;
        let duration_s = Some(state.heard.duration_s);
        self.journal
            .end_bout(&self.id, Timestamp::now(), duration_s)
    }
}

fn aside(target_seq: i64, reason: &str) -> BoutEvent {
    BoutEvent::SetAside(SetAside {
        target_seq,
        is_aside: true,
        reason: reason.to_owned(),
    })
}

#[cfg(test)]
#[path = "keep_tests.rs"]
pub(super) mod tests;
