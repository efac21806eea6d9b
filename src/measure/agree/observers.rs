//! Two people who noted the same session, or one who looked twice: do they agree
//! on whether something happened, on what it was, and on when.

use super::bland_altman::{BlandAltman, bland_altman};
use super::icc::{Icc, icc};
use super::kappa::{Kappa, cohens_kappa};
use crate::measure::proportion::Share;
use crate::timeline::{Aim, Pair, Window, WindowError, pair};

/// Marks closer than this are the same one heard twice, in milliseconds.
const SAME_MARK_MS: f64 = 20.0;

/// What something that was noted was called.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Call {
    /// Reached its step.
    Reached,
    /// A near miss.
    NearMiss,
    /// An unasked offer.
    Offer,
    /// A cue.
    Cue,
    /// A treat.
    Treat,
}

/// The calls of what an animal does: which of them it was is a judgement.
pub const OF_THE_ANIMAL: [Call; 3] = [Call::Reached, Call::NearMiss, Call::Offer];

/// One thing that was noted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noted {
    /// Seconds.
    pub t_s: f64,
    /// What it was called.
    pub call: Call,
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
    /// Kappa of the calls of the matched; `None` where both call all alike, so
    /// that it has no meaning. There is none for whether something was noted at
    /// all: nobody counts what nobody noted.
    pub calls: Option<Kappa>,
    /// First − second of the matched instants, in milliseconds, at 95 %.
    pub when: Option<BlandAltman>,
}

/// Compares what two noted of the kinds `of`; instants within `window_ms` of each
/// other may match, each once, the cheapest assignment that keeps the order.
///
/// # Errors
/// A window that cannot be used.
pub fn agreement(
    first: &[Noted],
    second: &[Noted],
    of: &[Call],
    window_ms: f64,
) -> Result<Agreement, WindowError> {
    let wanted = |list: &[Noted]| -> Vec<Noted> {
        let wanted = list.iter().filter(|n| of.contains(&n.call));
        wanted.copied().collect()
    };
    let (first, second) = (wanted(first), wanted(second));
    let times = |list: &[Noted]| -> Vec<f64> { list.iter().map(|n| n.t_s).collect() };
    let pairs = matched(&times(&first), &times(&second), window_ms)?;
    let both: Vec<(&Noted, &Noted)> = both(&pairs, &first, &second).collect();
    let place = |noted: &Noted| of.iter().position(|c| *c == noted.call).unwrap_or(0);
    let mut table = vec![vec![0u64; of.len()]; of.len()];
    for (a, b) in &both {
        table[place(a)][place(b)] += 1;
    }
    let alike: u64 = (0..of.len()).map(|k| table[k][k]).sum();
    let first_ms: Vec<f64> = both.iter().map(|p| 1e3 * p.0.t_s).collect();
    let second_ms: Vec<f64> = both.iter().map(|p| 1e3 * p.1.t_s).collect();
    Ok(Agreement {
        matched: Share::new(both.len(), pairs.len()),
        only_first: pairs.iter().filter(|p| p.mark_s.is_none()).count(),
        only_second: pairs.iter().filter(|p| p.moment_s.is_none()).count(),
        alike: Share::new(usize::try_from(alike).unwrap_or(0), both.len()),
        calls: cohens_kappa(&table),
        when: bland_altman(&first_ms, &second_ms, 0.95),
    })
}

/// Whether marks were earned, as two people's moments have it: a mark with a
/// moment or without. Here kappa has a meaning, for the marks are there to be
/// counted whatever anybody noted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Earned {
    /// Marks that both call earned or both call stray, out of all.
    pub alike: Share,
    /// Kappa; `None` where both call all alike.
    pub kappa: Option<Kappa>,
}

/// Whether marks were earned, by the pairs of two people with the same marks;
/// `None` without a mark that both have.
///
/// # Errors
/// None in practice: the window is a constant.
pub fn earned(first: &[Pair], second: &[Pair]) -> Result<Option<Earned>, WindowError> {
    let of = |pairs: &[Pair]| -> Vec<(f64, bool)> {
        let marks = pairs.iter();
        marks
            .filter_map(|p| Some((p.mark_s?, p.moment_s.is_some())))
            .collect()
    };
    let (a, b) = (of(first), of(second));
    let times = |list: &[(f64, bool)]| -> Vec<f64> { list.iter().map(|p| p.0).collect() };
    let mut table = vec![vec![0u64; 2]; 2];
    for (one, two) in both(&matched(&times(&a), &times(&b), SAME_MARK_MS)?, &a, &b) {
        table[usize::from(one.1)][usize::from(two.1)] += 1;
    }
    let count = |n: u64| usize::try_from(n).unwrap_or(0);
    let all = count(table.iter().flatten().sum());
    Ok((all > 0).then(|| Earned {
        alike: Share::new(count(table[0][0] + table[1][1]), all),
        kappa: cohens_kappa(&table),
    }))
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
    let rows: Vec<Vec<f64>> = both(&matched(&times(&a), &times(&b), SAME_MARK_MS)?, &a, &b)
        .map(|(one, two)| vec![one.1, two.1])
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

/// What the pairs of two lists put together: one of each.
fn both<'a, T>(
    pairs: &[Pair],
    first: &'a [T],
    second: &'a [T],
) -> impl Iterator<Item = (&'a T, &'a T)> {
    let places = pairs.iter().filter_map(|p| p.moment.zip(p.mark));
    places.filter_map(|(a, b)| first.get(a.place()).zip(second.get(b.place())))
}

