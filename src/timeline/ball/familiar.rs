//! What the drops of one drill share: how the ball bounces, from how high it falls,
//! how loud it is and how it sounds.

use super::bounce::{Bouncing, INSTANT_SD_S};
use super::{Drop, Impact};
use crate::ear::Print;

/// Drops that are remembered.
const DROPS_KEPT: usize = 32;
/// Prints of the ball that an impact is held against, of its floors and of its
/// second impacts, and of other impacts.
const PRINTS_KEPT: usize = 10;
/// Least share by which first intervals differ from drop to drop, by how many drops
/// are known: a hand holds a height to a few centimetres.
const FIRST_SHARE: f64 = 0.02;
const FIRST_SHARE_OF_ONE: f64 = 0.12;
/// Share of drops from another height than those before.
const ANOTHER_HEIGHT: f64 = 0.2;
/// First intervals in seconds that any ball and height may give.
pub const ANY_FIRST_S: (f64, f64) = (0.2, 1.4);
/// Least spread of floors' levels in dB, and of likenesses.
const LEVEL_SD_DB: f64 = 3.0;
const ALIKE_SD: f64 = 0.08;
/// Likeness of other sounds to a ball, before any was heard: mean, deviation.
const OTHERS_ALIKE: (f64, f64) = (0.35, 0.25);
/// A print says this much at most for the ball, as a log of likelihood, and half of it
/// against: late bounces drown.
const PRINT_SAYS: f64 = 4.0;
/// Of fewer drops than this nothing is said against the ball.
const FEW: usize = 6;
/// A second impact is weaker than its floor, on average, in dB.
const SECOND_WEAKER_DB: f64 = 0.0;
/// Seconds from drop to drop below which a steady measure is music.
const FASTEST_DRILL_S: f64 = 4.5;
/// Steps of the table of intervals, from [`TABLE_FROM_S`] on.
const TABLE_STEPS: usize = 80;
const TABLE_FROM_S: f64 = 0.04;
const TABLE_STEP_S: f64 = 0.02;

/// One drop as far as others are held against it.
#[derive(Debug, Clone)]
struct Known {
    floor_s: f64,
    first_s: f64,
    floor_db: f64,
    second_db: f64,
    prints: [Option<Print>; 2],
}

/// What is known of the ball of this drill.
#[derive(Debug, Clone)]
pub struct Familiar {
    bouncing: Bouncing,
    drops: Vec<Known>,
    others: Vec<Print>,
    others_seen: usize,
    /// Mean and deviation of the log of the first interval.
    ln_first: (f64, f64),
    /// Mean and deviation of the floors' level.
    floor_db: Option<(f64, f64)>,
    /// Mean and deviation of the likeness of the ball's impacts, and of others.
    alike: Option<[(f64, f64); 2]>,
    /// The interval after one of [`TABLE_FROM_S`] + n steps, and its deviation.
    table: Vec<(f64, f64)>,
}

/// Whether instants come in a steady measure, or in multiples of one, faster than a hand
/// drops a ball.
pub fn is_beat(floors_s: &[f64]) -> bool {
    let mut gaps: Vec<f64> = floors_s.windows(2).map(|w| w[1] - w[0]).collect();
    gaps.sort_by(f64::total_cmp);
    let Some(middle) = gaps.get(gaps.len() / 2) else {
        return false;
    };
    let near = gaps.iter().filter(|g| (*g / middle - 1.0).abs() < 0.04);
    *middle < FASTEST_DRILL_S && near.count() * 2 > gaps.len()
}

fn mean_and_sd(values: impl Iterator<Item = f64> + Clone) -> Option<(f64, f64)> {
    let n = values.clone().count();
    if n == 0 {
        return None;
    }
    let mean = values.clone().sum::<f64>() / n as f64;
    let squares: f64 = values.map(|v| (v - mean).powi(2)).sum();
    Some((mean, (squares / (n.max(2) - 1) as f64).sqrt()))
}

fn ln_normal(value: f64, (mean, sd): (f64, f64)) -> f64 {
    let z = (value - mean) / sd;
    -z * z / 2.0 - (sd * std::f64::consts::TAU.sqrt()).ln()
}

