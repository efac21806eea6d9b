//! One mark, one treat: which treat pays which mark.

use crate::timeline::session::{Act, ActKind};
use crate::timeline::{Aim, Window, pair};

/// What was paid, and what was not.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Paid {
    /// (mark, treat) in seconds, in order of time; treat − mark is the treat gap.
    pub paid: Vec<(f64, f64)>,
    /// Marks that no treat followed in time, in seconds. Empty when no treat was
    /// ever noted: then nothing is known.
    pub unpaid_s: Vec<f64>,
    /// Treats that pay no mark: a second one, or one to calm.
    pub extra: usize,
    /// Treats in all.
    pub treats: usize,
}

/// Which treat pays which mark: the cheapest assignment that keeps the order, as
/// moments and marks are paired, a treat coming 0 to `within_s` after its mark.
/// A mark whose time is not yet over at `now_s` is not unpaid yet; `is_over`
/// says that nothing more comes.
pub fn treats(acts: &[Act], within_s: f64, now_s: f64, is_over: bool) -> Paid {
    let of = |kind: ActKind| -> Vec<f64> {
        acts.iter()
            .filter(|a| a.kind == kind)
            .map(|a| a.t_s)
            .collect()
    };
    let (marks, given) = (of(ActKind::Mark), of(ActKind::Treat));
    let mut result = Paid {
        treats: given.len(),
        ..Paid::default()
    };
    let Ok(window) = Window::new(0.0, within_s * 1e3) else {
        return result;
    };
    // The aim plays no part here.
    let aim = Aim {
        from_ms: 0.0,
        to_ms: 0.0,
    };
    for one in pair(&marks, &given, window, aim) {
        match (one.moment_s, one.mark_s) {
            (Some(mark_s), Some(treat_s)) => result.paid.push((mark_s, treat_s)),
            (Some(mark_s), None) if is_over || now_s - mark_s > within_s => {
                result.unpaid_s.push(mark_s);
            }
            (None, Some(_)) => result.extra += 1,
            _ => {}
        }
    }
    if given.is_empty() {
        result.unpaid_s.clear();
    }
    result
}

#[cfg(test)]
mod tests {
    use super::*;

    fn acts(marks: &[f64], given: &[f64]) -> Vec<Act> {
        let act = |t_s: &f64, kind| Act {
            t_s: *t_s,
            u_ms: 0.0,
            item: 0,
            step: 1,
            kind,
        };
        let marks = marks.iter().map(|t| act(t, ActKind::Mark));
        let given = given.iter().map(|t| act(t, ActKind::Treat));
        marks.chain(given).collect()
    }

    #[test]
    fn one_mark_one_treat() {
        // The first is paid after 1.5 s and gets one more; the second is not
        // paid; a treat before any mark pays nothing.
        let got = treats(
            &acts(&[10.0, 30.0, 60.0], &[5.0, 11.5, 12.0, 61.0]),
            10.0,
            65.0,
            false,
        );
        assert_eq!(got.paid, [(10.0, 11.5), (60.0, 61.0)]);
        assert_eq!(got.unpaid_s, [30.0]);
        assert_eq!((got.extra, got.treats), (2, 4));
    }

    #[test]
    fn a_mark_is_unpaid_once_its_time_is_over_or_the_session_is() {
        let acts = acts(&[10.0, 60.0], &[11.0]);
        assert!(treats(&acts, 10.0, 65.0, false).unpaid_s.is_empty());
        assert_eq!(treats(&acts, 10.0, 70.1, false).unpaid_s, [60.0]);
        assert_eq!(treats(&acts, 10.0, 65.0, true).unpaid_s, [60.0]);
    }

    #[test]
    fn with_no_treat_noted_nothing_is_called_unpaid() {
        let got = treats(&acts(&[10.0, 30.0], &[]), 10.0, 90.0, true);
        assert_eq!(got, Paid::default());
    }
}
