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

/// What is found as the impacts come.
fn as_told(chains: &[Vec<f64>]) -> Timeline {
    let mut timeline = Timeline::default();
    let mut ball = BallFinder::new(None);
    for t_s in chains.iter().flatten() {
        let impact = Impact {
            t_s: *t_s,
            strength_db: -20.0,
        };
        sort_in(ball.push(impact), &mut timeline, &mut |_| {});
        let sound = Sound {
            t_s: *t_s,
            kind: SoundKind::Impact,
            name: String::new(),
            confidence: 1.0,
            level_dbfs: -20.0,
        };
        timeline.add(sound, 0.1);
    }
    sort_in(ball.finish(), &mut timeline, &mut |_| {});
    timeline
}

/// A ball caught after three impacts is a drop only once the height is known, which
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
    let told = as_told(&chains);
    let floors = |heard: &Timeline| -> Vec<f64> { heard.drops.iter().map(|d| d.floor_s).collect() };
    assert_eq!(floors(&told), [15.0, 25.0, 35.0]);
    assert_eq!(told.refused.len(), 1);
    assert!(matches!(
        told.refused[0].reason,
        Refusal::HeightImplausible { .. }
    ));
    let mut ended = told.clone();
    ended.look_again();
    assert_eq!(floors(&ended), [15.0, 25.0, 35.0, 5.0], "as detected");
    assert_eq!(ended.drops[..3], told.drops[..]);
    let moments = ended.moments(MomentKind::Floor);
    let times: Vec<f64> = moments.iter().map(|m| m.moment.t_s).collect();
    assert_eq!(times, [5.0, 15.0, 25.0, 35.0]);
    assert_eq!(ended.refused, told.refused);
}
