//! The search for chains: every three impacts that could open a drop, continued
//! as far as bounces come when they should.

use super::Impact;
use super::chance::{
    Expected, FALL_S, Opening, RATTLE_S, REACH_SD, RESTITUTION, SECOND_MISSED, ln_level,
    ln_rattle_density, next_by_ratio, predict,
};
use super::familiar::{ANY_FIRST_S, Familiar};

/// Impacts in a chain at most; a ball that bounces on is heard no further.
pub const LONGEST: usize = 32;
/// Intervals in seconds below which bounces run together.
const SHORTEST_INTERVAL_S: f64 = 0.03;
/// The widest first gap in seconds: two intervals, the second bounce missed.
const WIDEST_GAP_S: f64 = 2.4;

/// A chain of impacts that may be a ball.
#[derive(Debug, Clone, Copy)]
pub struct Chain {
    /// Places of the impacts in the list searched.
    members: [u8; LONGEST],
    /// The bounces' numbers, from 0 for the first impact.
    numbers: [u8; LONGEST],
    len: usize,
    /// Log density of the chain if it is a ball's.
    ln_density: f64,
    /// Further impacts explained as rattle.
    rattles: usize,
    /// Log of the chance at the rate the search was given.
    ln_chance: f64,
    /// The last interval and the ratio that predicts the next.
    last_interval_s: f64,
    ratio: f64,
}

impl Chain {
    /// How many impacts.
    pub fn len(&self) -> usize {
        self.len
    }

    /// Places of the impacts in the list searched, ascending.
    pub fn members(&self) -> impl Iterator<Item = usize> + '_ {
        self.members[..self.len].iter().map(|&m| usize::from(m))
    }

    /// The bounces' numbers, from 0.
    pub fn numbers(&self) -> &[u8] {
        &self.numbers[..self.len]
    }

    /// Impacts of the chain and its rattle: those it explains.
    pub fn explained(&self) -> usize {
        self.len + self.rattles
    }

    /// Times a second that chance gives a chain as ball-like as this, at most,
    /// where impacts come at `rate_per_s`.
    pub fn chance_per_s(&self, rate_per_s: f64) -> f64 {
        (self.explained() as f64 * rate_per_s.ln() - self.ln_density).exp()
    }

    /// Seconds after the last impact at which the ball is known to be silent:
    /// neither the next bounce nor the one after it came.
    pub fn silent_after_s(&self) -> f64 {
        self.last_interval_s * (self.ratio + self.ratio * self.ratio) * 1.05 + 0.01
    }
}

/// The most ball-like chain of an unknown ball that begins with impact `start`, where
/// impacts come at `rate_per_s`; `None` where no three impacts could open one. The
/// list is ascending, of at most 255 impacts.
pub fn best_from(
    impacts: &[Impact],
    start: usize,
    expected: &Expected,
    rate_per_s: f64,
) -> Option<Chain> {
    let mut best: Option<Chain> = None;
    let search = Search {
        impacts,
        ln_rate: rate_per_s.ln(),
        familiar: None,
    };
    let t0 = impacts[start].t_s;
    for second in start + 1..impacts.len() {
        let first_gap = impacts[second].t_s - t0;
        if first_gap > WIDEST_GAP_S {
            break;
        }
        if first_gap < SHORTEST_INTERVAL_S {
            continue;
        }
        for third in second + 1..impacts.len() {
            let ratio = (impacts[third].t_s - impacts[second].t_s) / first_gap;
            // The widest gap: the third bounce missed, at the highest restitution.
            if ratio > RESTITUTION.1 * (1.0 + RESTITUTION.1) {
                break;
            }
            for opening in Opening::ALL {
                let e = opening.restitution(ratio);
                let interval = opening.first_interval(first_gap, e);
                let fall_s = interval / (2.0 * e);
                let plausible = (RESTITUTION.0..=RESTITUTION.1).contains(&e)
                    && (FALL_S.0..=FALL_S.1).contains(&fall_s);
                if !plausible {
                    continue;
                }
                let ln_density = opening.density(interval, e, expected).ln();
                let places = [start, second, third];
                let begun = search.begin(&places, &opening.numbers(), interval, e, ln_density);
                let chain = search.grow(begun);
                if best.is_none_or(|b| chain.ln_chance < b.ln_chance) {
                    best = Some(chain);
                }
            }
        }
    }
    best
}

