//! Keeps a drill in the journal as it happens: a kill loses at most the drop in
//! hand.

use std::collections::{HashMap, HashSet};

use jiff::Timestamp;
use serde_json::json;

use crate::drill::State;
use crate::journal::{Bout, BoutEvent, BoutId, Journal, JournalError, OtherEvent, SetAside};
use crate::timeline::{HeardSound, KnownMoment, MomentId, Pair, SoundId};

/// A pair's moment and mark.
type Key = (Option<MomentId>, Option<SoundId>);

/// Keeps one drill.
pub(super) struct Keeper {
    journal: Journal,
    id: BoutId,
    /// Events to be kept next, in detection order; a sound with its number.
    waiting: Vec<(Option<SoundId>, BoutEvent)>,
    rows: Rows,
    /// The pairs that are kept and count, each with its row.
    pairs: HashMap<Key, (Pair, i64)>,
    /// The moments whose undo is kept.
    aside: HashSet<MomentId>,
}

/// Where sounds and moments stand in the journal.
#[derive(Clone, Default)]
struct Rows {
    sounds: HashMap<SoundId, i64>,
    moments: HashMap<MomentId, i64>,
}

impl Rows {
    /// The pair as the journal takes it: its moment and its mark are rows.
    fn of(&self, pair: &Pair) -> Pair {
        let moment = pair.moment.and_then(|id| self.moments.get(&id));
        let mark = pair.mark.and_then(|id| self.sounds.get(&id));
        Pair {
            moment: moment.map(|row| MomentId(*row)),
            mark: mark.map(|row| SoundId(*row)),
            ..pair.clone()
        }
    }
}

impl Keeper {
    /// Begins a drill in the journal.
    pub(super) fn begin(mut journal: Journal, bout: &Bout) -> Result<Self, JournalError> {
        let id = journal.begin_bout(bout)?;
        Ok(Self {
            journal,
            id,
            waiting: Vec::new(),
            rows: Rows::default(),
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
    pub(super) fn heard(&mut self, heard: &HeardSound) {
        let event = BoutEvent::Sound(heard.sound.clone());
        self.waiting.push((Some(heard.id), event));
    }

    /// Notes something else that happened.
    pub(super) fn note(&mut self, kind: &str, t_s: Option<f64>, words: Option<&str>) {
        let event = BoutEvent::Other(OtherEvent {
            t_s,
            u_ms: None,
            kind: kind.to_owned(),
            detail_json: words.map(|w| json!({ "words": w }).to_string()),
        });
        self.waiting.push((None, event));
    }

    /// Keeps what is new: what waits, moments, what was undone, pairs that can be
    /// told; all of it or nothing, and when it fails it is all still new. A pair
    /// that no longer stands is set aside, not taken out.
    pub(super) fn keep(&mut self, state: &State) -> Result<(), JournalError> {
        let is_new = |m: &&KnownMoment| !self.rows.moments.contains_key(&m.id);
        let moments: Vec<&KnownMoment> = state.moments.iter().filter(is_new).collect();
        let key = |pair: &Pair| (pair.moment, pair.mark);
        let standing: HashMap<Key, &Pair> = state.told().map(|p| (key(p), p)).collect();
        let stands = |key: &Key, kept: &Pair| standing.get(key).is_some_and(|now| *now == kept);
        let fallen: Vec<i64> = self
            .pairs
            .iter()
            .filter(|(key, (kept, _))| !stands(key, kept))
            .map(|(_, (_, row))| *row)
            .collect();
        let is_kept = |p: &Pair| self.pairs.get(&key(p)).is_some_and(|(kept, _)| kept == p);
        let pairs: Vec<&Pair> = state.told().filter(|p| !is_kept(p)).collect();
        let undone = state.undone.iter().filter(|id| !self.aside.contains(id));
        let undone: Vec<MomentId> = undone.copied().collect();
        let count = self.waiting.len() + moments.len() + undone.len() + fallen.len() + pairs.len();
        if count == 0 {
            return Ok(());
        }

        let mut rows = self.rows.clone();
        let made = self.journal.append_numbered(&self.id, |first| {
            let waiting = (first..).zip(&self.waiting);
            let sounds = waiting.filter_map(|(row, (id, _))| id.map(|id| (id, row)));
            rows.sounds.extend(sounds);
            let new = (first..).skip(self.waiting.len()).zip(&moments);
            rows.moments
                .extend(new.map(|(row, moment)| (moment.id, row)));
            let undone = undone.iter().filter_map(|id| rows.moments.get(id));
            let undone = undone.map(|row| aside(*row, "undone by the trainer"));
            let fallen = fallen.iter().map(|row| aside(*row, "judged anew"));
            let waiting = self.waiting.iter().map(|(_, event)| event.clone());
            let moments = moments.iter().map(|m| BoutEvent::Moment(m.moment.clone()));
            let mut events: Vec<BoutEvent> = waiting.chain(moments).collect();
            events.extend(undone.chain(fallen));
            events.extend(pairs.iter().map(|p| BoutEvent::Pair(rows.of(p))));
            events
        })?;

        self.waiting.clear();
        self.rows = rows;
        let undone = undone.into_iter();
        self.aside
            .extend(undone.filter(|id| self.rows.moments.contains_key(id)));
        self.pairs.retain(|key, (kept, _)| stands(key, kept));
        let kept = pairs.iter().rev().zip(made.rev());
        self.pairs
            .extend(kept.map(|(pair, row)| (key(pair), ((*pair).clone(), row))));
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
