//! Intraclass correlation: how much of the variance is between what was judged
//! rather than between the judges.

use serde::{Deserialize, Serialize};

use crate::measure::distributions::f_quantile;
use crate::measure::interval::Interval;

/// The six intraclass correlations of Shrout & Fleiss, and what they rest on.
///
/// The first number of a name is the model (1: each target has its own judges;
/// 2: judges drawn from many; 3: only these judges), `single` and `mean` say
/// whether one judge's rating or the mean of all is spoken of. A correlation is
/// `None` where its divisor is not positive.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Icc {
    /// How many targets were judged.
    pub targets: usize,
    /// How many judges rated each.
    pub judges: usize,
    /// Mean square between targets.
    pub between_targets: f64,
    /// Mean square between judges.
    pub between_judges: f64,
    /// Residual mean square.
    pub residual: f64,
    /// Mean square within targets.
    pub within_targets: f64,
    /// ICC(1,1).
    pub icc1_single: Option<f64>,
    /// ICC(2,1): absolute agreement of single ratings; the one for observers.
    pub icc2_single: Option<f64>,
    /// The interval of ICC(2,1) at the level asked for.
    pub icc2_single_interval: Option<Interval>,
    /// ICC(3,1).
    pub icc3_single: Option<f64>,
    /// ICC(1,k).
    pub icc1_mean: Option<f64>,
    /// ICC(2,k).
    pub icc2_mean: Option<f64>,
    /// ICC(3,k).
    pub icc3_mean: Option<f64>,
}

/// The intraclass correlations of `ratings[target][judge]`; interval at `level`.
///
/// Targets with a rating that is not finite are left out. `None` below two
/// targets or judges, for rows of unequal length, or for a level not between
/// 0 and 1. O(ratings). Source: Shrout PE, Fleiss JL (1979) Psychol Bull 86:420–428;
/// its interval with the degrees of freedom of Satterthwaite.
pub fn icc(ratings: &[Vec<f64>], level: f64) -> Option<Icc> {
    let judges = ratings.first()?.len();
    if judges < 2 || ratings.iter().any(|row| row.len() != judges) {
        return None;
    }
    let rows: Vec<&Vec<f64>> = ratings
        .iter()
        .filter(|row| row.iter().all(|v| v.is_finite()))
        .collect();
    let targets = rows.len();
    if targets < 2 || !(level > 0.0 && level < 1.0) {
        return None;
    }
    let (n, k) = (targets as f64, judges as f64);
    let row_means: Vec<f64> = rows.iter().map(|row| row.iter().sum::<f64>() / k).collect();
    let column_means: Vec<f64> = (0..judges)
        .map(|j| rows.iter().map(|row| row[j]).sum::<f64>() / n)
        .collect();
    let grand = row_means.iter().sum::<f64>() / n;
    let spread = |means: &[f64]| means.iter().map(|m| (m - grand).powi(2)).sum::<f64>();
    let within: f64 = rows
        .iter()
        .zip(&row_means)
        .map(|(row, mean)| row.iter().map(|v| (v - mean).powi(2)).sum::<f64>())
        .sum();
    let residual: f64 = rows
        .iter()
        .zip(&row_means)
        .map(|(row, mean)| {
            row.iter()
                .zip(&column_means)
                .map(|(v, c)| (v - mean - c + grand).powi(2))
                .sum::<f64>()
        })
        .sum();
    let bms = k * spread(&row_means) / (n - 1.0);
    let jms = n * spread(&column_means) / (k - 1.0);
    let ems = residual / ((n - 1.0) * (k - 1.0));
    let wms = within / (n * (k - 1.0));

    let ratio = |top: f64, bottom: f64| (bottom > 0.0).then(|| top / bottom);
    let icc2_single = ratio(bms - ems, bms + (k - 1.0) * ems + k * (jms - ems) / n);
    Some(Icc {
        targets,
        judges,
        between_targets: bms,
        between_judges: jms,
        residual: ems,
        within_targets: wms,
        icc1_single: ratio(bms - wms, bms + (k - 1.0) * wms),
        icc2_single,
        icc2_single_interval: icc2_single
            .and_then(|rho| interval(rho, [bms, jms, ems], n, k, level)),
        icc3_single: ratio(bms - ems, bms + (k - 1.0) * ems),
        icc1_mean: ratio(bms - wms, bms),
        icc2_mean: ratio(bms - ems, bms + (jms - ems) / n),
        icc3_mean: ratio(bms - ems, bms),
    })
}

