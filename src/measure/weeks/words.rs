//! Progress in plain sentences for a trainer.

use super::compare::CLICKS;
use super::{Basis, Comparison, Goal, Outlook, Progress, Suggestion, Trend, Verdict, Weakness};
use crate::measure::words::lag;
use crate::timeline::MomentKind;
use crate::words::count;

/// What a person's marks of a kind of moment are called, after "your".
pub fn marks_of(kind: MomentKind) -> &'static str {
    match kind {
        MomentKind::Floor => "floor drops",
        MomentKind::Release => "releases",
        MomentKind::Top => "tops",
        MomentKind::Behaviour => "behaviour marks",
    }
}

/// A length of time in words: days up to two weeks, then weeks, then months.
pub fn span(days: i32) -> String {
    match days {
        1 => "1 day".to_owned(),
        d if d < 14 => format!("{d} days"),
        d if d < 120 => format!("{} weeks", (f64::from(d) / 7.0).round()),
        d if d < 730 => format!("{} months", (f64::from(d) / 30.44).round()),
        d => format!("{:.1} years", f64::from(d) / 365.25),
    }
}

/// The trend of lags and of spread, in sentences.
pub fn trends(progress: &Progress) -> Vec<String> {
    let marks = marks_of(progress.kind);
    let mut lines = vec![trend(
        &progress.lag_trend,
        &format!("Your {marks} came"),
        ["earlier", "later"],
        marks,
    )];
    if !matches!(progress.lag_trend.verdict, Verdict::TooFew { .. }) {
        lines.push(trend(
            &progress.spread_trend,
            "Their spread became",
            ["smaller", "larger"],
            "spread",
        ));
    }
    if let Some(chart) = &progress.chart
        && let Some(last) = chart.days.last()
    {
        let now = format!("running average ({:.0} ms now)", last.average_ms);
        let limits = format!(
            "the limits that your first ten days give, {:.0} to {:.0} ms",
            last.low_ms, last.high_ms
        );
        lines.push(match chart.outside_since {
            Some(day) => {
                let earlier = last.average_ms < chart.target_ms;
                let way = if earlier { "earlier" } else { "later" };
                format!("Since {day} the {now} has lain {way} than {limits}.")
            }
            None => format!("The {now} lies within {limits}."),
        });
    }
    lines
}

fn trend(trend: &Trend, subject: &str, [less, more]: [&str; 2], what: &str) -> String {
    let over = span(trend.over_days);
    match trend.verdict {
        Verdict::TooFew { more_days } => format!(
            "Too few days to tell a trend: about {} of practice.",
            count(more_days, "more day", "more days")
        ),
        Verdict::Falls | Verdict::Rises => {
            let ends = trend.change_interval.map(|i| (i.low, i.high));
            let (low, high) = ends.unwrap_or_default();
            let (word, low, high) = if trend.verdict == Verdict::Falls {
                (less, -high, -low)
            } else {
                (more, low, high)
            };
            let size = trend.change_ms.unwrap_or_default().abs();
            format!(
                "{subject} {size:.0} ms {word} over {over} (95 % interval {low:.0} to {high:.0})."
            )
        }
        Verdict::Unclear {
            within_per_week_ms,
            more_days,
        } => {
            let mut line = if within_per_week_ms == 0.0 {
                format!("No change in your {what} over {over}: every day was the same.")
            } else {
                format!(
                    "No clear trend of your {what} over {over}: if there is one, it is less than \
                     {} a week.",
                    at_most_ms(within_per_week_ms)
                )
            };
            if let Some(more) = more_days {
                line.push_str(&format!(
                    " At this pace about {} would tell.",
                    count(more, "more day", "more days")
                ));
            }
            line
        }
    }
}

/// Rounded up, so that "less than" stays true.
fn at_most_ms(ms: f64) -> String {
    if ms < 10.0 {
        format!("{:.1} ms", (ms * 10.0).ceil() / 10.0)
    } else {
        format!("{:.0} ms", ms.ceil())
    }
}

