//! Keeps a drill in the journal as it happens: a kill loses at most the drop in
//! hand.

use std::collections::{HashMap, HashSet};

use jiff::Timestamp;
use serde_json::json;

use crate::drill::State;
use crate::journal::{Bout, BoutEvent, BoutId, Journal, JournalError, OtherEvent, SetAside};
use crate::timeline::{Outcome, Pair, Sound};

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
    /// told. A pair that no longer stands is set aside, not taken out.
    pub(super) fn keep(&mut self, state: &State) -> Result<(), JournalError> {
        let mut events = std::mem::take(&mut self.waiting);
        let first_moment = events.len();
        let is_kept = |t_s: f64| self.moments.contains_key(&t_s.to_bits());
        let moments: Vec<_> = state.moments.iter().filter(|m| !is_kept(m.t_s)).collect();
        events.extend(moments.iter().map(|m| BoutEvent::Moment((*m).clone())));
        if !events.is_empty() {
            let rows = self.journal.append_events(&self.id, &events)?;
            for (moment, row) in moments.iter().zip(rows.skip(first_moment)) {
                self.moments.insert(moment.t_s.to_bits(), row);
            }
        }

        let told: Vec<&Pair> = state.told().collect();
        let standing: HashSet<Key> = told.iter().map(|p| key(p)).collect();
        let mut events = Vec::new();
        for t_s in &state.undone {
            let row = self.moments.get(&t_s.to_bits());
            if let (Some(row), true) = (row, self.aside.insert(t_s.to_bits())) {
                events.push(aside(*row, "undone by the trainer"));
            }
        }
        self.pairs.retain(|key, row| {
            let stands = standing.contains(key);
            if !stands {
                events.push(aside(*row, "judged anew"));
            }
            stands
        });
        let first_pair = events.len();
        let new: Vec<&Pair> = told
            .into_iter()
            .filter(|p| !self.pairs.contains_key(&key(p)))
            .collect();
        events.extend(new.iter().map(|p| BoutEvent::Pair((*p).clone())));
        if !events.is_empty() {
            let rows = self.journal.append_events(&self.id, &events)?;
            for (pair, row) in new.iter().zip(rows.skip(first_pair)) {
                self.pairs.insert(key(pair), row);
            }
        }
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
