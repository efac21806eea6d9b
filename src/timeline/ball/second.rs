//! The second look, at the end of a drill: with what all its drops share by then, the
//! impacts are gone through once more.

use super::bounce::INSTANT_SD_S;
use super::{
    BallFinder, Candidate, Drop, Found, IMPACTS_KEPT, Impact, KEPT_S, RATE_WINDOW_S, Rates, chosen,
    groups,
};

/// Rounds of looking and learning.
const ROUNDS: usize = 2;

/// Impacts before a floor that are looked at beside it.
const BEFORE: usize = 3;

/// What was heard like a ball and could not be proven.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Unproven {
    /// Groups of two or three impacts with a ball's intervals, apart from each other.
    pub groups: usize,
    /// Impacts that stand alone.
    pub alone: usize,
}

impl BallFinder {
    /// Drops that what was learned proves, beside those that were given.
    pub(super) fn look_again(&mut self) -> Vec<Found> {
        let all: Vec<Impact> = self.all.iter().copied().collect();
        // Where most speak against the told height, that is wrong: the later bounces of
        // those that were refused are no drops from it.
        if self.disagreeing.len() > self.given.len() {
            self.given.append(&mut self.disagreeing);
        }
        let mut added: Vec<Candidate> = Vec::new();
        for _ in 0..ROUNDS {
            if self.familiar.drops() < super::DROPS_AGREE {
                self.learn_groups(&all);
            }
            if self.familiar.drops() == 0 {
                break;
            }
            added = self.drops_between(&all);
            if self.familiar.drops() > super::DROPS_AGREE {
                break;
            }
            for one in &added {
                self.familiar
                    .learn(&one.impacts, &one.numbers, self.expected.told_height_m);
            }
        }
        let found: Vec<Found> = added.into_iter().map(|c| c.found).collect();
        self.given.extend(found.iter().map(|f| f.drop().clone()));
        self.count_unproven(&all);
        found
    }

    /// Learns from groups that prove each other and do not speak against a told height.
    pub(super) fn learn_groups(&mut self, all: &[Impact]) {
        const NUMBERS: [u8; 3] = [0, 1, 2];
        let told_m = self.expected.told_height_m;
        for group in groups::proven(all) {
            let impacts = group.map(|k| all[k]);
            let times = impacts.map(|i| i.t_s).to_vec();
            let mut bouncing = self.familiar.bouncing().clone();
            bouncing.learn(&Drop::intervals(&times, &NUMBERS), INSTANT_SD_S, None);
            let drop = Drop::from_impacts(times, &NUMBERS, &bouncing, told_m, 0.0);
            if told_m.is_none_or(|told_m| drop.agrees_with(told_m)) {
                self.familiar.learn(&impacts, &NUMBERS, told_m);
            }
        }
    }

    /// Drops that overlap none of those given.
    fn drops_between(&self, all: &[Impact]) -> Vec<Candidate> {
        let free = self.free(all);
        let mut candidates: Vec<Candidate> = Vec::new();
        for start in 0..free.len() {
            let t_s = free[start].t_s;
            let from = start.saturating_sub(BEFORE);
            let window = &free[from..(from + IMPACTS_KEPT).min(free.len())];
            let window = &window[..window.partition_point(|i| i.t_s < t_s + KEPT_S)];
            let is_near = |i: &&Impact| (i.t_s - t_s).abs() < RATE_WINDOW_S / 2.0;
            let rates = Rates {
                count: free.iter().filter(is_near).count(),
                heard_s: RATE_WINDOW_S,
            };
            let Some(one) = self.candidate(window, start - from, rates) else {
                continue;
            };
            let drop = one.found.drop();
            if !self.given.iter().any(|given| given.overlaps(drop)) {
                candidates.push(one);
            }
        }
        // What is refused must not leave the rest of its bounces for a lower drop.
        let mut chosen = chosen(candidates, None);
        chosen.retain(|one| matches!(one.found, Found::Drop(_)));
        chosen
    }

    /// What was heard like a ball and is in no drop that was given.
    pub fn unproven(&self) -> Unproven {
        self.unproven
    }

    /// Counts what is left over beside the drops.
    fn count_unproven(&mut self, all: &[Impact]) {
        let free = self.free(all);
        self.unproven = Unproven::default();
        let mut from = 0;
        while from < free.len() {
            match groups::length(&free[from..]) {
                1 => self.unproven.alone += 1,
                _ => self.unproven.groups += 1,
            }
            from += groups::length(&free[from..]);
        }
    }

    /// Impacts that lie in no drop that was given.
    fn free(&self, all: &[Impact]) -> Vec<Impact> {
        let is_free = |i: &&Impact| !self.given.iter().any(|d| d.spans(i.t_s));
        all.iter().filter(is_free).copied().collect()
    }
}

impl Drop {
    /// Whether an instant lies between the floor and the last impact.
    fn spans(&self, t_s: f64) -> bool {
        let last_s = self.impacts_s.last().copied().unwrap_or(self.floor_s);
        (self.floor_s..=last_s).contains(&t_s)
    }
}
