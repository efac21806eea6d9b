//! A session at one instant: acts, tries, pay and pairs, from which measures and
//! warnings are made.

use std::collections::HashSet;

use super::Setup;
use crate::measure::session::{Looked, Pace, Paid, Try, Warning, pace, treats, tries, warnings};
use crate::review::{Rules, judge};
use crate::timeline::session::{Act, ActKind, Happened, Log, acts, breaks};
use crate::timeline::{
    HeardSound, KnownMoment, Moment, MomentId, MomentKind, MomentSource, Outcome, Pair, Sound,
    SoundId, Window, pair,
};

/// A session at one instant: the measures' raw material.
#[derive(Debug, Clone)]
pub struct Looking {
    pub(super) acts: Vec<Act>,
    pub(super) tries: Vec<Try>,
    pub(super) paid: Paid,
    breaks: Vec<(f64, f64)>,
    pub(super) pairs: Vec<Pair>,
    /// Marks that no moment has, in seconds; strays where those are told.
    alone_s: Vec<f64>,
    pub(super) offer_strays_s: Vec<f64>,
    pub(super) now_s: f64,
}

impl Looking {
    /// Looks at a log at `now_s`; `is_over` says that nothing more comes.
    pub fn at(log: &Log, setup: &Setup, now_s: f64, is_over: bool) -> Self {
        let acts = acts(log, &setup.plan);
        let tries = tries(
            &acts,
            setup.rules.answer_within_s,
            if is_over { f64::INFINITY } else { now_s },
        );
        let paid = treats(&acts, setup.rules.treat_within_s, now_s, is_over);
        let mut pairs = lags(log, &acts, setup);
        let alone = |p: &Pair| p.mark_s.filter(|_| p.moment_s.is_none());
        let alone_s: Vec<f64> = pairs.iter().filter_map(alone).collect();
        let offer_strays_s = on_offers(&acts, &alone_s, setup);
        // Where most marks have no moment, nobody was keying them: a mark without
        // one is then no stray.
        let (moments, marks) = moments_and_marks(&pairs);
        if 2 * moments < marks {
            pairs.retain(|p| p.moment_s.is_some());
        }
        Self {
            breaks: breaks(log, now_s),
            acts,
            tries,
            paid,
            pairs,
            alone_s,
            offer_strays_s,
            now_s,
        }
    }

    /// The tries.
    pub fn tries(&self) -> &[Try] {
        &self.tries
    }

    /// What was paid.
    pub fn paid(&self) -> &Paid {
        &self.paid
    }

    /// The breaks, as (from, to) in seconds.
    pub fn breaks(&self) -> &[(f64, f64)] {
        &self.breaks
    }

    /// The acts.
    pub fn acts(&self) -> &[Act] {
        &self.acts
    }

    /// The pairs of moments and marks; strays only where [`Looking::tells_strays`].
    pub fn pairs(&self) -> &[Pair] {
        &self.pairs
    }

    /// Whether a mark without a moment can be called stray: moments were noted, at
    /// least half as many as there are marks.
    pub fn tells_strays(&self) -> bool {
        let has_moments = self.pairs.iter().any(|p| p.moment_s.is_some());
        let told = self.pairs.iter().filter(|p| p.outcome == Outcome::Stray);
        has_moments && told.count() == self.alone_s.len()
    }

    /// Moments that no mark came for, once none can come any more: `after_s` after
    /// them at the latest.
    pub fn missed(&self, after_s: f64) -> impl Iterator<Item = &Pair> {
        let is_over = move |p: &&Pair| p.moment_s.is_some_and(|t| self.now_s > t + after_s);
        let missed = self.pairs.iter().filter(|p| p.mark_s.is_none());
        missed.filter(is_over)
    }

    /// The newest moment whose mark, or whose lack of one, is known: a miss is
    /// known `after_s` after it. `None` as well where a later mark has no moment and,
    /// `before_s` after it, will get none.
    pub fn latest(&self, before_s: f64, after_s: f64) -> Option<&Pair> {
        let known = self.pairs.iter().filter(|p| p.lag_ms.is_some());
        let latest = known.chain(self.missed(after_s)).max_by(|a, b| {
            a.moment_s
                .unwrap_or(0.0)
                .total_cmp(&b.moment_s.unwrap_or(0.0))
        })?;
        let at_s = latest.mark_s.or(latest.moment_s)?;
        let is_later = |t: &f64| *t > at_s && self.now_s > *t + before_s;
        (!self.alone_s.iter().any(is_later)).then_some(latest)
    }