/// The most ball-like chain of the familiar ball that begins with impact `start`: two
/// impacts are enough to open it. As [`best_from`].
pub fn familiar_from(
    impacts: &[Impact],
    start: usize,
    familiar: &Familiar,
    rate_per_s: f64,
) -> Option<Chain> {
    let search = Search {
        impacts,
        ln_rate: rate_per_s.ln(),
        familiar: Some(familiar),
    };
    let ln_floor = familiar.ln_floor(&impacts[start]);
    let mut best: Option<Chain> = None;
    for second in start + 1..impacts.len() {
        let gap_s = impacts[second].t_s - impacts[start].t_s;
        if gap_s > 2.0 * ANY_FIRST_S.1 {
            break;
        }
        for number in [1, 2] {
            let first_s = match number {
                1 => gap_s,
                _ => gap_s / (1.0 + familiar.next_s(gap_s / 1.8).0 / (gap_s / 1.8)),
            };
            if !(ANY_FIRST_S.0..=ANY_FIRST_S.1).contains(&first_s) {
                continue;
            }
            // The gap over a missed bounce is wider than the first interval, and so
            // is its density spread wider.
            let ln_heard = match number {
                1 => (1.0 - SECOND_MISSED).ln(),
                _ => SECOND_MISSED.ln() - (gap_s / first_s).ln(),
            };
            let ratio = familiar.next_s(first_s).0 / first_s;
            let ln_density = familiar.ln_first(first_s)
                + ln_heard
                + ln_floor
                + familiar.ln_print(&impacts[second]);
            let begun = search.begin(&[start, second], &[0, number], first_s, ratio, ln_density);
            let chain = search.grow(begun);
            if best.is_none_or(|b| chain.ln_chance < b.ln_chance) {
                best = Some(chain);
            }
        }
    }
    best
}

struct Search<'a> {
    impacts: &'a [Impact],
    ln_rate: f64,
    familiar: Option<&'a Familiar>,
}

/// A chain as it grows, and the intervals of every bounce so far, those of missed ones
/// filled in.
struct Begun {
    chain: Chain,
    intervals: [f64; 2 * LONGEST],
    bounces: usize,
}

