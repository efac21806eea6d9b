//! The measures of a set of pairs, as every screen and file shows them.

use serde::{Deserialize, Serialize};

use super::distributions::z_two_sided;
use super::errors::error_scores;
use super::exgauss::{self, FitOutcome};
use super::median::{median, median_interval_of_sorted, median_of_sorted};
use super::proportion::Share;
use super::quantile::quantile_of_sorted;
use super::sample::sorted_finite;
use super::yardstick::Yardstick;
use crate::timeline::{Aim, Outcome, Pair};

/// A reaction sooner than this is flagged as anticipated. A convention of this
/// program after the start rule of athletics (World Athletics Technical Rules
/// 16.6: less than 0.100 s), which is itself disputed; not a finding about
/// training animals.
pub const ANTICIPATED_BELOW_MS: f64 = 100.0;

/// The level of every interval in a summary.
pub const LEVEL: f64 = 0.95;

/// The measures of a set of pairs. Lags are mark − moment, negative early.
/// What the data cannot give is `None`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Summary {
    /// The yardstick that suits the moments.
    pub yardstick: Yardstick,
    /// The aim that the lags were judged against.
    pub aim: Aim,
    /// Moments, marked or missed.
    pub n_moments: usize,
    /// Marks, paired or stray.
    pub n_marks: usize,
    /// Moments with a mark.
    pub n_paired: usize,
    /// Lags that were measured and finite: what the figures below rest on.
    pub n_lags: usize,
    /// Moments marked inside the aim, out of all moments.
    pub on_time: Share,
    /// Moments marked before the aim, out of all moments.
    pub early: Share,
    /// Moments marked after the aim, out of all moments.
    pub late: Share,
    /// Moments with no mark, out of all moments.
    pub missed: Share,
    /// Marks that no moment earned, out of all marks.
    pub stray: Share,
    /// The median lag.
    pub median_ms: Option<f64>,
    /// Lower end of its distribution-free 95 % interval.
    pub median_low_ms: Option<f64>,
    /// Upper end of its distribution-free 95 % interval.
    pub median_high_ms: Option<f64>,
    /// The coverage that this interval reaches exactly, at least 0.95.
    pub median_coverage: Option<f64>,
    /// Quantile at 5 %, Hyndman–Fan type 8, as all below.
    pub q05_ms: Option<f64>,
    /// Quantile at 10 %.
    pub q10_ms: Option<f64>,
    /// Quantile at 25 %.
    pub q25_ms: Option<f64>,
    /// Quantile at 75 %.
    pub q75_ms: Option<f64>,
    /// Quantile at 90 %.
    pub q90_ms: Option<f64>,
    /// Quantile at 95 %.
    pub q95_ms: Option<f64>,
    /// Interquartile range, 75 % less 25 %.
    pub iqr_ms: Option<f64>,
    /// CE, constant error: the mean lag.
    pub constant_error_ms: Option<f64>,
    /// AE, absolute error: the mean of |lag|.
    pub absolute_error_ms: Option<f64>,
    /// VE, variable error, divisor n.
    pub variable_error_n_ms: Option<f64>,
    /// VE, variable error, divisor n − 1.
    pub variable_error_n1_ms: Option<f64>,
    /// E, total variability: the root of the mean squared lag.
    pub total_error_ms: Option<f64>,
    /// The smallest lag.
    pub min_ms: Option<f64>,
    /// The largest lag.
    pub max_ms: Option<f64>,
    /// The median standard uncertainty of a lag.
    pub median_u_ms: Option<f64>,
    /// Standard uncertainty of the median lag: its scatter from mark to mark together
    /// with what all lags have in common (see [`Summary::add_what_lags_share`]).
    pub u_of_median_ms: Option<f64>,
    /// For reactions, lags under 100 ms, flagged as anticipated, out of all
    /// lags; `None` where the moment can be seen coming.
    pub anticipated: Option<Share>,
    /// The ex-Gaussian fit, or the reason for none.
    pub ex_gaussian: FitOutcome,
}

