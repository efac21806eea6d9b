//! Groups of three impacts that prove each other.
//!
//! Where no drop alone has impacts enough, those of a drill still agree: the same first
//! interval, or at least the same ratio, over and over, with the pauses of a hand
//! between them. How many groups would agree by chance follows from the rate of
//! impacts (Poisson), and, where impacts do not come by chance (talk, steps, a beat),
//! from the same sound heard backwards: it holds as many such groups, and a ball none.

use super::Impact;
use super::familiar::is_beat;

/// First intervals and ratios of intervals that are looked at: talk is faster than the
/// one, a beat lies beside the other.
const FIRST_S: (f64, f64) = (0.3, 1.3);
const RATIO: (f64, f64) = (0.5, 0.93);
/// How near two groups of one ball lie in ratio, and in first interval as a share,
/// where the height is held and where it is not.
const SAME_RATIO: f64 = 0.03;
const SAME_FIRST: [f64; 2] = [0.06, 1.0];
/// Seconds without impacts before a group (the ball is in the hand, and falls), and
/// after it (it is caught and lifted).
const QUIET_BEFORE_S: f64 = 0.3;
const QUIET_AFTER_S: f64 = 0.7;
/// Impacts between those of a group at most.
const BETWEEN: usize = 2;
/// A step of level from bounce to bounce in dB, where levels are known.
const STEP_DB: (f64, f64) = (-22.0, 4.0);
/// Groups needed at least, and how likely chance may be to give as many anywhere.
const LEAST: usize = 4;
const BY_CHANCE: f64 = 1e-5;
/// So many times more groups than by chance.
const TIMES_CHANCE: f64 = 4.0;

/// Places of the impacts of one group.
pub type Group = [usize; 3];

/// A group with its first interval in seconds and its ratio.
type Seen = (Group, f64, f64);

/// The groups of three that prove each other a ball; none where they may be chance.
/// Impacts are ascending.
pub fn proven(impacts: &[Impact]) -> Vec<Group> {
    let (Some(first), Some(last)) = (impacts.first(), impacts.last()) else {
        return Vec::new();
    };
    let length_s = (last.t_s - first.t_s).max(10.0);
    let rate = impacts.len() as f64 / length_s;
    let seen = seen_in(impacts);
    if seen.len() < LEAST {
        return Vec::new();
    }
    let backwards: Vec<Impact> = impacts
        .iter()
        .rev()
        .map(|i| Impact { t_s: -i.t_s, ..*i })
        .collect();
    let control = seen_in(&backwards);
    let mut best: (f64, Vec<Group>) = (BY_CHANCE.ln(), Vec::new());
    for centre in &seen {
        for same_first in SAME_FIRST {
            let alike = agreeing(&seen, centre, same_first);
            let n = alike.len();
            let backwards = agreeing(&control, centre, same_first).len() as f64;
            let mean = by_chance(rate, length_s, centre.1, same_first) + backwards;
            if n < LEAST || (n as f64) < TIMES_CHANCE * mean {
                continue;
            }
            // As many places to look at as groups of that width fit in.
            let places = 30.0 / same_first.min(1.0);
            let ln_chance = ln_poisson_tail(mean, n) + places.ln();
            if ln_chance < best.0 {
                let alone = apart(impacts, alike);
                let floors: Vec<f64> = alone.iter().map(|g| impacts[g[0]].t_s).collect();
                let most = alone.len() * 5 >= n * 4 || alone.len() >= 2 * LEAST;
                if most && is_falling(impacts, &alone) && !is_beat(&floors) {
                    best = (ln_chance, alone);
                }
            }
        }
    }
    best.1
}

/// How many impacts, from the first on, look like one group of a ball's: two or three
/// with its intervals and quiet after them; 1 where the first stands alone.
pub fn length(impacts: &[Impact]) -> usize {
    let gap_s = |k: usize| match (impacts.get(k), impacts.get(k + 1)) {
        (Some(a), Some(b)) => b.t_s - a.t_s,
        _ => f64::INFINITY,
    };
    if !(FIRST_S.0..=FIRST_S.1).contains(&gap_s(0)) {
        return 1;
    }
    let ratio = gap_s(1) / gap_s(0);
    match ratio {
        r if r > 1.0 => 2,
        r if (RATIO.0..=RATIO.1).contains(&r) && gap_s(2) > gap_s(1) => 3,
        _ => 1,
    }
}

