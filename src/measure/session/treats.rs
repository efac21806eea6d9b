//! One mark, one treat: which treat pays which mark.

use crate::timeline::session::{Act, ActKind};
use crate::timeline::{Aim, SoundId, Window, pair};

/// A mark that a treat followed in time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Payment {
    /// Which mark.
    pub mark: SoundId,
    /// From the mark to the treat, in seconds.
    pub gap_s: f64,
}

/// A mark that no treat followed in time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unpaid {
    /// Which mark.
    pub mark: SoundId,
    /// Seconds.
    pub t_s: f64,
}

/// What was paid, and what was not.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Paid {
    /// Paid marks, in order of time.
    pub paid: Vec<Payment>,
    /// Unpaid marks, in order of time. Empty when no treat was ever noted: then nothing
    /// is known.
    pub unpaid: Vec<Unpaid>,
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
    let of = |kind: ActKind| acts.iter().filter(move |a| a.kind == kind);
    let marks: Vec<f64> = of(ActKind::Mark).map(|a| a.t_s).collect();
    let given: Vec<f64> = of(ActKind::Treat).map(|a| a.t_s).collect();
    let ids: Vec<SoundId> = of(ActKind::Mark).map(|a| SoundId(a.number)).collect();
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
    // A mark is to be paid as a moment is to be marked.
    for one in pair(&marks, &given, window, aim) {
        let mark = one.moment.map(|id| ids[id.place()]);
        match (mark, one.moment_s, one.mark_s) {
            (Some(mark), Some(mark_s), Some(treat_s)) => {
                let gap_s = treat_s - mark_s;
                result.paid.push(Payment { mark, gap_s });
            }
            (Some(mark), Some(t_s), None) if is_over || now_s - t_s > within_s => {
                result.unpaid.push(Unpaid { mark, t_s });
            }
            (None, ..) => result.extra += 1,
            _ => {}
        }
    }
    if given.is_empty() {
        result.unpaid.clear();
    }
    result
}

#[cfg(test)]
mod tests {
    use super::*;

    fn acts(marks: &[f64], given: &[f64]) -> Vec<Act> {
        let act = |t_s: &f64, kind| Act {
            number: *t_s as i64,
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

    fn unpaid_s(paid: &Paid) -> Vec<f64> {
        paid.unpaid.iter().map(|u| u.t_s).collect()
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
        let payment = |mark, gap_s| Payment {
            mark: SoundId(mark),
            gap_s,
        };
        assert_eq!(got.paid, [payment(10, 1.5), payment(60, 1.0)]);
        assert_eq!(unpaid_s(&got), [30.0]);
        assert_eq!((got.extra, got.treats), (2, 4));
    }

    #[test]
    fn a_mark_is_unpaid_once_its_time_is_over_or_the_session_is() {
        let acts = acts(&[10.0, 60.0], &[11.0]);
        assert!(treats(&acts, 10.0, 65.0, false).unpaid.is_empty());
        assert_eq!(unpaid_s(&treats(&acts, 10.0, 70.1, false)), [60.0]);
        assert_eq!(unpaid_s(&treats(&acts, 10.0, 65.0, true)), [60.0]);
    }

    #[test]
    fn with_no_treat_noted_nothing_is_called_unpaid() {
        let got = treats(&acts(&[10.0, 30.0], &[]), 10.0, 90.0, true);
        assert_eq!(got, Paid::default());
    }
}
