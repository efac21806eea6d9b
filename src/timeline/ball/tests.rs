use super::*;
use crate::timeline::event::MomentKind;
use crate::timeline::physics::{bounce_interval_s, fall_time_s};

/// A small deterministic source of chance (SplitMix64: Steele, Lea, Flood 2014).
pub(super) struct Dice(pub u64);

impl Dice {
    pub(super) fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    pub(super) fn range(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.unit()
    }

    /// Standard normal (Box and Muller 1958).
    pub(super) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// Arrival times of a Poisson stream.
    pub(super) fn poisson(&mut self, rate_per_s: f64, from_s: f64, to_s: f64) -> Vec<f64> {
        let mut times = Vec::new();
        let mut t = from_s;
        if rate_per_s <= 0.0 {
            return times;
        }
        loop {
            t -= (1.0 - self.unit()).ln() / rate_per_s;
            if t > to_s {
                return times;
            }
            times.push(t);
        }
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
                print: None,
            });
            t += interval;
            if interval < 0.06 {
                break;
            }
        }
        impacts
    }
}

pub(super) fn bangs(times: &[f64], dice: &mut Dice) -> Vec<Impact> {
    times
        .iter()
        .map(|&t_s| Impact {
            t_s,
            strength_db: dice.range(-50.0, -5.0),
            print: None,
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
            Found::Drop(drop) => drop.is_settled.then_some(drop),
            Found::Refused(_) => None,
        })
        .collect()
}

fn refusals(found: &[Found]) -> Vec<Refusal> {
    found
        .iter()
        .filter_map(|f| match f {
            Found::Drop(_) => None,
            Found::Refused(refused) => Some(refused.reason),
        })
        .collect()
}

#[test]
fn a_clean_drop_gives_back_its_physics() {
    for (height_m, e) in [
        (0.2, 0.6),
        (0.7, 0.936),
        (1.0, 0.73),
        (1.5, 0.85),
        (2.0, 0.5),
    ] {
        let ball = Ball::new(10.0, height_m, e);
        let impacts = ball.impacts(&mut Dice(1));
        for told in [None, Some(height_m)] {
            let found = run(told, impacts.clone());
            let drops = drops(&found);
            assert_eq!(drops.len(), 1, "{height_m} m, e {e}: {found:?}");
            let drop = drops[0];
            assert_eq!(drop.floor_s, 10.0);
            // No ball is like this one, of a constant restitution in no air; what is
            // stated covers it all the same.
            assert!((drop.restitution / e - 1.0).abs() < 0.04);
            let release_s = 10.0 - fall_time_s(height_m);
            let off_ms = 1e3 * (drop.release_s - release_s).abs();
            assert!(
                off_ms < 2.0 * drop.release_u_ms,
                "{off_ms} {}",
                drop.release_u_ms
            );
            assert!(drop.release_u_ms < 0.07e3 * fall_time_s(height_m));
            let first_s = bounce_interval_s(height_m, e, 1);
            assert!((drop.top_s - 10.0 - first_s / 2.0).abs() < 0.012 * first_s);
        }
    }
}

/// Impacts of Schwarz, Vogt and Kuhn (2013) Phys Teach 51:312: 0.7 m. Their zero
/// is arbitrary; here the room is heard for 20 s before.
#[test]
fn the_published_impacts_are_a_drop_from_the_published_height() {
    let impacts = [20.248, 20.955, 21.617].map(|t_s| Impact {
        t_s,
        strength_db: f64::NAN,
        print: None,
    });
    let found = run(Some(0.7), impacts.to_vec());
    let drop = drops(&found)[0];
    // The authors' ball fell in a vacuum and bounced alike at any speed; the height
    // that is told here with both left open is a little more.
    assert!(
        (drop.height_m / 0.7 - 1.0).abs() < 0.04,
        "{}",
        drop.height_m
    );
    assert!((drop.restitution - 0.936_351).abs() < 0.03);
    let release_s = 20.248 - fall_time_s(0.7);
    assert!((drop.release_s - release_s).abs() * 1e3 < 2.0 * drop.release_u_ms);
    assert_eq!(drop.residual_ms, None);
    // Nothing told: three impacts always fit some ball, and say nothing.
    assert!(run(None, impacts.to_vec()).is_empty());
}

