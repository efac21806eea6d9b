//! The permutation test: how often would chance alone part the values so far.

use rand_pcg::Pcg64;
use rand_pcg::rand_core::{Rng, SeedableRng};
use serde::{Deserialize, Serialize};

use crate::measure::sample::finite;

/// Up to this many ways to part the values, all are tried.
const ALL_UP_TO: u64 = 20_000;

/// What is compared between the two samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Statistic {
    /// Mean of x less mean of y.
    MeanDifference,
    /// Median of x less median of y.
    MedianDifference,
}

/// The outcome of a permutation test.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Permutation {
    /// The observed difference, in the unit of the values.
    pub difference: f64,
    /// Two-sided p-value, above 0, at most 1: the share of partings at least
    /// as far apart in either direction, the observed one counted.
    pub p_two_sided: f64,
    /// How many partings were tried.
    pub tried: u64,
    /// Whether those were all there are.
    pub exact: bool,
}

/// Tests whether x and y differ by more than chance would part them.
///
/// Values that are not finite are left out; `None` when a sample is empty or
/// `partings` is 0. All partings are tried when there are at most 20,000, else
/// `partings` random ones from `seed`: the same input and seed give the same p.
/// O(partings · n). Sources: Fisher RA (1935) The Design of Experiments;
/// (b + 1)/(m + 1): Phipson B, Smyth GK (2010) Stat Appl Genet Mol Biol 9:39.
pub fn permutation_test(
    x: &[f64],
    y: &[f64],
    statistic: Statistic,
    partings: u64,
    seed: u64,
) -> Option<Permutation> {
    let (x, y) = (finite(x), finite(y));
    let n_x = x.len();
    if n_x == 0 || y.is_empty() || partings == 0 {
        return None;
    }
    let mut pool = [x, y].concat();
    let difference = statistic.of(&mut pool.clone(), n_x);
    // Partings that are equal but for rounding count as equal.
    let scale = pool.iter().fold(0.0f64, |m, v| m.max(v.abs()));
    let far = difference.abs() - 1e-12 * scale;
    let ways = ways_to_part(pool.len() as u64, n_x as u64);
    let (mut reached, mut tried) = (0u64, 0u64);
    if ways <= ALL_UP_TO {
        for_each_choice(pool.len(), n_x, |chosen| {
            let mut parted = parted(&pool, chosen);
            tried += 1;
            reached += u64::from(statistic.of(&mut parted, n_x).abs() >= far);
        });
        return Some(Permutation {
            difference,
            p_two_sided: reached as f64 / tried as f64,
            tried,
            exact: true,
        });
    }
    let mut chance = Pcg64::seed_from_u64(seed);
    let mut scratch = pool.clone();
    for _ in 0..partings {
        for i in 0..n_x {
            let left = (pool.len() - i) as u64;
            pool.swap(i, i + below(&mut chance, left) as usize);
        }
        scratch.copy_from_slice(&pool);
        reached += u64::from(statistic.of(&mut scratch, n_x).abs() >= far);
    }
    tried += partings;
    let p_two_sided = (reached + 1) as f64 / (tried + 1) as f64;
    Some(Permutation {
        difference,
        p_two_sided,
        tried,
        exact: false,
    })
}

