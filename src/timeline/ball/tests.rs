#![allow(clippy::unwrap_used, clippy::expect_used)]

use super::*;
use crate::timeline::event::MomentKind;
use crate::timeline::physics::bounce_interval_s;

/// A small deterministic source of chance (SplitMix64: Steele, Lea, Flood 2014).
struct Dice(u64);

impl Dice {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn range(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.unit()
    }

    /// Arrival times of a Poisson stream.
    fn poisson(&mut self, rate_per_s: f64, from_s: f64, to_s: f64) -> Vec<f64> {
        let mut times = Vec::new();
        let mut t = from_s;
        while rate_per_s > 0.0 {
            t -= (1.0 - self.unit()).ln() / rate_per_s;
            if t > to_s {
                break;
            }
            times.push(t);
        }
        times
    }
}

/// A simulated drop, its ball let bounce until intervals fall under 60 ms.
#[derive(Debug, Clone, Copy)]
struct Ball {
    floor_s: f64,
    height_m: f64,
    e: f64,
    jitter_s: f64,
    bounces: usize,
}

impl Ball {
    fn new(floor_s: f64, height_m: f64, e: f64) -> Self {
        Self {
            floor_s,
            height_m,
            e,
            jitter_s: 0.0,
            bounces: 12,
        }
    }

    fn impacts(&self, dice: &mut Dice) -> Vec<Impact> {
        let mut t = self.floor_s;
        let mut impacts = Vec::new();
        for n in 0..self.bounces {
            let interval = bounce_interval_s(self.height_m, self.e, n as u32 + 1);
            impacts.push(Impact {
                t_s: t + dice.range(-self.jitter_s, self.jitter_s),
                strength_db: -12.0 + 20.0 * self.e.log10() * n as f64 + dice.range(-4.0, 4.0),
            });
            t += interval;
            if interval < 0.06 {
                break;
            }
        }
        impacts
    }
}

fn bangs(times: &[f64], dice: &mut Dice) -> Vec<Impact> {
    times
        .iter()
        .map(|&t_s| Impact {
            t_s,
            strength_db: dice.range(-50.0, -5.0),
        })
        .collect()
}

fn run(told_height_m: Option<f64>, mut impacts: Vec<Impact>) -> Vec<Found> {
    impacts.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    let mut finder = BallFinder::new(told_height_m);
    let mut found: Vec<Found> = impacts.iter().flat_map(|i| finder.push(*i)).collect();
    found.extend(finder.finish());
    found
}

fn drops(found: &[Found]) -> Vec<&Drop> {
    found
        .iter()
        .filter_map(|f| match f {
            Found::Drop(drop) => Some(drop),
            Found::Refused(_) => None,
        })
        .collect()
}

#[test]
#[ignore]
fn explore() {
    for (told, rate) in [(false, 0.0), (false, 0.3), (false, 1.0), (false, 3.0), (true, 1.0), (true, 3.0)] {
        for (elo, ehi, hlo, hhi) in [(0.5, 0.6, 0.2, 0.5),(0.5, 0.6, 0.5, 2.0), (0.6, 0.75, 0.2, 0.5), (0.6, 0.75, 0.5, 2.0), (0.75, 0.9, 0.2, 0.5), (0.75, 0.9, 0.5, 2.0)] {
            let mut dice = Dice(7);
            let (mut n, mut ok, mut extra, mut wrong) = (0, 0, 0, 0);
            let mut missing_ok = 0;
            for trial in 0..300 {
                for missing in [false, true] {
                    let mut ball = Ball::new(31.0, dice.range(hlo, hhi), dice.range(elo, ehi));
                    ball.jitter_s = 0.002;
                    let mut impacts = ball.impacts(&mut dice);
                    let floor = impacts[0].t_s;
                    if missing && impacts.len() > 4 {
                        impacts.remove(1 + (trial % 3));
                    }
                    let times = dice.poisson(rate, 0.0, 45.0);
                    impacts.extend(bangs(&times, &mut dice));
                    let found = run(told.then_some(ball.height_m), impacts);
                    let d = drops(&found);
                    let hit = d.iter().any(|d| d.floor_s == floor);
                    if missing { missing_ok += usize::from(hit); } else {
                    n += 1;
                    ok += usize::from(hit);
                    extra += d.len() - usize::from(hit);
                    wrong += usize::from(!hit && !d.is_empty()); }
                }
            }
            println!("told {told} rate {rate} e {elo}-{ehi} h {hlo}-{hhi}: {ok}/{n} extra {extra} wrong {wrong}; one missing {missing_ok}");
        }
    }
    for told in [None, Some(1.0)] {
    for rate in [0.1, 0.3, 1.0, 3.0, 6.0, 10.0] {
        let mut dice = Dice(3);
        let t = std::time::Instant::now();
        let hours = 20.0;
        let times = dice.poisson(rate, 0.0, hours * 3600.0);
        let found = run(told, bangs(&times, &mut dice));
        println!("{told:?} rate {rate}: false {} refused {} in {hours} h, {:?} per hour", drops(&found).len(), found.len() - drops(&found).len(), t.elapsed() / hours as u32);
    }}
}