#[test]
fn a_told_height_that_disagrees_refuses_with_both_heights() {
    let impacts = Ball::new(5.0, 1.0, 0.73).impacts(&mut Dice(1));
    assert_eq!(drops(&run(Some(1.1), impacts.clone())).len(), 1);
    let found = run(Some(0.5), impacts);
    assert!(drops(&found).is_empty());
    let reason = refusals(&found)[0];
    let Refusal::HeightDisagrees { found_m, told_m } = reason else {
        panic!("{reason:?}");
    };
    assert!((found_m - 1.0).abs() < 0.12 && told_m == 0.5);
    assert!(reason.to_string().contains("m, but 0.50 m was told"));
}

#[test]
fn a_height_no_hand_drops_from_is_refused() {
    let found = run(None, Ball::new(5.0, 0.06, 0.8).impacts(&mut Dice(1)));
    assert!(drops(&found).is_empty());
    assert!(matches!(refusals(&found)[0], Refusal::HeightImplausible { found_m } if found_m < 0.1));
}

#[test]
fn a_caught_ball_gives_nothing_and_one_caught_after_four_impacts_counts() {
    for (bounces, expected) in [(1, 0), (2, 0), (3, 0), (4, 1)] {
        let mut ball = Ball::new(5.0, 1.0, 0.73);
        ball.bounces = bounces;
        let found = run(None, ball.impacts(&mut Dice(1)));
        assert_eq!(drops(&found).len(), expected, "{bounces} impacts");
    }
}

#[test]
fn three_impacts_are_enough_with_a_told_height_or_a_familiar_ball() {
    let mut short = Ball::new(5.0, 1.0, 0.73);
    short.bounces = 3;
    let impacts = short.impacts(&mut Dice(1));
    assert_eq!(drops(&run(Some(1.0), impacts)).len(), 1);

    let mut impacts = Ball::new(5.0, 1.0, 0.73).impacts(&mut Dice(1));
    short.floor_s = 15.0;
    impacts.extend(short.impacts(&mut Dice(2)));
    assert_eq!(drops(&run(None, impacts)).len(), 2);
}

#[test]
fn a_ball_picked_up_at_once_and_dropped_again_is_two_drops() {
    let mut first = Ball::new(5.0, 1.0, 0.73);
    first.bounces = 4;
    let mut impacts = first.impacts(&mut Dice(1));
    let again_s = impacts[3].t_s + 0.4 + fall_time_s(0.8);
    impacts.extend(Ball::new(again_s, 0.8, 0.73).impacts(&mut Dice(2)));
    let found = run(None, impacts);
    let floors: Vec<f64> = drops(&found).iter().map(|d| d.floor_s).collect();
    assert_eq!(floors, [5.0, again_s]);
}

#[test]
fn rattle_after_every_impact_does_not_move_the_floor() {
    let mut dice = Dice(11);
    for trial in 0..100 {
        let (height_m, e) = (dice.range(0.3, 2.0), dice.range(0.6, 0.9));
        let ball = Ball::new(5.0, height_m, e);
        let mut impacts = ball.impacts(&mut dice);
        let rattle: Vec<Impact> = impacts
            .iter()
            .take(1 + trial % 4)
            .map(|i| Impact {
                t_s: i.t_s + dice.range(0.005, 0.03),
                strength_db: i.strength_db - dice.range(3.0, 20.0),
                print: None,
            })
            .collect();
        impacts.extend(rattle);
        let found = run(None, impacts);
        let drops = drops(&found);
        assert_eq!(drops.len(), 1);
        assert_eq!(drops[0].floor_s, 5.0, "{height_m} m, e {e}");
    }
}

#[test]
fn a_restitution_that_rises_from_bounce_to_bounce_is_still_a_ball() {
    let (mut t, mut interval, mut e) = (5.0, bounce_interval_s(1.0, 0.72, 1), 0.72);
    let mut impacts = Vec::new();
    for n in 0..7 {
        impacts.push(Impact {
            t_s: t,
            strength_db: -10.0 - 3.0 * f64::from(n),
            print: None,
        });
        t += interval;
        e *= 1.015;
        interval *= e;
    }
    let found = run(None, impacts);
    assert_eq!(drops(&found)[0].floor_s, 5.0);
    assert_eq!(drops(&found)[0].impacts_s.len(), 7);
    // The height is only as good as the constant restitution it supposes.
    assert!((drops(&found)[0].height_m / 1.0 - 1.0).abs() < 0.1);
}