/// Shrout & Fleiss's interval of ICC(2,1); `None` without residual variance.
fn interval(rho: f64, [bms, jms, ems]: [f64; 3], n: f64, k: f64, level: f64) -> Option<Interval> {
    if ems <= 0.0 {
        return None;
    }
    let a = k * rho * jms / ems;
    let b = n * (1.0 + (k - 1.0) * rho) - k * rho;
    let freedom = (k - 1.0) * (n - 1.0) * (a + b).powi(2) / ((n - 1.0) * a * a + b * b);
    let p = 0.5 + level / 2.0;
    let upper = f_quantile(p, n - 1.0, freedom)?;
    let lower = f_quantile(p, freedom, n - 1.0)?;
    let rest = k * jms + (k * n - k - n) * ems;
    Some(Interval {
        low: n * (bms - upper * ems) / (upper * rest + n * bms),
        high: n * (lower * bms - ems) / (rest + n * lower * bms),
        level,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{assert_close, numbers, reference};

    fn table_2() -> Vec<Vec<f64>> {
        [
            [9.0, 2.0, 5.0, 8.0],
            [6.0, 1.0, 3.0, 2.0],
            [8.0, 4.0, 6.0, 8.0],
            [7.0, 1.0, 2.0, 6.0],
            [10.0, 5.0, 6.0, 9.0],
            [6.0, 2.0, 4.0, 7.0],
        ]
        .iter()
        .map(|row| row.to_vec())
        .collect()
    }

    /// Source: Shrout & Fleiss 1979, table 2 and the six correlations printed
    /// (.17 .29 .71 .44 .62 .91), exact values computed with numpy.
    #[test]
    fn shrout_and_fleiss() {
        let got = icc(&table_2(), 0.95).unwrap();
        assert_close(got.between_targets, 11.241667, 5e-7);
        assert_close(got.between_judges, 32.486111, 5e-7);
        assert_close(got.residual, 1.019444, 5e-7);
        assert_close(got.within_targets, 6.263889, 5e-7);
        for (got, want) in [
            (got.icc1_single, 0.165741768),
            (got.icc2_single, 0.289763780),
            (got.icc3_single, 0.714840715),
            (got.icc1_mean, 0.442797134),
            (got.icc2_mean, 0.620050548),
            (got.icc3_mean, 0.909315542),
        ] {
            assert_close(got.unwrap(), want, 5e-10);
        }
    }

    /// Source: pingouin intraclass_corr (its interval is rounded to two digits).
    #[test]
    fn agrees_with_pingouin() {
        for case in reference()["agree"]["icc"].as_array().unwrap() {
            let ratings: Vec<Vec<f64>> = case["ratings"]
                .as_array()
                .unwrap()
                .iter()
                .map(numbers)
                .collect();
            let got = icc(&ratings, 0.95).unwrap();
            assert_close(
                got.icc2_single.unwrap(),
                case["icc2"].as_f64().unwrap(),
                1e-9,
            );
            assert_close(
                got.icc3_mean.unwrap(),
                case["icc3k"].as_f64().unwrap(),
                1e-9,
            );
            let interval = got.icc2_single_interval.unwrap();
            assert_close(interval.low, case["icc2_low"].as_f64().unwrap(), 0.0051);
            assert_close(interval.high, case["icc2_high"].as_f64().unwrap(), 0.0051);
        }
    }

    #[test]
    fn edges() {
        assert_eq!(icc(&[], 0.95), None);
        assert_eq!(icc(&[vec![1.0, 2.0]], 0.95), None);
        assert_eq!(icc(&[vec![1.0], vec![2.0]], 0.95), None);
        assert_eq!(icc(&[vec![1.0, 2.0], vec![2.0]], 0.95), None);
        assert_eq!(icc(&table_2(), 1.0), None);
        let mut holed = table_2();
        holed.push(vec![1.0, f64::NAN, 2.0, 3.0]);
        assert_eq!(icc(&holed, 0.95), icc(&table_2(), 0.95));
        let flat = icc(&[vec![3.0, 3.0], vec![3.0, 3.0]], 0.95).unwrap();
        assert_eq!((flat.icc2_single, flat.icc3_mean), (None, None));
        let perfect = icc(&[vec![1.0, 1.0], vec![2.0, 2.0], vec![5.0, 5.0]], 0.95).unwrap();
        assert_eq!(
            (perfect.icc2_single, perfect.icc2_single_interval),
            (Some(1.0), None)
        );
    }
}
