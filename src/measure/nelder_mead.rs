//! A small downhill simplex search, enough for a likelihood of three parameters.

/// The point of least cost found from `start`, and its cost.
///
/// The simplex starts at `start` and at `start` plus each of `steps`; it is
/// begun again once from the best point, against a simplex that collapsed too
/// soon. A cost that is not finite is taken as worst. Deterministic; at most
/// about `2 · rounds · (N + 2)` evaluations. Source: Nelder JA, Mead R (1965)
/// Comput J 7:308–313, with the usual coefficients 1, 2, ½, ½.
pub(crate) fn minimise<const N: usize>(
    cost: impl Fn(&[f64; N]) -> f64,
    start: [f64; N],
    steps: [f64; N],
    rounds: usize,
) -> ([f64; N], f64) {
    let first = descend(&cost, start, steps, rounds);
    descend(&cost, first.0, steps.map(|s| 0.25 * s), rounds)
}

type Vertex<const N: usize> = ([f64; N], f64);

fn descend<const N: usize>(
    cost: &impl Fn(&[f64; N]) -> f64,
    start: [f64; N],
    steps: [f64; N],
    rounds: usize,
) -> Vertex<N> {
    let at = |point: [f64; N]| -> Vertex<N> {
        let value = cost(&point);
        (
            point,
            if value.is_finite() {
                value
            } else {
                f64::INFINITY
            },
        )
    };
    let mut simplex: Vec<Vertex<N>> = vec![at(start)];
    for axis in 0..N {
        let mut point = start;
        point[axis] += steps[axis];
        simplex.push(at(point));
    }
    for _ in 0..rounds {
        simplex.sort_by(|a, b| a.1.total_cmp(&b.1));
        let (best, second_worst, worst) = (simplex[0], simplex[N - 1], simplex[N]);
        if has_settled(&simplex) {
            break;
        }
        let mut centre = [0.0; N];
        for (point, _) in &simplex[..N] {
            for axis in 0..N {
                centre[axis] += point[axis] / N as f64;
            }
        }
        let along = |t: f64| {
            let mut point = centre;
            for axis in 0..N {
                point[axis] += t * (centre[axis] - worst.0[axis]);
            }
            at(point)
        };
        let reflected = along(1.0);
        let replacement = if reflected.1 < best.1 {
            let expanded = along(2.0);
            Some(if expanded.1 < reflected.1 {
                expanded
            } else {
                reflected
            })
        } else if reflected.1 < second_worst.1 {
            Some(reflected)
        } else {
            let contracted = along(if reflected.1 < worst.1 { 0.5 } else { -0.5 });
            (contracted.1 < worst.1.min(reflected.1)).then_some(contracted)
        };
        match replacement {
            Some(vertex) => simplex[N] = vertex,
            None => {
                for vertex in &mut simplex[1..] {
                    let halfway = |axis: usize| 0.5 * best.0[axis] + 0.5 * vertex.0[axis];
                    *vertex = at(std::array::from_fn(halfway));
                }
            }
        }
    }
    simplex.sort_by(|a, b| a.1.total_cmp(&b.1));
    simplex[0]
}

/// The simplex is small in every direction and flat in cost.
fn has_settled<const N: usize>(sorted: &[Vertex<N>]) -> bool {
    let (best, worst) = (&sorted[0], &sorted[N]);
    let flat = worst.1 - best.1 <= 1e-13 * (1.0 + best.1.abs());
    let small = sorted[1..].iter().all(|(point, _)| {
        point
            .iter()
            .zip(&best.0)
            .all(|(a, b)| (a - b).abs() <= 1e-7 * (1.0 + b.abs()))
    });
    flat && small
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::assert_close;

    /// Source: Rosenbrock HH (1960) Comput J 3:175, minimum 0 at (1, 1).
    #[test]
    fn finds_the_bottom_of_the_banana_valley() {
        let banana = |p: &[f64; 2]| (1.0 - p[0]).powi(2) + 100.0 * (p[1] - p[0] * p[0]).powi(2);
        let (point, least) = minimise(banana, [-1.2, 1.0], [0.5, 0.5], 1_000);
        assert_close(point[0], 1.0, 1e-5);
        assert_close(point[1], 1.0, 1e-5);
        assert!(least < 1e-10);
    }

    #[test]
    fn walks_round_costs_that_are_not_numbers() {
        let cost = |p: &[f64; 1]| {
            if p[0] < 2.0 {
                f64::NAN
            } else {
                (p[0] - 3.0).powi(2)
            }
        };
        let (point, _) = minimise(cost, [5.0], [1.0], 500);
        assert_close(point[0], 3.0, 1e-5);
        let (_, nowhere) = minimise(|_: &[f64; 2]| f64::NAN, [0.0, 0.0], [1.0, 1.0], 50);
        assert_eq!(nowhere, f64::INFINITY);
    }
}
