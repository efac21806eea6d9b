//! A summary in plain sentences for a trainer, one idea a line.

use super::exgauss::FitOutcome;
use super::proportion::Share;
use super::summary::{ANTICIPATED_BELOW_MS, Summary};
use super::yardstick::Yardstick;
use crate::words::count;

/// A predictable moment marked later than this was most likely waited for and
/// then reacted to. A convention of this program: reactions to a sound or a
/// sight rarely come sooner.
pub const WAITED_ABOVE_MS: f64 = 150.0;

/// A lag in words: "42 ms late", "12 ms early", "right on the moment".
///
/// Whole milliseconds; what rounds to 0 is on the moment; "unknown" if not finite.
pub fn lag(lag_ms: f64) -> String {
    if !lag_ms.is_finite() {
        return "unknown".to_owned();
    }
    match lag_ms.round() {
        0.0 => "right on the moment".to_owned(),
        ms if ms < 0.0 => format!("{} ms early", -ms),
        ms => format!("{ms} ms late"),
    }
}

/// A range of lags in words: "between 18 and 60 ms late", "between 12 ms early
/// and 40 ms late"; ends that round to the same are told once.
pub fn lag_range(low_ms: f64, high_ms: f64) -> String {
    let (low, high) = (low_ms.round(), high_ms.round());
    if low == high {
        lag(low)
    } else if low >= 0.0 && high > 0.0 {
        format!("between {} and {high} ms late", low.abs())
    } else if high <= 0.0 && low < 0.0 {
        format!("between {} and {} ms early", -low, high.abs())
    } else {
        format!("between {} and {}", lag(low), lag(high))
    }
}

/// The summary in sentences, most telling first; never empty.
pub fn sentences(summary: &Summary) -> Vec<String> {
    let mut lines = vec![counts(summary)];
    if summary.n_lags == 0 {
        lines.push("No mark matched a moment, so no lag could be measured.".to_owned());
        return lines;
    }
    lines.push(typical(summary));
    lines.extend(interval(summary));
    match summary.yardstick {
        Yardstick::Anticipation => lines.extend(anticipation(summary)),
        Yardstick::Reaction => lines.extend(reaction(summary)),
    }
    lines
}

/// How many moments were marked on time, early, late and missed; strays.
fn counts(summary: &Summary) -> String {
    if summary.n_moments == 0 {
        return match summary.n_marks {
            0 => "Neither a moment nor a mark was found.".to_owned(),
            1 => "1 mark and no moment for it.".to_owned(),
            n => format!("{n} marks and no moment for them."),
        };
    }
    let mut line = format!(
        "{} of {} marked on time{}, {} early, {} late, {} missed",
        summary.on_time.count,
        moments(summary.n_moments),
        percent_range(summary.on_time),
        summary.early.count,
        summary.late.count,
        summary.missed.count,
    );
    line.push_str(&match summary.stray.count {
        // Out of nothing: no mark, or none that can be called stray.
        _ if summary.stray.of == 0 => ".".to_owned(),
        0 => "; no strays.".to_owned(),
        n => format!("; {}.", count(n, "stray mark", "stray marks")),
    });
    line
}

fn moments(n: usize) -> String {
    count(n, "moment", "moments")
}

/// " (95 % interval 49 to 94 %)", or nothing out of nothing.
fn percent_range(share: Share) -> String {
    match share.low.zip(share.high) {
        Some((low, high)) => {
            format!(
                " (95 % interval {:.0} to {:.0} %)",
                100.0 * low,
                100.0 * high
            )
        }
        None => String::new(),
    }
}

fn typical(summary: &Summary) -> String {
    let middle = lag(summary.median_ms.unwrap_or(f64::NAN));
    match summary.q25_ms.zip(summary.q75_ms) {
        Some((low, high)) if summary.n_lags >= 4 => {
            format!(
                "Typically {middle}; half of your marks came {}.",
                lag_range(low, high)
            )
        }
        _ if summary.n_lags == 1 => format!("The one lag was {middle}."),
        _ => format!("Typically {middle}, from {} marks.", summary.n_lags),
    }
}

