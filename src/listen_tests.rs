use super::*;
use crate::timeline::Refusal;

const G_M_S2: f64 = 9.806_65;

/// The impacts of a ball that falls on the floor at `floor_s`, a fall of √(2h/g);
/// each flight is e times the one before.
fn bounces(floor_s: f64, height_m: f64, e: f64, count: usize) -> Vec<f64> {
    let mut t_s = floor_s;
    let mut flight_s = 2.0 * e * (2.0 * height_m / G_M_S2).sqrt();
    let mut impacts = vec![t_s];
    for _ in 1..count {
        t_s += flight_s;
        flight_s *= e;
        impacts.push(t_s);
    }
    impacts
}

/// What is found as the impacts come, and what by the end.
fn as_told(chains: &[Vec<f64>]) -> (Timeline, Timeline) {
    let mut timeline = Timeline::default();
    let mut ball = BallFinder::new(None);
    for t_s in chains.iter().flatten() {
        let impact = Impact {
            t_s: *t_s,
            strength_db: -20.0,
            print: None,
        };
        sort_in(ball.push(impact), &mut timeline, &mut |_| {});
    }
    sort_in(ball.advance(100.0), &mut timeline, &mut |_| {});
    let told = timeline.clone();
    sort_in(ball.finish(), &mut timeline, &mut |_| {});
    (told, timeline)
}

/// A ball caught after three impacts is a drop only once the ball is known, which
/// the drops after it tell. Those stand as they were told, release and all, and so
/// does what was refused for another reason.
#[test]
fn a_second_look_adds_drops_and_moves_none() {
    let chains = [
        bounces(5.0, 1.0, 0.75, 3),
        bounces(15.0, 1.0, 0.75, 7),
        bounces(25.0, 1.05, 0.74, 7),
        bounces(35.0, 0.97, 0.76, 7),
        bounces(45.0, 0.1, 0.75, 7),
    ];
    let (told, ended) = as_told(&chains);
    let floors = |heard: &Timeline| -> Vec<f64> { heard.drops.iter().map(|d| d.floor_s).collect() };
    assert_eq!(floors(&told), [15.0, 25.0, 35.0]);
    assert!(told.drops.iter().all(|d| d.is_settled));
    assert_eq!(told.refused.len(), 1);
    assert!(matches!(
        told.refused[0].reason,
        Refusal::HeightImplausible { .. }
    ));
    assert_eq!(floors(&ended), [15.0, 25.0, 35.0, 5.0], "as detected");
    assert_eq!(ended.drops[..3], told.drops[..]);
    let moments = ended.moments(MomentKind::Floor);
    let times: Vec<f64> = moments.iter().map(|m| m.moment.t_s).collect();
    assert_eq!(times, [5.0, 15.0, 25.0, 35.0]);
    assert_eq!(ended.refused, told.refused);
}

/// Of a familiar ball the floor is told at its second impact, 0.7 s after it, and
/// comes again, settled, where it was.
#[test]
fn a_familiar_balls_floor_is_told_at_its_second_impact() {
    let mut ball = BallFinder::new(None);
    let mut first_told = Vec::new();
    for n in 0..6 {
        let floor_s = 5.0 + 9.0 * f64::from(n);
        for t_s in bounces(floor_s, 1.0, 0.75, 6) {
            let impact = Impact {
                t_s,
                strength_db: -20.0,
                print: None,
            };
            for found in ball.push(impact) {
                if let Found::Drop(drop) = found {
                    first_told.push((drop.floor_s, t_s, drop.is_settled));
                }
            }
        }
    }
    let early: Vec<_> = first_told.iter().filter(|told| !told.2).collect();
    assert!(early.len() >= 3, "{first_told:?}");
    for (floor_s, told_at_s, _) in early {
        assert!(told_at_s - floor_s < 1.2);
        assert!(first_told.iter().any(|told| told.0 == *floor_s && told.2) || *floor_s > 49.0);
    }
}