impl Statistic {
    /// The statistic of values of which the first `n_x` are x; may reorder within each.
    fn of(self, values: &mut [f64], n_x: usize) -> f64 {
        let (x, y) = values.split_at_mut(n_x);
        match self {
            Self::MeanDifference => mean(x) - mean(y),
            Self::MedianDifference => middle(x) - middle(y),
        }
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// The median by selection; the slice is never empty here.
fn middle(values: &mut [f64]) -> f64 {
    let half = values.len() / 2;
    let even = values.len().is_multiple_of(2);
    let (below, upper, _) = values.select_nth_unstable_by(half, f64::total_cmp);
    let upper = *upper;
    if !even {
        return upper;
    }
    let lower = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    0.5 * lower + 0.5 * upper
}

/// n choose k, held at the largest number when it overflows.
fn ways_to_part(n: u64, k: u64) -> u64 {
    let mut ways: u64 = 1;
    for i in 0..k.min(n - k) {
        match ways.checked_mul(n - i) {
            Some(product) => ways = product / (i + 1),
            None => return u64::MAX,
        }
    }
    ways
}

/// Every ascending choice of k places out of n.
fn for_each_choice(n: usize, k: usize, mut give: impl FnMut(&[usize])) {
    let mut chosen: Vec<usize> = (0..k).collect();
    loop {
        give(&chosen);
        let Some(turn) = (0..k).rev().find(|i| chosen[*i] < n - k + i) else {
            return;
        };
        chosen[turn] += 1;
        for i in turn + 1..k {
            chosen[i] = chosen[i - 1] + 1;
        }
    }
}

/// The chosen values first, the others after.
fn parted(pool: &[f64], chosen: &[usize]) -> Vec<f64> {
    let mut rest = chosen.iter().copied().peekable();
    let mut others = Vec::with_capacity(pool.len() - chosen.len());
    let mut values = Vec::with_capacity(pool.len());
    for (i, value) in pool.iter().enumerate() {
        if rest.next_if_eq(&i).is_some() {
            values.push(*value);
        } else {
            others.push(*value);
        }
    }
    values.append(&mut others);
    values
}

/// A whole number below `bound`, each as likely: products that would favour
/// some are drawn again (Lemire D 2019 ACM TOMACS 29:3).
fn below(chance: &mut Pcg64, bound: u64) -> u64 {
    loop {
        let product = u128::from(chance.next_u64()) * u128::from(bound);
        if (product as u64) >= bound.wrapping_neg() % bound {
            return (product >> 64) as u64;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{Chance, assert_close, numbers, reference};

    /// Source: scipy.stats.permutation_test(n_resamples=inf).
    #[test]
    fn all_partings_agree_with_scipy() {
        for case in reference()["compare"]["permutation"].as_array().unwrap() {
            let statistic = match case["statistic"].as_str().unwrap() {
                "mean" => Statistic::MeanDifference,
                _ => Statistic::MedianDifference,
            };
            let got = permutation_test(&numbers(&case["x"]), &numbers(&case["y"]), statistic, 1, 0)
                .unwrap();
            assert!(got.exact);
            assert_eq!(got.tried, case["partings"].as_u64().unwrap());
            assert_close(got.difference, case["difference"].as_f64().unwrap(), 1e-10);
            assert_close(got.p_two_sided, case["p"].as_f64().unwrap(), 1e-12);
        }
    }

    #[test]
    fn random_partings_repeat_by_seed_and_near_the_exact_p() {
        let x: Vec<f64> = (0..12).map(|i| f64::from(i * i % 17)).collect();
        let y: Vec<f64> = (0..12).map(|i| f64::from(i * 5 % 13) + 3.0).collect();
        let run = |seed| permutation_test(&x, &y, Statistic::MeanDifference, 20_000, seed).unwrap();
        assert_eq!(run(7), run(7));
        assert!(!run(7).exact);
        // 24 choose 12 partings: the exact share, counted once here.
        let pool = [x.clone(), y.clone()].concat();
        let total: f64 = pool.iter().sum();
        let observed = (x.iter().sum::<f64>() - y.iter().sum::<f64>()).abs();
        let (mut reached, mut all) = (0u64, 0u64);
        for_each_choice(24, 12, |chosen| {
            let sum: f64 = chosen.iter().map(|i| pool[*i]).sum();
            all += 1;
            reached += u64::from((2.0 * sum - total).abs() >= observed - 1e-9);
        });
        assert_eq!(all, 2_704_156);
        assert_close(run(7).p_two_sided, reached as f64 / all as f64, 0.012);
    }

    /// With no difference, p under 0.05 comes about one time in twenty.
    #[test]
    fn holds_its_level() {
        let mut chance = Chance::new(51);
        let mut small = 0;
        for seed in 0..400 {
            let x: Vec<f64> = (0..12).map(|_| chance.exponential()).collect();
            let y: Vec<f64> = (0..14).map(|_| chance.exponential()).collect();
            let got = permutation_test(&x, &y, Statistic::MedianDifference, 199, seed).unwrap();
            small += u32::from(got.p_two_sided <= 0.05);
        }
        assert!((6..=36).contains(&small), "{small} of 400");
    }

    #[test]
    fn edges() {
        let test = |x: &[f64], y: &[f64]| permutation_test(x, y, Statistic::MeanDifference, 99, 1);
        assert_eq!(test(&[], &[1.0]), None);
        assert_eq!(test(&[1.0], &[f64::NAN]), None);
        assert_eq!(
            permutation_test(&[1.0], &[2.0], Statistic::MeanDifference, 0, 1),
            None
        );
        let same = test(&[3.0; 4], &[3.0; 5]).unwrap();
        assert_eq!((same.difference, same.p_two_sided), (0.0, 1.0));
        assert_eq!(ways_to_part(200, 100), u64::MAX);
        assert_eq!(ways_to_part(10, 3), 120);
    }
}