    /// The warnings whose rules hold, the weightiest first.
    pub fn warnings(&self, setup: &Setup) -> Vec<Warning> {
        let at = Looked {
            now_s: self.now_s,
            limit_s: setup.plan.length_min * 60.0,
            acts: &self.acts,
            tries: &self.tries,
            paid: &self.paid,
            offer_strays_s: &self.offer_strays_s,
            breaks: &self.breaks,
        };
        warnings(&at, &setup.rules)
    }

    /// The pace.
    pub fn pace(&self) -> Pace {
        pace(&self.times(ActKind::Mark), &self.breaks, self.now_s)
    }

    /// The instants of one kind of act, in seconds.
    pub(super) fn times(&self, kind: ActKind) -> Vec<f64> {
        self.acts
            .iter()
            .filter(|a| a.kind == kind)
            .map(|a| a.t_s)
            .collect()
    }
}

/// How many moments and how many marks there are in pairs.
fn moments_and_marks(pairs: &[Pair]) -> (usize, usize) {
    let moments = pairs.iter().filter(|p| p.moment_s.is_some());
    let marks = pairs.iter().filter(|p| p.mark_s.is_some());
    (moments.count(), marks.count())
}

/// Moments and marks paired, each lag with its uncertainty. What happens while
/// the bridge is paired with food is left out.
fn lags(log: &Log, acts: &[Act], setup: &Setup) -> Vec<Pair> {
    let Ok(window) = Window::new(setup.before_ms, setup.after_ms) else {
        return Vec::new();
    };
    let of = |kind: ActKind| acts.iter().filter(move |a| a.kind == kind && a.step > 0);
    let judged: HashSet<i64> = of(ActKind::Mark).map(|a| a.number).collect();
    let marks: Vec<HeardSound> = log
        .counted_entries()
        .into_iter()
        .filter(|entry| judged.contains(&entry.number))
        .filter_map(|entry| match &entry.event.what {
            Happened::Mark(sound) => Some(HeardSound {
                id: SoundId(entry.number),
                sound: Sound {
                    t_s: entry.event.t_s,
                    ..sound.clone()
                },
                u_ms: entry.event.u_ms,
            }),
            _ => None,
        })
        .collect();
    let moments: Vec<KnownMoment> = of(ActKind::Reached)
        .map(|a| KnownMoment {
            id: MomentId(a.number),
            moment: Moment {
                t_s: a.t_s,
                kind: MomentKind::Behaviour,
                source: MomentSource::Hand,
                label: String::new(),
            },
            u_ms: Some(a.u_ms),
        })
        .collect();
    // The mean uncertainty of the moments, whoever told them.
    let u_ms: f64 = of(ActKind::Reached).map(|a| a.u_ms).sum::<f64>() / moments.len().max(1) as f64;
    let rules = Rules {
        aim: setup.aim,
        window,
        ball_m: setup.clicker_m,
        clicker_m: setup.clicker_m,
        known_within_m: setup.known_within_m,
        file_step_ms: 0.0,
        hand_u_ms: u_ms,
    };
    judge(&marks, &moments, &rules).pairs
}

/// Marks that no moment earned and that follow an unasked offer of something
/// that is on cue: the cheapest pairing of offers and such marks.
fn on_offers(acts: &[Act], alone_s: &[f64], setup: &Setup) -> Vec<f64> {
    let offers: Vec<f64> = acts
        .iter()
        .filter(|a| a.kind == ActKind::Offer)
        .map(|a| a.t_s)
        .collect();
    let Ok(window) = Window::new(setup.before_ms, setup.after_ms) else {
        return Vec::new();
    };
    pair(&offers, alone_s, window, setup.aim)
        .into_iter()
        .filter(|p| p.moment_s.is_some())
        .filter_map(|p| p.mark_s)
        .collect()
}