impl Familiar {
    /// Nothing is known yet but how balls of this sort bounce.
    pub fn new(bouncing: Bouncing) -> Self {
        Self {
            bouncing,
            drops: Vec::new(),
            others: Vec::new(),
            others_seen: 0,
            ln_first: (0.0, 1.0),
            floor_db: None,
            alike: None,
            table: Vec::new(),
        }
    }

    /// How many drops are known; none where what was taken for drops is no ball.
    pub fn drops(&self) -> usize {
        if self.is_ball() { self.drops.len() } else { 0 }
    }

    /// Whether the second impacts are weaker than the floors, on average, and the floors
    /// do not come in a steady measure faster than a hand drops a ball. True of few.
    fn is_ball(&self) -> bool {
        if self.drops.len() < FEW {
            return true;
        }
        let steps = self.drops.iter().map(|d| d.second_db - d.floor_db);
        let step_db = mean_and_sd(steps.collect::<Vec<_>>().into_iter());
        // NaN, where levels are not known, says nothing against it.
        let is_loud = step_db.is_some_and(|(mean, _)| mean > SECOND_WEAKER_DB);
        let mut floors: Vec<f64> = self.drops.iter().map(|d| d.floor_s).collect();
        floors.sort_by(f64::total_cmp);
        !is_loud && !is_beat(&floors)
    }

    /// How the ball bounces.
    pub fn bouncing(&self) -> &Bouncing {
        &self.bouncing
    }

    /// Whether a floor lies within `within_s` of a drop that is known.
    pub fn is_near(&self, floor_s: f64, within_s: f64) -> bool {
        self.drops
            .iter()
            .any(|d| (d.floor_s - floor_s).abs() < within_s)
    }

    /// Remembers an impact that is none of the ball's.
    pub fn other(&mut self, impact: &Impact) {
        if let Some(print) = impact.print {
            if self.others.len() < PRINTS_KEPT {
                self.others.push(print);
            } else {
                self.others[self.others_seen % PRINTS_KEPT] = print;
            }
            self.others_seen += 1;
        }
    }

    /// Learns from a drop that is sure, whose impacts are given with their bounces'
    /// numbers.
    pub fn learn(&mut self, impacts: &[Impact], numbers: &[u8], told_m: Option<f64>) {
        let times: Vec<f64> = impacts.iter().map(|i| i.t_s).collect();
        let intervals = Drop::intervals(&times, numbers);
        self.bouncing.learn(&intervals, INSTANT_SD_S, told_m);
        let (Some(floor), Some(second)) = (impacts.first(), impacts.get(1)) else {
            return;
        };
        let gap_s = second.t_s - floor.t_s;
        let first_s = if numbers.get(1) == Some(&1) {
            gap_s
        } else {
            self.bouncing.first_of_two_s(gap_s)
        };
        if self.drops.len() == DROPS_KEPT {
            self.drops.remove(0);
        }
        self.drops.push(Known {
            floor_s: floor.t_s,
            first_s,
            floor_db: floor.strength_db,
            second_db: second.strength_db,
            prints: [floor.print, second.print],
        });
        self.settle();
    }

    /// Works out what the drops share.
    fn settle(&mut self) {
        let n = self.drops.len() as f64;
        let least = FIRST_SHARE.hypot(FIRST_SHARE_OF_ONE / (n * n));
        let first = self.drops.iter().map(|d| d.first_s.ln());
        if let Some((mean, sd)) = mean_and_sd(first) {
            self.ln_first = (mean, sd.hypot(least));
        }
        let floors = self.drops.iter().map(|d| d.floor_db);
        let floors: Vec<f64> = floors.filter(|db| db.is_finite()).collect();
        self.floor_db = mean_and_sd(floors.iter().copied())
            .filter(|_| floors.len() > 2)
            .map(|(mean, sd)| (mean, sd.max(LEVEL_SD_DB)));
        self.table = (0..TABLE_STEPS)
            .map(|k| {
                let interval_s = TABLE_FROM_S + k as f64 * TABLE_STEP_S;
                self.bouncing.next_s(interval_s, INSTANT_SD_S)
            })
            .collect();
        self.settle_prints();
    }