#[cfg(test)]
mod tests {
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
        let of = |is_reached| {
            if is_reached {
                Call::Reached
            } else {
                Call::NearMiss
            }
        };
        let (mut first, mut second) = (Vec::new(), Vec::new());
        let mut t_s = 0.0;
        for (n, a, b) in kinds {
            for _ in 0..n {
                t_s += 5.0;
                first.push(Noted { t_s, call: of(a) });
                second.push(Noted {
                    t_s: t_s - 0.1,
                    call: of(b),
                });
            }
        }
        first.push(Noted {
            t_s: 900.0,
            call: Call::Reached,
        });
        second.extend([901.0, 950.0].map(|t_s| Noted {
            t_s,
            call: Call::Reached,
        }));
        let got = agreement(&first, &second, &OF_THE_ANIMAL, 500.0).unwrap();
        assert_eq!((got.matched.count, got.matched.of), (50, 53));
        assert_eq!((got.only_first, got.only_second), (1, 2));
        assert_eq!(got.alike.count, 35);
        assert_close(got.calls.unwrap().kappa, 0.4, 1e-12);
        let when = got.when.unwrap();
        assert_close(when.bias, 100.0, 1e-6);
        assert_close(when.sd, 0.0, 1e-6);
    }

    /// Three calls, and each kind by itself. The table 20 5 0 / 5 20 5 / 0 5 40:
    /// pₒ = 0.8, pₑ = 0.25² + 0.3² + 0.45² = 0.355 by hand.
    #[test]
    fn three_calls_and_kinds_that_do_not_mix() {
        let table = [[20, 5, 0], [5, 20, 5], [0, 5, 40]];
        let (mut first, mut second) = (Vec::new(), Vec::new());
        let mut t_s = 0.0;
        for (i, row) in table.iter().enumerate() {
            for (j, n) in row.iter().enumerate() {
                for _ in 0..*n {
                    t_s += 5.0;
                    first.push(Noted {
                        t_s,
                        call: OF_THE_ANIMAL[i],
                    });
                    second.push(Noted {
                        t_s: t_s + 0.02,
                        call: OF_THE_ANIMAL[j],
                    });
                }
            }
        }
        // A treat at the same instant as a behaviour is no match for it.
        first.push(Noted {
            t_s: 5.0,
            call: Call::Treat,
        });
        second.push(Noted {
            t_s: 5.3,
            call: Call::Treat,
        });
        first.push(Noted {
            t_s: 900.0,
            call: Call::Cue,
        });
        let got = agreement(&first, &second, &OF_THE_ANIMAL, 500.0).unwrap();
        assert_eq!((got.matched.count, got.matched.of), (100, 100));
        assert_close(got.calls.unwrap().kappa, (0.8 - 0.355) / 0.645, 1e-12);
        let treats = agreement(&first, &second, &[Call::Treat], 500.0).unwrap();
        assert_eq!((treats.matched.count, treats.calls), (1, None));
        let cues = agreement(&first, &second, &[Call::Cue], 500.0).unwrap();
        assert_eq!((cues.matched.count, cues.only_first), (0, 1));
    }

    /// Two kinds of event at one instant are two things that were noted: of six instants
    /// at which both noted two, one noted a near miss where the other noted an offer.
    #[test]
    fn two_kinds_at_one_instant_are_told_apart() {
        let at = |t_s: f64, call| Noted { t_s, call };
        let times = [10.0, 20.0, 30.0, 40.0, 50.0, 60.0];
        let list = |second| -> Vec<Noted> {
            let both = times.map(|t_s| [at(t_s, Call::Reached), at(t_s, second)]);
            both.into_iter().flatten().collect()
        };
        let (first, second) = (list(Call::NearMiss), list(Call::Offer));
        let got = agreement(&first, &second, &OF_THE_ANIMAL, 500.0).unwrap();
        assert_eq!((got.matched.count, got.matched.of), (12, 12));
        assert_eq!((got.alike.count, got.alike.of), (6, 12));
    }

    /// Cohen's table 20 5 / 10 15 once more (κ 0.40), of marks earned or stray.
    #[test]
    fn whether_marks_were_earned() {
        let counts = [
            (20, true, true),
            (5, true, false),
            (10, false, true),
            (15, false, false),
        ];
        let (mut first, mut second) = (Vec::new(), Vec::new());
        let mut t_s = 0.0;
        for (n, a, b) in counts {
            for _ in 0..n {
                t_s += 3.0;
                let pair = |is_earned: bool, mark_s: f64| Pair {
                    moment: None,
                    mark: None,
                    moment_s: is_earned.then_some(mark_s - 0.2),
                    mark_s: Some(mark_s),
                    lag_ms: is_earned.then_some(200.0),
                    outcome: if is_earned {
                        Outcome::OnTime
                    } else {
                        Outcome::Stray
                    },
                    u_ms: None,
                };
                first.push(pair(a, t_s));
                second.push(pair(b, t_s + 0.001));
            }
        }
        let got = earned(&first, &second).unwrap().unwrap();
        assert_eq!((got.alike.count, got.alike.of), (35, 50));
        assert_close(got.kappa.unwrap().kappa, 0.4, 1e-12);
        assert!(earned(&first, &[]).unwrap().is_none());
    }

    #[test]
    fn where_kappa_has_no_meaning_there_is_none() {
        let all = [1.0, 2.0, 3.0].map(|t_s| Noted {
            t_s,
            call: Call::Reached,
        });
        let got = agreement(&all, &all, &OF_THE_ANIMAL, 500.0).unwrap();
        assert_eq!((got.matched.count, got.calls), (3, None));
        let none = agreement(&[], &[], &OF_THE_ANIMAL, 500.0).unwrap();
        assert_eq!((none.matched.share, none.when.is_none()), (None, true));
        assert!(agreement(&all, &all, &OF_THE_ANIMAL, -1.0).is_err());
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
                    moment: None,
                    mark: None,
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
