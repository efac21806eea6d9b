//! Finds dropped balls among impacts, as they come.
//!
//! A ball is a chain of impacts whose intervals shrink by a nearly constant
//! ratio, from a plausible height. Any other bangs may lie between, and a bounce
//! may be missed: a chain counts only where chance, at the rate of the impacts
//! around it, would give one as ball-like at most [`CHANCE_PER_HOUR`] times an
//! hour (see `ball/chance.rs` for the argument).
//!
//! **How many impacts.** Three impacts give two intervals, which always fit some
//! ball. They are enough where the height was told, or where the ball is familiar
//! from a drop shortly before in the same stream; otherwise it takes four. Where
//! many other impacts are about it takes more; the chance says how many. A ball
//! caught after the first or second impact gives nothing.
//!
//! **Latency.** A drop is given once the ball is silent: when neither the next
//! bounce nor the one after it came. From the last impact heard that takes less
//! than twice the interval before it.
//!
//! **One ball at a time.** Drops do not overlap: a new one needs a release after
//! the last impact of the one before, with the time a hand takes.
//!
//! **What it cannot know.** Where the first impact was not heard, the rest is a
//! lower drop: only a told height tells.
//!
//! **How sure.** The tests say how many drops are found among how many other
//! impacts. What is lost in noise is mostly a floor: a bang that lies where an
//! earlier bounce would have been is taken for it. A told height, or the drops
//! before, prevent most of that.
//!
//! **Memory** is fixed ([`IMPACTS_KEPT`]). The result depends on the impacts only,
//! not on how often the time is told between them.

mod chain;
mod chance;
mod drop;

use std::collections::VecDeque;

use chain::Chain;
use chance::{Expected, Familiar};
pub use drop::{Drop, Refusal, Refused, moment_of};

use super::physics::fall_time_s;

/// One impact as the ear gives it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Impact {
    /// The instant, in seconds from the first sample heard.
    pub t_s: f64,
    /// Its level in dB; only differences are used, and only as a hint. NaN says
    /// that it is not known.
    pub strength_db: f64,
}

/// What the finder found.
#[derive(Debug, Clone, PartialEq)]
pub enum Found {
    /// A drop.
    Drop(Drop),
    /// A chain that looked like a ball and was refused.
    Refused(Refused),
}

impl Found {
    fn drop(&self) -> &Drop {
        match self {
            Self::Drop(drop) => drop,
            Self::Refused(refused) => &refused.drop,
        }
    }

    fn is_implausible(&self) -> bool {
        matches!(self, Self::Refused(r) if matches!(r.reason, Refusal::HeightImplausible { .. }))
    }
}

/// Chance chains an hour above which a chain is not believed.
pub const CHANCE_PER_HOUR: f64 = 0.25;
/// Chance chains an hour above which a chain is not even worth a refusal.
const NOT_BALL_LIKE_PER_HOUR: f64 = 20.0;
/// How many impacts are kept that may still belong to a drop.
pub const IMPACTS_KEPT: usize = 64;
/// How many times are kept of impacts that belonged to none.
const OTHERS_KEPT: usize = 256;
/// Seconds an impact is kept that belongs to no chain.
const KEPT_S: f64 = 5.0;
/// Seconds over which the rate of other impacts is taken.
const RATE_WINDOW_S: f64 = 25.0;
/// Where this many impacts came in the last [`KEPT_S`], no ball is looked for: it
/// could hardly be told from them.
const CROWDED: usize = 40;
/// A told height and the height found may differ by this share. Between them
/// stand the change of restitution with speed, the air and the tape measure.
pub const HEIGHT_TOLERANCE: f64 = 0.15;
/// Heights in metres a ball is dropped from by hand, where none is told. Below, the
/// bounces come as fast as syllables and steps, and talk makes balls.
pub const PLAUSIBLE_HEIGHT_M: (f64, f64) = (0.18, 3.0);
/// Chance chains an hour below which a drop makes its ball familiar.
const FAMILIAR_PER_HOUR: f64 = CHANCE_PER_HOUR / 10.0;
/// Seconds a hand takes at least between the last impact and the next release.
const HANDLING_S: f64 = 0.05;

/// Seconds a doubtful chain waits for a better one that shares its impacts.
const DOUBT_S: f64 = 3.0;

