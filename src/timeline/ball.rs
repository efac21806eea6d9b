//! Finds dropped balls among impacts, as they come.
//!
//! A ball is a chain of impacts whose intervals shrink by a nearly constant
//! ratio, from a plausible height. Any other bangs may lie between, and a bounce
//! may be missed: a chain counts only where chance, at the rate of the impacts
//! around it, would give one as ball-like at most [`CHANCE_PER_HOUR`] times an
//! hour (see `ball/chance.rs` for the argument).
//!
//! **One drill, one ball.** What its drops share (how the ball bounces, the height,
//! its level and its sound) is learned from those that are plain alone, and lends the
//! others their proof (`ball/familiar.rs`). A plain drop has four impacts, or three
//! where the height was told or one drop is known; once two drops agree, two impacts
//! are enough. Where no drop is plain, groups of three prove each other
//! (`ball/groups.rs`). At the end all impacts are gone through once more with what was
//! learned by then: that adds drops and moves none.
//!
//! **Latency.** Of a familiar ball the floor is given at the second impact, and the
//! drop once more, settled, when the ball is silent; else a drop is given once the
//! ball is silent: when neither the next bounce nor the one after it came.
//!
//! **One ball at a time.** Drops do not overlap: a new one needs a release after
//! the last impact of the one before, with the time a hand takes.
//!
//! **What it cannot know.** Where the first impact was not heard, the rest is a
//! lower drop: only a told height, or the drops before, tell.
//!
//! **Memory** is fixed ([`IMPACTS_KEPT`], [`IMPACTS_OF_ALL`]). The result depends on
//! the impacts only, not on how often the time is told between them.

mod bounce;
mod chain;
mod chance;
mod drop;
mod familiar;
mod groups;
mod kind;
mod second;

use std::collections::VecDeque;

use bounce::Bouncing;
use chain::Chain;
use chance::Expected;
pub use drop::{Drop, Refusal, Refused, moment_of};
use familiar::Familiar;
pub use kind::BallKind;
pub use second::Unproven;

use crate::ear::Print;

/// One impact as the ear gives it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Impact {
    /// The instant, in seconds from the first sample heard.
    pub t_s: f64,
    /// Its level in dB; only differences are used, and only as a hint. NaN says
    /// that it is not known.
    pub strength_db: f64,
    /// What it sounds like, where that is known.
    pub print: Option<Print>,
}