#[test]
fn beats_claps_and_steps_are_no_balls() {
    let mut dice = Dice(5);
    for interval_s in [0.1, 0.15, 0.25, 0.5, 0.6, 1.0] {
        for jitter in [0.0, 0.02, 0.05] {
            let mut t = 1.0;
            let beats: Vec<Impact> = (0..2000)
                .map(|_| {
                    t += interval_s * (1.0 + dice.range(-jitter, jitter));
                    Impact {
                        t_s: t,
                        strength_db: dice.range(-26.0, -20.0),
                        print: None,
                    }
                })
                .collect();
            let found = drops(&run(None, beats)).len();
            assert_eq!(found, 0, "every {interval_s} s, jitter {jitter}");
        }
    }
}

/// What a drill of ten drops (one ball, heights within 7 %) gives among other
/// impacts of any level: jitter ±2 ms, levels ±4 dB.
struct Recall {
    found: usize,
    of: usize,
    wrong: usize,
}

fn drill(told: bool, rate_per_s: f64, e: (f64, f64), missing: bool) -> Recall {
    let mut dice = Dice(7);
    let mut recall = Recall {
        found: 0,
        of: 0,
        wrong: 0,
    };
    for _ in 0..30 {
        let (height_m, e) = (dice.range(0.5, 2.0), dice.range(e.0, e.1));
        let (mut impacts, mut floors) = (Vec::new(), Vec::new());
        for n in 0..10 {
            let floor_s = 31.0 + 14.0 * f64::from(n);
            let mut ball = Ball::new(floor_s, height_m * dice.range(0.93, 1.07), e);
            ball.jitter_s = 0.002;
            let mut bounces = ball.impacts(&mut dice);
            floors.push(bounces[0].t_s);
            if missing {
                bounces.remove(1 + n as usize % 3);
            }
            impacts.extend(bounces);
        }
        let times = dice.poisson(rate_per_s, 0.0, 180.0);
        impacts.extend(bangs(&times, &mut dice));
        let found = run(told.then_some(height_m), impacts);
        let drops = drops(&found);
        let hits = drops.iter().filter(|d| floors.contains(&d.floor_s)).count();
        recall.found += hits;
        recall.of += floors.len();
        recall.wrong += drops.len() - hits;
    }
    recall
}

/// Prints the table and holds it to the least found with three seeds, two of them
/// not used while the finder was made (rounded down): to see it,
/// `cargo test timeline::ball -- --nocapture`.
#[test]
fn drops_are_found_among_other_impacts() {
    // told height, other impacts a second, restitution, a bounce missing, recall
    let table = [
        (false, 0.0, (0.5, 0.9), false, 0.999),
        (false, 0.0, (0.6, 0.9), true, 0.99),
        (false, 0.1, (0.5, 0.9), false, 0.99),
        (true, 0.1, (0.5, 0.9), false, 0.99),
        (false, 1.0, (0.6, 0.9), false, 0.975),
        (true, 1.0, (0.6, 0.9), false, 0.98),
        (true, 1.0, (0.6, 0.9), true, 0.94),
        (false, 3.0, (0.6, 0.9), false, 0.95),
        (true, 3.0, (0.6, 0.9), false, 0.98),
        (true, 3.0, (0.5, 0.6), false, 0.65),
    ];
    for (told, rate_per_s, e, missing, least) in table {
        let recall = drill(told, rate_per_s, e, missing);
        let share = recall.found as f64 / recall.of as f64;
        println!(
            "told {told}, {rate_per_s} others/s, e {}-{}, a bounce missing {missing}: \
             {}/{} found, {} wrong",
            e.0, e.1, recall.found, recall.of, recall.wrong
        );
        assert!(share >= least, "{share} is under {least}");
        assert!(recall.wrong * 25 <= recall.of);
    }
}

/// The promise of [`CHANCE_PER_HOUR`], with room for the chance of the count: a
/// Poisson mean of that many an hour over the hours simulated, plus three
/// standard deviations.
#[test]
fn chance_impacts_seldom_make_a_ball() {
    for told_height_m in [None, Some(1.0)] {
        for (rate_per_s, hours) in [(0.1, 30.0), (0.3, 20.0), (1.0, 8.0), (3.0, 2.0), (5.0, 0.5)] {
            let mut dice = Dice(3);
            let times = dice.poisson(rate_per_s, 0.0, hours * 3600.0);
            let found = run(told_height_m, bangs(&times, &mut dice));
            let false_drops = drops(&found).len();
            println!("told {told_height_m:?}, {rate_per_s}/s: {false_drops} drops in {hours} h");
            let mean = CHANCE_PER_HOUR * hours;
            assert!(false_drops as f64 <= mean + 3.0 * mean.sqrt().max(0.5));
        }
    }
}