/// Finds drops in a stream of impacts. See the module.
#[derive(Debug, Clone)]
pub struct BallFinder {
    expected: Expected,
    /// Impacts that may still begin or join a drop, ascending.
    open: VecDeque<Impact>,
    /// Times of impacts that belonged to no drop, ascending, for the rate.
    others: VecDeque<f64>,
    /// Chains as the impacts stand, the one to be given first in front.
    chains: Vec<Candidate>,
    /// The last impact of the last drop.
    taken_until_s: f64,
}

/// A chain that looks like a ball, and what it will be if nothing more comes.
#[derive(Debug, Clone)]
struct Candidate {
    found: Found,
    last_s: f64,
    silent_at_s: f64,
}

impl BallFinder {
    /// A finder that knows the height of the drops in metres, or not. A height
    /// that is not positive and finite counts as not told.
    pub fn new(told_height_m: Option<f64>) -> Self {
        Self {
            expected: Expected {
                told_height_m: told_height_m.filter(|h| h.is_finite() && *h > 0.0),
                familiar: None,
            },
            open: VecDeque::with_capacity(IMPACTS_KEPT),
            others: VecDeque::with_capacity(OTHERS_KEPT),
            chains: Vec::new(),
            taken_until_s: f64::NEG_INFINITY,
        }
    }

    /// Takes an impact; gives what its coming shows to be over. Impacts come in
    /// the order of time (a few out of order are sorted in). An impact whose time
    /// is not finite is left out.
    pub fn push(&mut self, impact: Impact) -> Vec<Found> {
        if !impact.t_s.is_finite() {
            return Vec::new();
        }
        let found = self.advance(impact.t_s);
        if self.open.len() == IMPACTS_KEPT {
            self.retire_oldest();
        }
        let place = self.open.partition_point(|i| i.t_s <= impact.t_s);
        self.open.insert(place, impact);
        while self.is_stale(impact.t_s) {
            self.retire_oldest();
        }
        self.search(impact.t_s);
        found
    }

    /// Tells that every impact before `now_s` has been pushed; gives the drops
    /// that are over.
    pub fn advance(&mut self, now_s: f64) -> Vec<Found> {
        let mut found = Vec::new();
        while let Some(first) = self.chains.first() {
            if now_s.is_nan() || now_s < first.silent_at_s {
                break;
            }
            let (silent_at_s, first) = (first.silent_at_s, self.chains.remove(0));
            self.take(&first);
            found.push(first.found);
            self.search(silent_at_s);
        }
        found
    }

    /// Ends the stream: what was heard is all there is.
    pub fn finish(&mut self) -> Vec<Found> {
        let found = self.advance(f64::INFINITY);
        self.open.clear();
        found
    }

    /// Whether the oldest impact is too old and in no chain.
    fn is_stale(&self, now_s: f64) -> bool {
        let chain_s = self.chains.first().map(|c| c.found.drop().floor_s);
        self.open.front().is_some_and(|oldest| {
            oldest.t_s < now_s - KEPT_S && chain_s.is_none_or(|floor_s| oldest.t_s < floor_s)
        })
    }

    fn retire_oldest(&mut self) {
        if let Some(oldest) = self.open.pop_front() {
            self.remember_other(oldest.t_s);
        }
    }

    fn remember_other(&mut self, t_s: f64) {
        if self.others.len() == OTHERS_KEPT {
            self.others.pop_front();
        }
        self.others.push_back(t_s);
    }

    /// Takes a chain's impacts, and all before its last, out of the open ones.
    fn take(&mut self, candidate: &Candidate) {
        let drop = candidate.found.drop();
        while let Some(impact) = self.open.front().copied() {
            if impact.t_s > candidate.last_s {
                break;
            }
            self.open.pop_front();
            if !drop.impacts_s.contains(&impact.t_s) {
                self.remember_other(impact.t_s);
            }
        }
        self.taken_until_s = candidate.last_s;
        if let Found::Drop(drop) = &candidate.found
            && drop.chance_per_hour < FAMILIAR_PER_HOUR
        {
            self.expected.familiar = Some(Familiar {
                restitution: drop.restitution,
                fall_s: fall_time_s(drop.height_m),
            });
        }
    }