/// What the finder found.
#[derive(Debug, Clone, PartialEq)]
pub enum Found {
    /// A drop; one that was given before it was settled comes again with its floor.
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
/// The same for a familiar ball within [`DRILL_S`] of a drop that is sure: there a
/// drop is to be expected.
const IN_DRILL_PER_HOUR: f64 = 2.0;
const DRILL_S: f64 = 40.0;
/// Chance chains an hour above which a drop is not given before it is settled.
const EARLY_PER_HOUR: f64 = 0.05;
/// Chance chains an hour above which a chain is not even worth a refusal.
const NOT_BALL_LIKE_PER_HOUR: f64 = 20.0;
/// How many impacts are kept that may still belong to a drop.
pub const IMPACTS_KEPT: usize = 64;
/// How many impacts are kept for the end.
pub const IMPACTS_OF_ALL: usize = 8192;
/// How many times are kept of impacts that belonged to none.
const OTHERS_KEPT: usize = 256;
/// Seconds an impact is kept that belongs to no chain.
const KEPT_S: f64 = 5.0;
/// Seconds over which the rate of other impacts is taken.
const RATE_WINDOW_S: f64 = 25.0;
/// Where this many impacts came in the last [`KEPT_S`], no ball is looked for: it
/// could hardly be told from them.
const CROWDED: usize = 40;
/// A told height and the height found may differ by this share, or by one and a half
/// times the uncertainty of what was found. Between them stand the restitution's fall with
/// speed, the air and the tape measure.
pub const HEIGHT_TOLERANCE: f64 = 0.15;
/// Heights in metres a ball is dropped from by hand, where none is told. Below, the
/// bounces come as fast as syllables and steps, and talk makes balls.
pub const PLAUSIBLE_HEIGHT_M: (f64, f64) = (0.18, 3.0);
/// Chance chains an hour below which a drop teaches what drops share.
const FAMILIAR_PER_HOUR: f64 = CHANCE_PER_HOUR / 10.0;
/// While no ball is familiar, groups that prove each other are looked for after so many
/// impacts, among so many.
const GROUPS_EVERY: usize = 12;
const GROUPS_AMONG: usize = 512;
/// Drops that must agree before two impacts are enough.
const DROPS_AGREE: usize = 2;
/// Seconds a hand takes at least between the last impact and the next release.
const HANDLING_S: f64 = 0.05;

/// Impacts this soon after a louder one may be its echo, or the ball's second blow on
/// a hollow floor: their chain comes after that of the louder ones.
const SHADOW_S: f64 = 0.08;
const SHADOW_DB: f64 = 3.0;

/// Seconds a doubtful chain waits for a better one that shares its impacts.
const DOUBT_S: f64 = 3.0;

/// Finds drops in a stream of impacts. See the module.
#[derive(Debug, Clone)]
pub struct BallFinder {
    expected: Expected,
    familiar: Familiar,
    /// All impacts, for the end.
    all: VecDeque<Impact>,
    /// Impacts that may still begin or join a drop, ascending.
    open: VecDeque<Impact>,
    /// Times of impacts that belonged to no drop, ascending, for the rate.
    others: VecDeque<f64>,
    /// Chains as the impacts stand, the one to be given first in front.
    chains: Vec<Candidate>,
    /// The floor that was given before it was settled.
    early_s: Option<f64>,
    /// The last impact of the last drop.
    taken_until_s: f64,
    /// Drops that were given.
    given: Vec<Drop>,
    /// Drops that were refused because they speak against the told height.
    disagreeing: Vec<Drop>,
    /// Impacts since groups were last looked for.
    since_groups: usize,
    unproven: Unproven,
}

/// A chain that looks like a ball, and what it will be if nothing more comes.
#[derive(Debug, Clone)]
struct Candidate {
    found: Found,
    impacts: Vec<Impact>,
    numbers: Vec<u8>,
    last_s: f64,
    silent_at_s: f64,
    /// Whether it may be given before it is settled.
    may_be_early: bool,
    /// Whether a louder impact lies just before its floor: it may be that one's echo.
    is_shadow: bool,
}

impl BallFinder {
    /// A finder that knows the height of the drops in metres, or not. A height
    /// that is not positive and finite counts as not told.
    pub fn new(told_height_m: Option<f64>) -> Self {
        Self {
            expected: Expected {
                told_height_m: told_height_m.filter(|h| h.is_finite() && *h > 0.0),
            },
            familiar: Familiar::new(Bouncing::new(None)),
            all: VecDeque::new(),
            open: VecDeque::with_capacity(IMPACTS_KEPT),
            others: VecDeque::with_capacity(OTHERS_KEPT),
            chains: Vec::new(),
            early_s: None,
            taken_until_s: f64::NEG_INFINITY,
            given: Vec::new(),
            disagreeing: Vec::new(),
            since_groups: 0,
            unproven: Unproven::default(),
        }
    }

    /// The same for a kind of ball.
    #[must_use]
    pub fn with_ball(mut self, kind: Option<BallKind>) -> Self {
        self.familiar = Familiar::new(Bouncing::new(kind));
        self
    }

    /// Takes an impact; gives what its coming shows to be over, and a floor of the
    /// familiar ball. Impacts come in the order of time (a few out of order are sorted
    /// in). An impact whose time is not finite is left out.
    pub fn push(&mut self, impact: Impact) -> Vec<Found> {
        if !impact.t_s.is_finite() {
            return Vec::new();
        }
        let mut found = self.advance(impact.t_s);
        if self.open.len() == IMPACTS_KEPT {
            self.retire_oldest();
        }
        if self.all.len() == IMPACTS_OF_ALL {
            self.all.pop_front();
        }
        for list in [&mut self.open, &mut self.all] {
            let place = list.partition_point(|i| i.t_s <= impact.t_s);
            list.insert(place, impact);
        }
        while self.is_stale(impact.t_s) {
            self.retire_oldest();
        }
        self.since_groups += 1;
        if self.familiar.drops() == 0 && self.since_groups >= GROUPS_EVERY {
            self.since_groups = 0;
            let lately = self.all.len().saturating_sub(GROUPS_AMONG);
            let lately: Vec<Impact> = self.all.iter().skip(lately).copied().collect();
            self.learn_groups(&lately);
        }
        self.search(impact.t_s);
        found.extend(self.early());
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

    /// The floor of a familiar ball as soon as its second impact is heard.
    fn early(&mut self) -> Option<Found> {
        let first = self.chains.first()?;
        let drop = first.found.drop();
        if !first.may_be_early || self.early_s.is_some() {
            return None;
        }
        self.early_s = Some(drop.floor_s);
        let early = Drop {
            is_settled: false,
            ..drop.clone()
        };
        Some(Found::Drop(early))
    }

    /// Ends the stream: what was heard is all there is. Drops that were given stand;
    /// there may be more.
    pub fn finish(&mut self) -> Vec<Found> {
        let mut found = self.advance(f64::INFINITY);
        self.open.clear();
        found.extend(self.look_again());
        self.all.clear();
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
            self.remember_other(&oldest);
        }
    }

