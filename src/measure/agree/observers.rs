//! Two people who noted the same session, or one who looked twice: do they agree
//! on whether something happened, on what it was, and on when.

use super::bland_altman::{BlandAltman, bland_altman};
use super::icc::{Icc, icc};
use super::kappa::{Kappa, cohens_kappa};
use crate::measure::proportion::Share;
use crate::timeline::{Aim, Pair, Window, WindowError, pair};

/// Marks closer than this are the same one heard twice, in milliseconds.
const SAME_MARK_MS: f64 = 20.0;

/// One thing that was noted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noted {
    /// Seconds.
    pub t_s: f64,
    /// Reached its step, or a near miss.
    pub is_reached: bool,
}

/// How far two lists of what was noted agree.
#[derive(Debug, Clone, PartialEq)]
pub struct Agreement {
    /// Noted by both, out of all that either noted (point by point).
    pub matched: Share,
    /// Noted by the first alone.
    pub only_first: usize,
    /// Noted by the second alone.
    pub only_second: usize,
    /// Of the matched, those that both called alike.
    pub alike: Share,
    /// Kappa of reached against near miss; `None` where one of them calls all
    /// alike, so that it has no meaning. There is none for whether something was
    /// noted at all: nobody counts what nobody noted.
    pub kinds: Option<Kappa>,
    /// First − second of the matched instants, in milliseconds, at 95 %.
    pub when: Option<BlandAltman>,
}

/// Compares two lists; instants within `window_ms` of each other may match, each
/// once, the cheapest assignment that keeps the order.
///
/// # Errors
/// A window that cannot be used.
pub fn agreement(
    first: &[Noted],
    second: &[Noted],
    window_ms: f64,
) -> Result<Agreement, WindowError> {
    let times = |list: &[Noted]| -> Vec<f64> { list.iter().map(|n| n.t_s).collect() };
    let pairs = matched(&times(first), &times(second), window_ms)?;
    let both: Vec<(f64, f64)> = pairs
        .iter()
        .filter_map(|p| p.moment_s.zip(p.mark_s))
        .collect();
    let is_reached = |list: &[Noted], t_s: f64| {
        list.iter()
            .find(|n| n.t_s == t_s)
            .is_some_and(|n| n.is_reached)
    };
    let mut table = vec![vec![0u64; 2]; 2];
    for (a, b) in &both {
        table[usize::from(!is_reached(first, *a))][usize::from(!is_reached(second, *b))] += 1;
    }
    let alike = usize::try_from(table[0][0] + table[1][1]).unwrap_or(0);
    let ms =
        |of: fn(&(f64, f64)) -> f64| -> Vec<f64> { both.iter().map(|p| 1e3 * of(p)).collect() };
    Ok(Agreement {
        matched: Share::new(both.len(), pairs.len()),
        only_first: pairs.iter().filter(|p| p.mark_s.is_none()).count(),
        only_second: pairs.iter().filter(|p| p.moment_s.is_none()).count(),
        alike: Share::new(alike, both.len()),
        kinds: cohens_kappa(&table),
        when: bland_altman(&ms(|p| p.0), &ms(|p| p.1), 0.95),
    })
}

/// ICC of lags that two people's moments give to the same marks, at 95 %; its
/// ICC(2,1) is the one to read. Instants themselves would always seem to agree:
/// a session is long. `None` below two such marks.
///
/// # Errors
/// None in practice: the window is a constant.
pub fn lags_icc(first: &[Pair], second: &[Pair]) -> Result<Option<Icc>, WindowError> {
    let of = |pairs: &[Pair]| -> Vec<(f64, f64)> {
        pairs
            .iter()
            .filter_map(|p| p.mark_s.zip(p.lag_ms))
            .collect()
    };
    let (a, b) = (of(first), of(second));
    let times = |list: &[(f64, f64)]| -> Vec<f64> { list.iter().map(|p| p.0).collect() };
    let lag = |list: &[(f64, f64)], t_s: f64| list.iter().find(|p| p.0 == t_s).map(|p| p.1);
    let rows: Vec<Vec<f64>> = matched(&times(&a), &times(&b), SAME_MARK_MS)?
        .iter()
        .filter_map(|p| Some(vec![lag(&a, p.moment_s?)?, lag(&b, p.mark_s?)?]))
        .collect();
    Ok(icc(&rows, 0.95))
}