    /// Finds the chains among the open impacts: the least likely by chance first,
    /// then what does not overlap them; kept in the order of time.
    fn search(&mut self, now_s: f64) {
        self.chains.clear();
        let impacts = self.open.make_contiguous();
        let lately = impacts.iter().filter(|i| i.t_s > now_s - KEPT_S).count();
        if lately >= CROWDED {
            return;
        }
        let heard_s = now_s.clamp(3.0, RATE_WINDOW_S);
        let from_s = now_s - heard_s;
        let recent = self.others.iter().filter(|t| **t >= from_s).count();
        let count = recent + impacts.iter().filter(|i| i.t_s >= from_s).count();
        // One more than counted: no impact heard does not mean that none come.
        let rate_without =
            |explained: usize| (count.saturating_sub(explained) + 1) as f64 / heard_s;

        let mut candidates: Vec<(f64, Candidate)> = Vec::new();
        for start in 0..impacts.len() {
            let best = chain::best_from(impacts, start, &self.expected, rate_without(0));
            let Some(chain) = best else { continue };
            let per_hour = 3600.0 * chain.chance_per_s(rate_without(chain.explained()));
            if let Some(candidate) = self.expected.judge(&chain, impacts, per_hour) {
                let free_s = candidate.found.drop().release_s - HANDLING_S;
                if free_s >= self.taken_until_s {
                    candidates.push((per_hour, candidate));
                }
            }
        }
        // A chance bang before the floor can look like an earlier bounce from an
        // implausible height; the drop without it comes first.
        candidates.sort_by(|(a_chance, a), (b_chance, b)| {
            let implausible = |c: &Candidate| c.found.is_implausible();
            (implausible(a).cmp(&implausible(b))).then(a_chance.total_cmp(b_chance))
        });
        for (_, candidate) in candidates {
            if self.chains.iter().all(|taken| !taken.overlaps(&candidate)) {
                self.chains.push(candidate);
            }
        }
        self.chains.sort_by(|a, b| a.last_s.total_cmp(&b.last_s));
    }
}

impl Candidate {
    /// Whether the two cannot be drops of one ball, one after the other.
    fn overlaps(&self, other: &Self) -> bool {
        let span = |c: &Self| (c.found.drop().release_s - HANDLING_S, c.last_s);
        let (a, b) = (span(self), span(other));
        a.0 < b.1 && b.0 < a.1
    }
}

impl Expected {
    /// What a chain is: a drop, refused, or (`None`) nothing like a ball.
    fn judge(&self, chain: &Chain, impacts: &[Impact], per_hour: f64) -> Option<Candidate> {
        if per_hour > NOT_BALL_LIKE_PER_HOUR {
            return None;
        }
        let impacts_s: Vec<f64> = chain.members().map(|m| impacts[m].t_s).collect();
        let last_s = *impacts_s.last()?;
        let drop = Drop::from_impacts(impacts_s, chain.numbers(), self.told_height_m, per_hour);
        let found_m = drop.height_m;
        let familiar = self
            .familiar
            .is_some_and(|f| f.fits(drop.restitution, fall_time_s(found_m)));
        let enough = if self.told_height_m.is_some() || familiar {
            3
        } else {
            4
        };
        if chain.len() < enough {
            return None;
        }
        let plausible = (PLAUSIBLE_HEIGHT_M.0..=PLAUSIBLE_HEIGHT_M.1).contains(&found_m);
        let reason = match self.told_height_m {
            _ if per_hour > CHANCE_PER_HOUR => Some(Refusal::PerhapsChance { per_hour }),
            Some(told_m) if !self.agrees(found_m, HEIGHT_TOLERANCE) => {
                Some(Refusal::HeightDisagrees { found_m, told_m })
            }
            None if !plausible => Some(Refusal::HeightImplausible { found_m }),
            _ => None,
        };
        if reason.is_some() && chain.len() < 4 {
            return None;
        }
        let patience_s = match reason {
            Some(Refusal::PerhapsChance { .. }) => DOUBT_S,
            _ => 0.0,
        };
        Some(Candidate {
            found: match reason {
                None => Found::Drop(drop),
                Some(reason) => Found::Refused(Refused { drop, reason }),
            },
            last_s,
            silent_at_s: last_s + chain.silent_after_s() + patience_s,
        })
    }
}

#[cfg(test)]
#[path = "ball/tests.rs"]
mod tests;