    fn remember_other(&mut self, impact: &Impact) {
        if self.others.len() == OTHERS_KEPT {
            self.others.pop_front();
        }
        self.others.push_back(impact.t_s);
        self.familiar.other(impact);
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
                self.remember_other(&impact);
            }
        }
        self.taken_until_s = candidate.last_s;
        self.early_s = None;
        match &candidate.found {
            Found::Drop(drop) => {
                self.given.push(drop.clone());
                if drop.chance_per_hour < FAMILIAR_PER_HOUR {
                    let told_m = self.expected.told_height_m;
                    self.familiar
                        .learn(&candidate.impacts, &candidate.numbers, told_m);
                }
            }
            Found::Refused(Refused {
                drop,
                reason: Refusal::HeightDisagrees { .. },
            }) => self.disagreeing.push(drop.clone()),
            Found::Refused(_) => {}
        }
    }

    /// Finds the chains among the open impacts: the least likely by chance first,
    /// then what does not overlap them; kept in the order of time. A drop that was
    /// given stays.
    fn search(&mut self, now_s: f64) {
        self.chains.clear();
        self.open.make_contiguous();
        let (impacts, _) = self.open.as_slices();
        let lately = impacts.iter().filter(|i| i.t_s > now_s - KEPT_S).count();
        if lately >= CROWDED && self.early_s.is_none() {
            return;
        }
        let heard_s = now_s.clamp(3.0, RATE_WINDOW_S);
        let from_s = now_s - heard_s;
        let recent = self.others.iter().filter(|t| **t >= from_s).count();
        let rates = Rates {
            count: recent + impacts.iter().filter(|i| i.t_s >= from_s).count(),
            heard_s,
        };
        let mut candidates: Vec<Candidate> = Vec::new();
        for start in 0..impacts.len() {
            let is_given = self.early_s == Some(impacts[start].t_s);
            let Some(candidate) = self.candidate(impacts, start, rates) else {
                continue;
            };
            let free_s = candidate.found.drop().release_s - HANDLING_S;
            if is_given || free_s >= self.taken_until_s {
                candidates.push(candidate);
            }
        }
        self.chains = chosen(candidates, self.early_s);
    }

    /// The best chain from an impact on, if it looks like a ball.
    fn candidate(&self, impacts: &[Impact], start: usize, rates: Rates) -> Option<Candidate> {
        let rate = rates.without(0);
        let known = (self.familiar.drops() > 0)
            .then(|| chain::familiar_from(impacts, start, &self.familiar, rate))
            .flatten();
        if let Some(chain) = known {
            let per_hour = rates.per_hour(&chain);
            if let Some(candidate) = self.judge(&chain, impacts, per_hour, true) {
                return Some(candidate);
            }
        }
        let chain = chain::best_from(impacts, start, &self.expected, rate)?;
        self.judge(&chain, impacts, rates.per_hour(&chain), false)
    }

    /// What a chain is: a drop, refused, or (`None`) nothing like a ball.
    fn judge(
        &self,
        chain: &Chain,
        impacts: &[Impact],
        per_hour: f64,
        is_familiar: bool,
    ) -> Option<Candidate> {
        let members: Vec<Impact> = chain.members().map(|m| impacts[m]).collect();
        let floor_s = members.first()?.t_s;
        let last_s = members.last()?.t_s;
        let is_given = self.early_s == Some(floor_s);
        let agree = self.familiar.drops() >= DROPS_AGREE;
        let enough = match (is_familiar, self.expected.told_height_m) {
            (true, _) if agree => 2,
            (true, _) | (_, Some(_)) => 3,
            _ => 4,
        };
        if !is_given && (per_hour > NOT_BALL_LIKE_PER_HOUR || chain.len() < enough) {
            return None;
        }
        let told_m = self.expected.told_height_m;
        let times: Vec<f64> = members.iter().map(|i| i.t_s).collect();
        // The drop teaches how its ball bounces before it is measured by that.
        let mut bouncing = self.familiar.bouncing().clone();
        let intervals = Drop::intervals(&times, chain.numbers());
        bouncing.learn(&intervals, bounce::INSTANT_SD_S, None);
        let drop = Drop::from_impacts(times, chain.numbers(), &bouncing, told_m, per_hour);
        let is_in_drill = is_familiar && agree && self.familiar.is_near(floor_s, DRILL_S);
        let most = if is_in_drill && chain.len() > 2 {
            IN_DRILL_PER_HOUR
        } else {
            CHANCE_PER_HOUR
        };
        let reason = self.refusal(&drop, per_hour, most).filter(|_| !is_given);
        if reason.is_some() && chain.len() < 4 {
            return None;
        }
        let patience_s = match reason {
            Some(Refusal::PerhapsChance { .. }) => DOUBT_S,
            _ => 0.0,
        };
        Some(Candidate {
            may_be_early: reason.is_none()
                && is_in_drill
                && per_hour < EARLY_PER_HOUR
                && chain.numbers()[1] == 1,
            found: match reason {
                None => Found::Drop(drop),
                Some(reason) => Found::Refused(Refused { drop, reason }),
            },
            is_shadow: is_shadow(impacts, floor_s, members[0].strength_db),
            impacts: members,
            numbers: chain.numbers().to_vec(),
            last_s,
            silent_at_s: last_s + chain.silent_after_s() + patience_s,
        })
    }

    fn refusal(&self, drop: &Drop, per_hour: f64, most_per_hour: f64) -> Option<Refusal> {
        let found_m = drop.height_m;
        match self.expected.told_height_m {
            _ if per_hour > most_per_hour => Some(Refusal::PerhapsChance { per_hour }),
            Some(told_m) if !drop.agrees_with(told_m) => {
                Some(Refusal::HeightDisagrees { found_m, told_m })
            }
            None if !drop.is_plausible() => Some(Refusal::HeightImplausible { found_m }),
            _ => None,
        }
    }
}