fn interval(summary: &Summary) -> Option<String> {
    let line = match summary.median_low_ms.zip(summary.median_high_ms) {
        Some((low, high)) => {
            format!(
                "The typical lag is known to lie {} (95 % interval).",
                lag_range(low, high)
            )
        }
        None => format!(
            "{} are too few to say how sure the typical lag is: at least 6 are needed.",
            summary.n_lags
        ),
    };
    (summary.n_lags > 1).then_some(line)
}

fn anticipation(summary: &Summary) -> Vec<String> {
    let mut lines =
        vec!["This moment can be seen coming: a little early is usual and no fault.".to_owned()];
    if let Some((bias, ve)) = summary.constant_error_ms.zip(summary.variable_error_n1_ms) {
        lines.push(format!(
            "On average {} (constant error), give or take {ve:.0} ms \
             (variable error, divisor n − 1).",
            lag(bias)
        ));
    }
    if summary
        .median_ms
        .is_some_and(|median| median > WAITED_ABOVE_MS)
    {
        lines.push(format!(
            "Over {WAITED_ABOVE_MS:.0} ms late most likely means waiting for the moment and then \
             reacting (this program's convention): watch the way there and mark with it."
        ));
    }
    lines
}

fn reaction(summary: &Summary) -> Vec<String> {
    let mut lines = vec![
        "This moment cannot be seen coming: some delay is human, so look at the middle and at \
         the late ones."
            .to_owned(),
    ];
    if let Some(late) = summary.q90_ms.filter(|_| summary.n_lags >= 10) {
        lines.push(format!(
            "One mark in ten came later than this: {}.",
            lag(late)
        ));
    }
    if let Some(soon) = summary.anticipated.filter(|share| share.count > 0) {
        lines.push(format!(
            "{} of {} came under {ANTICIPATED_BELOW_MS:.0} ms, too soon to be a reaction: counted \
             as anticipated (this program's convention).",
            soon.count, soon.of
        ));
    }
    match summary.ex_gaussian {
        FitOutcome::Fitted(fit) => lines.push(format!(
            "The shape: most marks about {}, give or take {:.0} ms, and a late tail that adds \
             {:.0} ms on average (ex-Gaussian fit).",
            lag(fit.distribution.mu_ms),
            fit.distribution.sigma_ms,
            fit.distribution.tau_ms
        )),
        FitOutcome::NotFitted(reason) => lines.push(format!("No shape is fitted: {reason}.")),
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::summary::summarise;
    use crate::measure::testing::Chance;
    use crate::timeline::{Aim, Outcome, Pair};
    use proptest::prelude::*;

    const AIM: Aim = Aim {
        from_ms: -50.0,
        to_ms: 80.0,
    };

    fn pairs(lags: &[f64]) -> Vec<Pair> {
        lags.iter()
            .map(|lag| Pair {
                moment: None,
                mark: None,
                moment_s: Some(1.0),
                mark_s: Some(1.0 + lag / 1_000.0),
                lag_ms: Some(*lag),
                outcome: AIM.judge(*lag),
                u_ms: None,
            })
            .collect()
    }

    fn told(lags: &[f64], yardstick: Yardstick) -> String {
        sentences(&summarise(&pairs(lags), yardstick, AIM)).join("\n")
    }

    #[test]
    fn lags_in_words() {
        assert_eq!(lag(42.4), "42 ms late");
        assert_eq!(lag(-12.0), "12 ms early");
        assert_eq!(lag(-0.3), "right on the moment");
        assert_eq!(lag(f64::NAN), "unknown");
        assert_eq!(lag_range(18.0, 60.0), "between 18 and 60 ms late");
        assert_eq!(lag_range(-0.2, 60.0), "between 0 and 60 ms late");
        assert_eq!(lag_range(-31.0, -12.0), "between 31 and 12 ms early");
        assert_eq!(lag_range(-31.0, -0.1), "between 31 and 0 ms early");
        assert_eq!(lag_range(-12.0, 40.0), "between 12 ms early and 40 ms late");
        assert_eq!(lag_range(-0.2, 0.3), "right on the moment");
        assert_eq!(lag_range(41.8, 42.2), "42 ms late");
    }

    #[test]
    fn a_predictable_moment_speaks_of_bias_and_spread() {
        let text = told(
            &[-20.0, 10.0, 40.0, 30.0, -10.0, 15.0, 12.0, 90.0],
            Yardstick::Anticipation,
        );
        assert!(
            text.starts_with("7 of 8 moments marked on time (95 % interval 53 to 98 %)"),
            "{text}"
        );
        assert!(
            text.contains("Typically 14 ms late; half of your marks came between"),
            "{text}"
        );
        assert!(text.contains("a little early is usual"), "{text}");
        assert!(
            text.contains("constant error") && text.contains("divisor n − 1"),
            "{text}"
        );
        assert!(
            !text.contains("anticipated") && !text.contains("waiting"),
            "{text}"
        );
        let waited = told(&[180.0, 220.0, 200.0], Yardstick::Anticipation);
        assert!(
            waited.contains("Over 150 ms late most likely means waiting"),
            "{waited}"
        );
        assert!(waited.contains("this program's convention"), "{waited}");
        assert!(waited.contains("3 are too few"), "{waited}");
    }

    #[test]
    fn a_reaction_speaks_of_the_middle_and_the_tail() {
        let mut chance = Chance::new(81);
        let lags: Vec<f64> = (0..60)
            .map(|_| 200.0 + 20.0 * chance.normal() + 60.0 * chance.exponential())
            .collect();
        let text = told(&lags, Yardstick::Reaction);
        assert!(text.contains("cannot be seen coming"), "{text}");
        assert!(
            text.contains("One mark in ten came later than this"),
            "{text}"
        );
        assert!(text.contains("ex-Gaussian"), "{text}");
        let few = told(&[90.0, 210.0, 250.0], Yardstick::Reaction);
        assert!(few.contains("1 of 3 came under 100 ms"), "{few}");
        assert!(few.contains("needs at least 40 marks"), "{few}");
        assert!(!few.contains("One mark in ten"), "{few}");
    }

    #[test]
    fn nothing_is_said_plainly() {
        let none = sentences(&summarise(&[], Yardstick::Reaction, AIM));
        assert_eq!(none[0], "Neither a moment nor a mark was found.");
        let miss = Pair {
            moment: None,
            mark: None,
            moment_s: Some(1.0),
            mark_s: None,
            lag_ms: None,
            outcome: Outcome::Missed,
            u_ms: None,
        };
        let text = sentences(&summarise(&[miss], Yardstick::Anticipation, AIM)).join("\n");
        assert!(text.starts_with("0 of 1 moment marked on time"), "{text}");
        assert!(text.contains("1 missed."), "{text}");
        assert!(text.contains("no lag could be measured"), "{text}");
        assert!(told(&[20.0], Yardstick::Anticipation).contains("The one lag was 20 ms late."));
    }

    proptest! {
        #[test]
        fn never_says_nan_nor_a_minus(
            lags in prop::collection::vec(-400.0..900.0f64, 0..60),
            reaction in any::<bool>(),
        ) {
            let yardstick = if reaction { Yardstick::Reaction } else { Yardstick::Anticipation };
            let text = told(&lags, yardstick);
            prop_assert!(!text.contains("NaN") && !text.contains("inf") && !text.contains("unknown"));
            let plain = text.replace("ex-Gaussian", "");
            prop_assert!(!plain.contains('-'), "{plain}");
        }
    }
}