/// Summarises pairs against an aim, by the yardstick of their moments.
///
/// A pair with a moment and a mark is judged here by its lag, so that the
/// shares always belong to the aim given; a lag that is not stated is taken
/// from the two times, one that is not finite leaves the moment counted as
/// paired and out of every other figure, and a line with neither moment nor
/// mark counts for nothing. Intervals at 95 %. O(n log n).
pub fn summarise(pairs: &[Pair], kind: Yardstick, aim: Aim) -> Summary {
    let n_moments = pairs.iter().filter(|p| p.moment_s.is_some()).count();
    let n_marks = pairs.iter().filter(|p| p.mark_s.is_some()).count();
    let paired: Vec<&Pair> = pairs
        .iter()
        .filter(|p| p.moment_s.is_some() && p.mark_s.is_some())
        .collect();
    let lags: Vec<f64> = paired.iter().filter_map(|p| lag_ms(p)).collect();
    let uncertainties: Vec<f64> = paired.iter().filter_map(|p| p.u_ms).collect();
    let judged = |outcome: Outcome| {
        let count = lags
            .iter()
            .filter(|lag| lag.is_finite() && aim.judge(**lag) == outcome)
            .count();
        Share::new(count, n_moments)
    };

    let sorted = sorted_finite(&lags);
    let quantile = |p| quantile_of_sorted(&sorted, p);
    let interval = median_interval_of_sorted(&sorted, LEVEL);
    let scores = error_scores(&sorted);
    let anticipated = (kind == Yardstick::Reaction).then(|| {
        let soon = sorted.partition_point(|lag| *lag < ANTICIPATED_BELOW_MS);
        Share::new(soon, sorted.len())
    });

    Summary {
        yardstick: kind,
        aim,
        n_moments,
        n_marks,
        n_paired: paired.len(),
        n_lags: sorted.len(),
        on_time: judged(Outcome::OnTime),
        early: judged(Outcome::Early),
        late: judged(Outcome::Late),
        missed: Share::new(n_moments - paired.len(), n_moments),
        stray: Share::new(n_marks - paired.len(), n_marks),
        median_ms: median_of_sorted(&sorted),
        median_low_ms: interval.map(|i| i.low),
        median_high_ms: interval.map(|i| i.high),
        median_coverage: interval.map(|i| i.coverage),
        q05_ms: quantile(0.05),
        q10_ms: quantile(0.10),
        q25_ms: quantile(0.25),
        q75_ms: quantile(0.75),
        q90_ms: quantile(0.90),
        q95_ms: quantile(0.95),
        iqr_ms: quantile(0.75)
            .zip(quantile(0.25))
            .map(|(high, low)| high - low),
        constant_error_ms: scores.map(|s| s.constant_ms),
        absolute_error_ms: scores.map(|s| s.absolute_ms),
        variable_error_n_ms: scores.map(|s| s.variable_n_ms),
        variable_error_n1_ms: scores.and_then(|s| s.variable_n1_ms),
        total_error_ms: scores.map(|s| s.total_ms),
        min_ms: sorted.first().copied(),
        max_ms: sorted.last().copied(),
        median_u_ms: median(&uncertainties),
        u_of_median_ms: interval.and_then(|i| scatter_of_median_ms(i.low, i.high, i.coverage)),
        anticipated,
        ex_gaussian: exgauss::fit(&sorted).into(),
    }
}

impl Summary {
    /// Puts what all lags have in common (`shared_u_ms`, a standard uncertainty in
    /// milliseconds: ways of the sound, a key's delay) into the uncertainty of the
    /// median. More marks make the scatter smaller, but never this.
    pub fn add_what_lags_share(&mut self, shared_u_ms: f64) {
        self.u_of_median_ms = self.u_of_median_ms.map(|u| u.hypot(shared_u_ms));
    }
}

/// Standard error of a median from its interval: half its width over the normal's
/// quantile of the coverage that it reaches exactly (a convention: the interval itself
/// needs no normal).
fn scatter_of_median_ms(low_ms: f64, high_ms: f64, coverage: f64) -> Option<f64> {
    let z = z_two_sided(coverage).filter(|z| *z > 0.0)?;
    Some(0.5 * (high_ms - low_ms) / z)
}