/// Impacts in bouts, as talk and work give them: 2 to 9 at 2 to 8 a second, each
/// gap within 30 % of the bout's, then a rest of 0.5 to 6 s. Ten hours.
#[test]
fn bouts_of_impacts_seldom_make_a_ball() {
    let mut dice = Dice(21);
    let (mut t_s, mut impacts) = (0.0, Vec::new());
    while t_s < 36_000.0 {
        let gap_s = 1.0 / dice.range(2.0, 8.0);
        for _ in 0..dice.range(2.0, 10.0) as u32 {
            impacts.push(Impact {
                t_s,
                strength_db: dice.range(-40.0, -15.0),
                print: None,
            });
            t_s += gap_s * dice.range(0.7, 1.3);
        }
        t_s += dice.range(0.5, 6.0);
    }
    let false_drops = drops(&run(None, impacts)).len();
    println!("bouts: {false_drops} drops in 10 h");
    assert!(false_drops <= 10);
}

#[test]
fn a_drop_is_given_soon_after_the_ball_is_silent() {
    let impacts = Ball::new(5.0, 1.0, 0.73).impacts(&mut Dice(1));
    let mut finder = BallFinder::new(None);
    for impact in &impacts {
        assert!(finder.push(*impact).is_empty());
    }
    let n = impacts.len();
    let last_s = impacts[n - 1].t_s;
    assert!(finder.advance(last_s + 0.01).is_empty());
    let soon_s = last_s + 2.0 * (last_s - impacts[n - 2].t_s);
    assert_eq!(drops(&finder.advance(soon_s)).len(), 1);
}

#[test]
fn how_often_the_time_is_told_changes_nothing() {
    let mut dice = Dice(9);
    let mut impacts = Vec::new();
    for n in 0..20 {
        let mut ball = Ball::new(5.0 + 6.0 * f64::from(n), 1.0, 0.75);
        ball.jitter_s = 0.001;
        impacts.extend(ball.impacts(&mut dice));
    }
    let times = dice.poisson(2.0, 0.0, 130.0);
    impacts.extend(bangs(&times, &mut dice));
    impacts.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    let seldom = run(None, impacts.clone());
    let mut finder = BallFinder::new(None);
    let (mut often, mut now_s) = (Vec::new(), 0.0);
    for impact in impacts {
        while now_s < impact.t_s {
            often.extend(finder.advance(now_s));
            now_s += 0.021;
        }
        often.extend(finder.push(impact));
    }
    often.extend(finder.finish());
    assert!(drops(&often).len() >= 18);
    assert_eq!(often, seldom);
}

#[test]
fn impossible_input_is_left_out() {
    let mut impacts = Ball::new(5.0, 1.0, 0.73).impacts(&mut Dice(1));
    for i in &mut impacts {
        i.strength_db = f64::NAN;
    }
    let mut finder = BallFinder::new(Some(f64::NAN));
    let mut found = Vec::new();
    for impact in impacts {
        for t_s in [f64::NAN, f64::INFINITY] {
            found.extend(finder.push(Impact { t_s, ..impact }));
        }
        found.extend(finder.push(impact));
        found.extend(finder.advance(f64::NAN));
    }
    found.extend(finder.finish());
    assert_eq!(drops(&found).len(), 1);
    assert!(finder.finish().is_empty());
}

#[test]
fn the_moments_of_a_drop() {
    let found = run(None, Ball::new(5.0, 1.0, 0.73).impacts(&mut Dice(1)));
    let drop = drops(&found)[0];
    let at = |kind| moment_of(drop, kind).map(|m| m.t_s);
    assert_eq!(at(MomentKind::Floor), Some(drop.floor_s));
    assert_eq!(at(MomentKind::Release), Some(drop.release_s));
    assert_eq!(at(MomentKind::Top), Some(drop.top_s));
    assert_eq!(at(MomentKind::Behaviour), None);
}