/// How many impacts came lately, in how many seconds.
#[derive(Debug, Clone, Copy)]
struct Rates {
    count: usize,
    heard_s: f64,
}

impl Rates {
    /// Impacts a second without those that are explained. One more than counted: no
    /// impact heard does not mean that none come.
    fn without(self, explained: usize) -> f64 {
        (self.count.saturating_sub(explained) + 1) as f64 / self.heard_s
    }

    /// Times an hour that chance gives a chain as ball-like.
    fn per_hour(self, chain: &Chain) -> f64 {
        3600.0 * chain.chance_per_s(self.without(chain.explained()))
    }
}

/// The candidates that can be drops of one ball, one after the other: what was given
/// already, then the least likely by chance; in the order of time.
fn chosen(mut candidates: Vec<Candidate>, given_s: Option<f64>) -> Vec<Candidate> {
    // A chance bang before the floor can look like an earlier bounce from an
    // implausible height; the drop without it comes first.
    candidates.sort_by(|a, b| {
        let later = |c: &Candidate| {
            let drop = c.found.drop();
            (
                given_s != Some(drop.floor_s),
                c.found.is_implausible(),
                c.is_shadow,
            )
        };
        let chance = |c: &Candidate| c.found.drop().chance_per_hour;
        (later(a).cmp(&later(b))).then(chance(a).total_cmp(&chance(b)))
    });
    let mut chosen: Vec<Candidate> = Vec::new();
    for candidate in candidates {
        if chosen.iter().all(|taken| !taken.overlaps(&candidate)) {
            chosen.push(candidate);
        }
    }
    chosen.sort_by(|a, b| a.last_s.total_cmp(&b.last_s));
    chosen
}

/// Whether an impact louder by [`SHADOW_DB`] lies less than [`SHADOW_S`] before a floor.
fn is_shadow(impacts: &[Impact], floor_s: f64, floor_db: f64) -> bool {
    impacts
        .iter()
        .filter(|i| i.t_s < floor_s && i.t_s > floor_s - SHADOW_S)
        .any(|i| i.strength_db > floor_db + SHADOW_DB)
}

impl Candidate {
    /// Whether the two cannot be drops of one ball, one after the other.
    fn overlaps(&self, other: &Self) -> bool {
        let span = |c: &Self| (c.found.drop().release_s - HANDLING_S, c.last_s);
        let (a, b) = (span(self), span(other));
        a.0 < b.1 && b.0 < a.1
    }
}

#[cfg(test)]
#[path = "ball/tests.rs"]
mod tests;

#[cfg(test)]
#[path = "ball/drill_tests.rs"]
mod drill_tests;

#[cfg(test)]
#[path = "ball/bad_input_tests.rs"]
mod bad_input_tests;