/// The goal in sentences.
pub fn goal(goal: &Goal) -> Vec<String> {
    let wanted = 100.0 * goal.wanted_share;
    let mut lines = Vec::new();
    if let Some(share) = goal.now.share {
        lines.push(format!(
            "On time over your last days: {} of {} ({:.0} %, 95 % interval {:.0} to {:.0} %); \
             your goal is {wanted:.0} %.",
            goal.now.count,
            goal.now.of,
            100.0 * share,
            100.0 * goal.now.low.unwrap_or_default(),
            100.0 * goal.now.high.unwrap_or_default(),
        ));
    }
    if let Some(reach) = goal.reach_ms {
        lines.push(format!(
            "{wanted:.0} in 100 of your moments got a mark within {reach:.0} ms of the middle of your aim; the aim \
             allows {:.0} ms.",
            goal.allowed_ms
        ));
    }
    lines.push(match goal.outlook {
        Outlook::Reached => "Your goal is reached on these days.".to_owned(),
        Outlook::TooFew => "Too few days to say when it might be reached.".to_owned(),
        Outlook::NotAtThisPace => {
            "Your last weeks show no trend that leads there: something else may be worth trying."
                .to_owned()
        }
        Outlook::AtThisPace {
            on,
            earliest,
            latest,
        } => {
            let latest = match latest {
                Some(day) => format!("{day}"),
                None => "more than two years from now".to_owned(),
            };
            format!(
                "If your last weeks' trend went on, about {on} (95 % interval {earliest} to \
                 {latest}). That is arithmetic, no promise: such trends flatten."
            )
        }
    });
    lines
}

/// A comparison in one sentence: the effect first, then how sure.
pub fn comparison(c: &Comparison) -> String {
    let way = match c.shift_ms.round() {
        0.0 => "as early as".to_owned(),
        ms if ms < 0.0 => format!("{:.0} ms earlier than", -ms),
        ms => format!("{ms:.0} ms later than"),
    };
    let interval = match c.interval {
        Some(i) => format!("95 % interval {:+.0} to {:+.0}", i.low, i.high),
        None => "too few for an interval".to_owned(),
    };
    let what = match c.basis {
        Basis::DayMedians => "days",
        Basis::SingleLags => "single marks of few days, so it looks surer than it is",
    };
    let p = c.p_corrected.unwrap_or(c.p_two_sided);
    let p = if p < 0.001 {
        "p < 0.001".to_owned()
    } else {
        format!("p = {p:.3}")
    };
    let few = if c.few { "; few" } else { "" };
    // The usual bar of one in twenty, corrected where several were compared.
    let sure = match c.p_corrected.unwrap_or(c.p_two_sided) {
        p if p < 0.05 => "hardly by chance",
        _ => "perhaps by chance",
    };
    let mut words = format!(
        "{} came {way} {}, {sure} ({interval}; {} against {} {what}{few}; {p}).",
        c.one, c.other, c.n.0, c.n.1
    );
    if c.one == CLICKS {
        words.push_str(
            " That says when you mark, not which teaches better; a click is stamped at its first \
             blow, a word at its onset.",
        );
    }
    words
}

/// The next drill in words.
pub fn suggestion(s: &Suggestion) -> String {
    let marks = marks_of(s.kind);
    let share = format!("{:.0} % on time", 100.0 * s.on_time_share);
    let advice = match (s.weakness, s.kind) {
        (Weakness::None, _) => {
            return format!(
                "Next: your goal is reached everywhere it was measured ({marks}: {share}). Make \
                 the aim narrower, or practise a kind of moment that is not measured yet."
            );
        }
        (Weakness::Missed, _) => "some went by unmarked: fewer at a time, and mark every one",
        (Weakness::Stray, _) => "there were marks for nothing: mark only what you chose before",
        (Weakness::Late, MomentKind::Floor | MomentKind::Top) => {
            "mostly late: follow the ball with your eyes and mark with it, not after it"
        }
        (Weakness::Late, _) => {
            "mostly late: hold the clicker ready, and watch the part that begins to move first"
        }
        (Weakness::Early, MomentKind::Floor | MomentKind::Top) => {
            "mostly early: let the ball get there, and listen for the two sounds to fall together"
        }
        (Weakness::Early, _) => {
            "mostly early: wait until you see it; vary the time before it so that it cannot be \
             guessed"
        }
    };
    format!("Next: ten {marks} ({share} now; {advice}).")
}

/// One line that tells where a person stands in a kind of moment.
pub fn standing(progress: &Progress) -> String {
    match progress.whole.median_ms {
        Some(median) => format!(
            "Over all {} moments typically {}.",
            progress.whole.on_time.of,
            lag(median)
        ),
        None => format!(
            "{} moments, none of them marked: no lag could be measured.",
            progress.whole.on_time.of
        ),
    }
}

/// That so many bouts have their spoken marks at the words' perceptual centre;
/// `None` when none has.
pub fn at_centre(bouts: usize) -> Option<String> {
    let of = match bouts {
        0 => return None,
        1 => "1 bout".to_owned(),
        n => format!("{n} bouts"),
    };
    Some(format!(
        "In {of}, of whatever moment, spoken marks are placed at the word's perceptual centre, by a model, not at its onset; such lags are later by some 100 ms, so compare them with their like only."
    ))
}