fn matched(first: &[f64], second: &[f64], window_ms: f64) -> Result<Vec<Pair>, WindowError> {
    // The aim plays no part here.
    let aim = Aim {
        from_ms: 0.0,
        to_ms: 0.0,
    };
    Ok(pair(first, second, Window::new(window_ms, window_ms)?, aim))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::measure::testing::assert_close;
    use crate::timeline::Outcome;

    /// By hand, with Cohen's table 20 5 / 10 15 (κ 0.40: as in `agree::kappa`):
    /// fifty matched, each 100 ms apart, and one and two left over.
    #[test]
    fn a_known_kappa_and_a_known_shift() {
        let kinds = [
            (20, true, true),
            (5, true, false),
            (10, false, true),
            (15, false, false),
        ];
        let (mut first, mut second) = (Vec::new(), Vec::new());
        let mut t_s = 0.0;
        for (n, a, b) in kinds {
            for _ in 0..n {
                t_s += 5.0;
                first.push(Noted { t_s, is_reached: a });
                second.push(Noted {
                    t_s: t_s - 0.1,
                    is_reached: b,
                });
            }
        }
        first.push(Noted {
            t_s: 900.0,
            is_reached: true,
        });
        second.extend([901.0, 950.0].map(|t_s| Noted {
            t_s,
            is_reached: true,
        }));
        let got = agreement(&first, &second, 500.0).unwrap();
        assert_eq!((got.matched.count, got.matched.of), (50, 53));
        assert_eq!((got.only_first, got.only_second), (1, 2));
        assert_eq!(got.alike.count, 35);
        assert_close(got.kinds.unwrap().kappa, 0.4, 1e-12);
        let when = got.when.unwrap();
        assert_close(when.bias, 100.0, 1e-6);
        assert_close(when.sd, 0.0, 1e-6);
    }

    #[test]
    fn where_kappa_has_no_meaning_there_is_none() {
        let all = [1.0, 2.0, 3.0].map(|t_s| Noted {
            t_s,
            is_reached: true,
        });
        let got = agreement(&all, &all, 500.0).unwrap();
        assert_eq!((got.matched.count, got.kinds), (3, None));
        let none = agreement(&[], &[], 500.0).unwrap();
        assert_eq!((none.matched.share, none.when.is_none()), (None, true));
        assert!(agreement(&all, &all, -1.0).is_err());
    }

    /// Two judges of Shrout and Fleiss's six targets (1979, Table 2, the first two
    /// columns), heard a thousandth of a second apart: the same as `icc` itself,
    /// which is checked against the paper.
    #[test]
    fn lags_of_the_same_marks_are_set_side_by_side() {
        let judged = [
            (9.0, 2.0),
            (6.0, 1.0),
            (8.0, 4.0),
            (7.0, 1.0),
            (10.0, 5.0),
            (6.0, 2.0),
        ];
        let pairs = |of: fn(&(f64, f64)) -> f64, later_s: f64| -> Vec<Pair> {
            let marks = judged.iter().enumerate();
            marks
                .map(|(k, p)| Pair {
                    moment_s: Some(k as f64),
                    mark_s: Some(k as f64 * 10.0 + later_s),
                    lag_ms: Some(of(p)),
                    outcome: Outcome::OnTime,
                    u_ms: None,
                })
                .collect()
        };
        let got = lags_icc(&pairs(|p| p.0, 0.0), &pairs(|p| p.1, 0.001))
            .unwrap()
            .unwrap();
        let rows: Vec<Vec<f64>> = judged.iter().map(|p| vec![p.0, p.1]).collect();
        assert_eq!((got.targets, got.judges), (6, 2));
        assert_eq!(got.icc2_single, icc(&rows, 0.95).unwrap().icc2_single);
        assert!(lags_icc(&[], &[]).unwrap().is_none());
    }
}