    fn settle_prints(&mut self) {
        let floors: Vec<Print> = self.prints(0).copied().collect();
        self.alike = None;
        if floors.len() < 2 {
            return;
        }
        // Each floor against the others; itself among them is taken off again.
        let k = floors.len() as f64;
        let own = floors
            .iter()
            .map(|p| (self.likeness(p, 0) * k - 1.0) / (k - 1.0));
        let own: Vec<f64> = own.collect();
        let others = self.others.iter().map(|p| self.likeness(p, 0));
        let others: Vec<f64> = others.collect();
        let Some((own, own_sd)) = mean_and_sd(own.into_iter()) else {
            return;
        };
        // What is known of other sounds counts as four of them.
        let m = others.len() as f64;
        let (heard, heard_sd) = mean_and_sd(others.into_iter()).unwrap_or(OTHERS_ALIKE);
        let mean = (4.0 * OTHERS_ALIKE.0 + m * heard) / (4.0 + m);
        let square = (4.0 * OTHERS_ALIKE.1.powi(2) + m * heard_sd.powi(2)) / (4.0 + m);
        self.alike = Some([
            (own, own_sd.max(ALIKE_SD)),
            (mean.min(own - ALIKE_SD), square.sqrt().max(ALIKE_SD)),
        ]);
    }

    fn prints(&self, bounce: usize) -> impl Iterator<Item = &Print> {
        let kept = self.drops.iter().rev();
        kept.filter_map(move |d| d.prints[bounce].as_ref())
            .take(PRINTS_KEPT)
    }

    /// Mean likeness of a print to the ball's floors or second impacts.
    fn likeness(&self, print: &Print, bounce: usize) -> f64 {
        let all = self.prints(bounce).map(|p| f64::from(p.alike(print)));
        mean_and_sd(all.collect::<Vec<_>>().into_iter()).map_or(0.0, |m| m.0)
    }

    /// Log of how much likelier an impact's print is of this ball than of chance.
    pub fn ln_print(&self, impact: &Impact) -> f64 {
        let (Some(print), Some([own, others])) = (&impact.print, self.alike) else {
            return 0.0;
        };
        let alike = self
            .likeness(print, 0)
            .max(self.likeness(print, 1))
            .min(own.0);
        (ln_normal(alike, own) - ln_normal(alike, others)).clamp(-PRINT_SAYS / 2.0, PRINT_SAYS)
    }

    /// Log of how much likelier an impact is as a floor, by its level and its print.
    pub fn ln_floor(&self, impact: &Impact) -> f64 {
        const BY_CHANCE_PER_DB: f64 = 1.0 / 40.0;
        let level = self.floor_db.filter(|_| impact.strength_db.is_finite());
        let level = level.map_or(0.0, |known| {
            (ln_normal(impact.strength_db, known) - BY_CHANCE_PER_DB.ln()).max(-3.0)
        });
        level + self.ln_print(impact)
    }

    /// Log density (per second) of a first interval.
    pub fn ln_first(&self, first_s: f64) -> f64 {
        let near = ln_normal(first_s.ln(), self.ln_first).exp() / first_s;
        let any = (ANY_FIRST_S.0..=ANY_FIRST_S.1).contains(&first_s);
        let far = f64::from(u8::from(any)) / (ANY_FIRST_S.1 - ANY_FIRST_S.0);
        ((1.0 - ANOTHER_HEIGHT) * near + ANOTHER_HEIGHT * far + 1e-12).ln()
    }

    /// The interval after one of `interval_s`, and its standard deviation.
    pub fn next_s(&self, interval_s: f64) -> (f64, f64) {
        let place = ((interval_s - TABLE_FROM_S) / TABLE_STEP_S).max(0.0);
        let k = (place as usize).min(TABLE_STEPS.saturating_sub(2));
        let (Some(a), Some(b)) = (self.table.get(k), self.table.get(k + 1)) else {
            return (0.75 * interval_s, 0.1 * interval_s);
        };
        let part = place - k as f64;
        (a.0 + part * (b.0 - a.0), a.1.max(b.1))
    }
}