/// The lag as stated, or from the two times.
fn lag_ms(pair: &Pair) -> Option<f64> {
    pair.lag_ms
        .or_else(|| Some((pair.mark_s? - pair.moment_s?) * 1_000.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::exgauss::NoFit;
    use crate::measure::testing::{Chance, assert_close};
    use proptest::prelude::*;

    const AIM: Aim = Aim {
        from_ms: -50.0,
        to_ms: 80.0,
    };

    fn marked(moment_s: f64, lag_ms: f64) -> Pair {
        Pair {
            moment: None,
            mark: None,
            moment_s: Some(moment_s),
            mark_s: Some(moment_s + lag_ms / 1_000.0),
            lag_ms: Some(lag_ms),
            outcome: AIM.judge(lag_ms),
            u_ms: Some(0.5),
        }
    }

    fn missed(moment_s: f64) -> Pair {
        Pair {
            moment: None,
            mark: None,
            moment_s: Some(moment_s),
            mark_s: None,
            lag_ms: None,
            outcome: Outcome::Missed,
            u_ms: None,
        }
    }

    fn stray(mark_s: f64) -> Pair {
        Pair {
            moment: None,
            mark: None,
            moment_s: None,
            mark_s: Some(mark_s),
            lag_ms: None,
            outcome: Outcome::Stray,
            u_ms: None,
        }
    }

    /// Ten drops: lags −60, −20, −10, 0, 10, 30, 40, 120 ms, two missed, one stray.
    fn drill() -> Vec<Pair> {
        let mut pairs: Vec<Pair> = [-60.0, -20.0, -10.0, 0.0, 10.0, 30.0, 40.0, 120.0]
            .iter()
            .enumerate()
            .map(|(i, lag)| marked(i as f64 * 3.0, *lag))
            .collect();
        pairs.extend([missed(30.0), missed(33.0), stray(40.0)]);
        pairs
    }

    /// By hand: type 8 at ¼ of 8 values stands at ⅓ + ¼·(8 + ⅓) = 2.41667.
    #[test]
    fn a_drill_by_hand() {
        let got = summarise(&drill(), Yardstick::Anticipation, AIM);
        assert_eq!(
            (got.n_moments, got.n_marks, got.n_paired, got.n_lags),
            (10, 9, 8, 8)
        );
        let count = |s: Share| (s.count, s.of);
        assert_eq!(count(got.on_time), (6, 10));
        assert_eq!(count(got.early), (1, 10));
        assert_eq!(count(got.late), (1, 10));
        assert_eq!(count(got.missed), (2, 10));
        assert_eq!(count(got.stray), (1, 9));
        assert_eq!(got.median_ms, Some(5.0));
        assert_close(got.q25_ms.unwrap(), -20.0 + 0.416_667 * 10.0, 1e-5);
        assert_close(got.q75_ms.unwrap(), 30.0 + 0.583_333 * 10.0, 1e-5);
        assert_close(
            got.iqr_ms.unwrap(),
            got.q75_ms.unwrap() - got.q25_ms.unwrap(),
            1e-12,
        );
        // n = 8: ranks 1 and 8 reach 1 − 2/256; ranks 2 and 7 only 0.9297.
        assert_eq!(
            (got.median_low_ms, got.median_high_ms),
            (Some(-60.0), Some(120.0))
        );
        assert_close(got.median_coverage.unwrap(), 1.0 - 2.0 / 256.0, 1e-12);
        assert_close(got.constant_error_ms.unwrap(), 13.75, 1e-12);
        assert_close(got.absolute_error_ms.unwrap(), 36.25, 1e-12);
        // Sum of squares 21,100: mean 2,637.5; less 13.75² = 2,448.4375.
        assert_close(got.total_error_ms.unwrap(), 2_637.5f64.sqrt(), 1e-9);
        assert_close(got.variable_error_n_ms.unwrap(), 2448.4375f64.sqrt(), 1e-9);
        assert_close(
            got.variable_error_n1_ms.unwrap(),
            (2448.4375f64 * 8.0 / 7.0).sqrt(),
            1e-9,
        );
        assert_eq!(
            (got.min_ms, got.max_ms, got.median_u_ms),
            (Some(-60.0), Some(120.0), Some(0.5))
        );
        assert_eq!(got.anticipated, None);
        assert_eq!(
            got.ex_gaussian,
            FitOutcome::NotFitted(NoFit::TooFew { n: 8, needed: 40 })
        );
    }

    #[test]
    fn reactions_flag_what_was_anticipated() {
        let pairs: Vec<Pair> = [99.9, 100.0, 230.0, -40.0]
            .iter()
            .map(|lag| marked(1.0, *lag))
            .collect();
        let got = summarise(&pairs, Yardstick::Reaction, AIM);
        assert_eq!(got.anticipated.map(|s| (s.count, s.of)), Some((2, 4)));
    }

    #[test]
    fn nothing_only_misses_and_only_strays() {
        let nothing = summarise(&[], Yardstick::Reaction, AIM);
        assert_eq!(
            (nothing.n_moments, nothing.on_time.share, nothing.median_ms),
            (0, None, None)
        );
        assert_eq!(
            (nothing.min_ms, nothing.iqr_ms, nothing.constant_error_ms),
            (None, None, None)
        );
        let misses = summarise(&[missed(1.0), missed(2.0)], Yardstick::Anticipation, AIM);
        assert_eq!((misses.missed.share, misses.stray.share), (Some(1.0), None));
        assert_eq!((misses.median_ms, misses.q95_ms), (None, None));
        let strays = summarise(&[stray(1.0)], Yardstick::Anticipation, AIM);
        assert_eq!((strays.stray.share, strays.missed.share), (Some(1.0), None));
    }

    #[test]
    fn odd_lines_are_counted_as_documented() {
        let unstated = Pair {
            lag_ms: None,
            ..marked(1.0, 20.0)
        };
        let broken = Pair {
            lag_ms: Some(f64::NAN),
            ..marked(2.0, 20.0)
        };
        let empty = Pair {
            mark_s: None,
            ..stray(3.0)
        };
        let got = summarise(&[unstated, broken, empty], Yardstick::Anticipation, AIM);
        assert_eq!(
            (got.n_moments, got.n_marks, got.n_paired, got.n_lags),
            (2, 2, 2, 1)
        );
        assert_eq!(got.on_time.count, 1);
        assert_close(got.median_ms.unwrap(), 20.0, 1e-9);
    }

    #[test]
    fn survives_json_and_says_the_reason_there() {
        let mut chance = Chance::new(71);
        let tail: Vec<Pair> = (0..60)
            .map(|i| {
                marked(
                    f64::from(i),
                    200.0 + 20.0 * chance.normal() + 60.0 * chance.exponential(),
                )
            })
            .collect();
        for pairs in [drill(), tail, vec![]] {
            let summary = summarise(&pairs, Yardstick::Reaction, AIM);
            let text = serde_json::to_string(&summary).unwrap();
            let back: Summary = serde_json::from_str(&text).unwrap();
            assert_eq!(serde_json::to_string(&back).unwrap(), text);
        }
        let text = serde_json::to_value(summarise(&drill(), Yardstick::Anticipation, AIM)).unwrap();
        assert_eq!(text["ex_gaussian"]["not_fitted"]["reason"], "too_few");
        assert_eq!(text["yardstick"], "anticipation");
    }

    proptest! {
        #[test]
        fn every_moment_has_one_outcome(
            lags in prop::collection::vec(-400.0..900.0f64, 0..60),
            misses in 0usize..10,
            strays in 0usize..10,
        ) {
            let mut pairs: Vec<Pair> = lags.iter().map(|lag| marked(1.0, *lag)).collect();
            pairs.extend((0..misses).map(|_| missed(1.0)));
            pairs.extend((0..strays).map(|_| stray(1.0)));
            let got = summarise(&pairs, Yardstick::Reaction, AIM);
            let judged = got.on_time.count + got.early.count + got.late.count + got.missed.count;
            prop_assert_eq!(judged, got.n_moments);
            prop_assert_eq!(got.stray.count + got.n_paired, got.n_marks);
            if let (Some(low), Some(high)) = (got.q05_ms, got.q95_ms) {
                prop_assert!(got.min_ms <= Some(low) && low <= high && Some(high) <= got.max_ms);
            }
        }
    }
}