impl Search<'_> {
    /// A chain of the impacts that open it.
    fn begin(
        &self,
        places: &[usize],
        numbers: &[u8],
        first_s: f64,
        ratio: f64,
        ln_density: f64,
    ) -> Begun {
        let bounces = numbers.last().map_or(0, |n| usize::from(*n));
        let mut intervals = [0.0; 2 * LONGEST];
        for (n, interval) in intervals.iter_mut().enumerate().take(bounces) {
            *interval = first_s * ratio.powi(n as i32);
        }
        let mut chain = Chain {
            members: [0; LONGEST],
            numbers: [0; LONGEST],
            len: 0,
            ln_density,
            rattles: 0,
            ln_chance: 0.0,
            last_interval_s: intervals[bounces.saturating_sub(1)],
            ratio,
        };
        for (place, number) in places.iter().zip(numbers) {
            self.add(&mut chain, *place, *number, 0.0);
        }
        Begun {
            chain,
            intervals,
            bounces,
        }
    }

    /// The interval after one, and its standard deviation.
    fn next(&self, interval_s: f64, ratio: f64, rests_on: usize) -> (f64, f64) {
        match self.familiar {
            Some(familiar) => familiar.next_s(interval_s),
            None => next_by_ratio(interval_s, ratio, rests_on),
        }
    }

    /// Continues an opening bounce by bounce and gives its best beginning.
    fn grow(&self, begun: Begun) -> Chain {
        let Begun {
            mut chain,
            mut intervals,
            mut bounces,
        } = begun;
        let mut best = chain;
        let mut missed_in_all = usize::from(chain.len <= bounces);
        while chain.len < LONGEST && bounces + 2 < intervals.len() {
            let last_place = usize::from(chain.members[chain.len - 1]);
            let last_s = self.impacts[last_place].t_s;
            let ratio = chain.ratio;
            let next = self.next(chain.last_interval_s, ratio, bounces.min(4));
            if next.0 < SHORTEST_INTERVAL_S {
                break;
            }
            let after = self.next(next.0, ratio, bounces.min(4));
            let may_miss = missed_in_all < 1 + chain.len / 4;
            let heard = [None, Some(after)]
                .into_iter()
                .filter(|missed| missed.is_none() || may_miss)
                .find_map(|missed| {
                    let p = predict(last_s, next, missed);
                    self.likeliest(&p, last_place, ratio)
                        .map(|(place, ln)| (place, ln, missed.is_some()))
                });
            let Some((place, ln_gain, missed)) = heard else {
                break;
            };
            let gap = self.impacts[place].t_s - last_s;
            if missed {
                let whole_s = next.0 + after.0;
                intervals[bounces] = gap * next.0 / whole_s;
                intervals[bounces + 1] = gap * after.0 / whole_s;
                bounces += 2;
                missed_in_all += 1;
            } else {
                intervals[bounces] = gap;
                bounces += 1;
            }
            chain.last_interval_s = intervals[bounces - 1];
            chain.ratio = self.ratio(&intervals[..bounces]);
            self.add(&mut chain, place, bounces as u8, ln_gain);
            if chain.ln_chance < best.ln_chance {
                best = chain;
            }
        }
        best
    }

    /// The ratio that predicts the next interval.
    fn ratio(&self, intervals: &[f64]) -> f64 {
        let bounces = intervals.len();
        let last_s = intervals[bounces - 1];
        if let Some(familiar) = self.familiar {
            return familiar.next_s(last_s).0 / last_s;
        }
        let back = (bounces - 1).min(3);
        let over = last_s / intervals[bounces - 1 - back];
        over.powf(1.0 / back as f64)
            .clamp(RESTITUTION.0, RESTITUTION.1)
    }

    /// The impact that the prediction makes likeliest, with its log density.
    fn likeliest(
        &self,
        p: &super::chance::Prediction,
        last_place: usize,
        ratio: f64,
    ) -> Option<(usize, f64)> {
        let reach = REACH_SD * p.sd_s;
        let from = self.impacts.partition_point(|i| i.t_s < p.t_s - reach);
        self.impacts[from..]
            .iter()
            .enumerate()
            .map(|(n, impact)| (from + n, impact))
            .take_while(|(_, impact)| impact.t_s <= p.t_s + reach)
            .filter(|(place, _)| *place > last_place)
            .map(|(place, impact)| {
                let step_db = impact.strength_db - self.impacts[last_place].strength_db;
                let ln_print = self.familiar.map_or(0.0, |f| f.ln_print(impact));
                let ln_density = p.ln_density(impact.t_s) + ln_print;
                (place, ln_density + ln_level(step_db, ratio))
            })
            .max_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// Adds an impact, and counts an impact soon after it as its rattle where
    /// that explains it better than chance. In an opening, the level steps are
    /// added here.
    fn add(&self, chain: &mut Chain, place: usize, number: u8, ln_gain: f64) {
        // Where the ball is familiar, the third impact is a gain already weighed.
        let opens = if self.familiar.is_some() { 1..2 } else { 1..3 };
        if opens.contains(&chain.len) {
            let before = usize::from(chain.members[chain.len - 1]);
            let steps = i32::from(number - chain.numbers[chain.len - 1]);
            let step_db = self.impacts[place].strength_db - self.impacts[before].strength_db;
            chain.ln_density += ln_level(step_db, chain.ratio.powi(steps));
        }
        chain.ln_density += ln_gain;
        chain.members[chain.len] = place as u8;
        chain.numbers[chain.len] = number;
        chain.len += 1;
        let rattles = self
            .impacts
            .get(place + 1)
            .is_some_and(|next| next.t_s - self.impacts[place].t_s <= RATTLE_S);
        if rattles && ln_rattle_density() > self.ln_rate && chain.last_interval_s > 2.0 * RATTLE_S {
            chain.rattles += 1;
            chain.ln_density += ln_rattle_density();
        }
        chain.ln_chance = chain.explained() as f64 * self.ln_rate - chain.ln_density;
    }
}