/// Every three impacts that could be a group.
fn seen_in(impacts: &[Impact]) -> Vec<Seen> {
    let mut seen = Vec::new();
    let step = |a: &Impact, b: &Impact| {
        let db = b.strength_db - a.strength_db;
        db.is_nan() || (STEP_DB.0..=STEP_DB.1).contains(&db)
    };
    for (i, a) in impacts.iter().enumerate() {
        let before = i.checked_sub(1).and_then(|k| impacts.get(k));
        if before.is_some_and(|b| a.t_s - b.t_s < QUIET_BEFORE_S) {
            continue;
        }
        for (j, b) in impacts.iter().enumerate().skip(i + 1).take(BETWEEN + 1) {
            let first_s = b.t_s - a.t_s;
            if first_s > FIRST_S.1 {
                break;
            }
            if first_s < FIRST_S.0 || !step(a, b) {
                continue;
            }
            for (k, c) in impacts.iter().enumerate().skip(j + 1).take(BETWEEN + 1) {
                let ratio = (c.t_s - b.t_s) / first_s;
                if ratio > RATIO.1 {
                    break;
                }
                if ratio >= RATIO.0
                    && step(b, c)
                    && is_quiet_after(impacts, k, ratio, c.t_s - b.t_s)
                {
                    seen.push(([i, j, k], first_s, ratio));
                }
            }
        }
    }
    seen
}

/// Whether nothing follows a group but its own further bounces.
fn is_quiet_after(impacts: &[Impact], last: usize, ratio: f64, interval_s: f64) -> bool {
    let last_s = impacts[last].t_s;
    let after = impacts.iter().skip(last + 1);
    let mut after = after.take_while(|i| i.t_s - last_s < QUIET_AFTER_S);
    after.all(|impact| {
        let (mut at_s, mut step_s) = (last_s, interval_s);
        (0..8).any(|_| {
            step_s *= ratio * 1.01;
            at_s += step_s;
            (impact.t_s - at_s).abs() < 0.06 * step_s + 0.01 * (at_s - last_s)
        })
    })
}

/// Groups like the one in the centre, in order of time, none over another.
fn agreeing(seen: &[Seen], centre: &Seen, same_first: f64) -> Vec<Group> {
    let mut alike: Vec<Group> = Vec::new();
    for (group, first_s, ratio) in seen {
        let near = (first_s / centre.1 - 1.0).abs() < same_first;
        // A lower drop has a slightly higher ratio; the width allows for it.
        if near
            && (ratio - centre.2).abs() < SAME_RATIO
            && alike.last().is_none_or(|last| last[2] < group[0])
        {
            alike.push(*group);
        }
    }
    alike
}

/// Whether the impacts of the groups get weaker, on average, as bounces do; true where
/// levels are not known.
fn is_falling(impacts: &[Impact], groups: &[Group]) -> bool {
    let step = |from: usize, to: usize| {
        let steps = groups
            .iter()
            .map(|g| impacts[g[to]].strength_db - impacts[g[from]].strength_db);
        steps.sum::<f64>() / groups.len().max(1) as f64
    };
    let (first_db, second_db) = (step(0, 1), step(1, 2));
    first_db.is_nan() || second_db.is_nan() || (first_db < -1.0 && second_db < -0.3)
}

/// Groups before which there was time to catch the ball, lift it and let it fall.
fn apart(impacts: &[Impact], groups: Vec<Group>) -> Vec<Group> {
    let mut kept: Vec<Group> = Vec::new();
    for group in groups {
        let first_s = impacts[group[1]].t_s - impacts[group[0]].t_s;
        let free = kept
            .last()
            .is_none_or(|last| impacts[group[0]].t_s - impacts[last[2]].t_s > 0.8 * first_s + 0.3);
        if free {
            kept.push(group);
        }
    }
    kept
}

/// Groups like one of first interval `first_s` that chance gives: impacts at a rate,
/// to the third, times the part of the plane of first and second interval.
fn by_chance(rate: f64, length_s: f64, first_s: f64, same_first: f64) -> f64 {
    let (low, high) = if same_first < 1.0 {
        (first_s * (1.0 - same_first), first_s * (1.0 + same_first))
    } else {
        FIRST_S
    };
    // ∫ 2·SAME_RATIO·T dT
    let area = SAME_RATIO * (high * high - low * low);
    rate.powi(3) * length_s * area
}

/// Log of the chance of `n` or more where `mean` are expected: the bound
/// exp(n − mean)·(mean/n)ⁿ (Chernoff).
fn ln_poisson_tail(mean: f64, n: usize) -> f64 {
    let n = n as f64;
    if n <= mean {
        return 0.0;
    }
    n - mean + n * (mean.max(1e-9) / n).ln()
}
