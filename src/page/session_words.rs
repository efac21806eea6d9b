//! What a session came to, in sentences, and what to do next time by stated
//! rules. Never an order: the animal in front of the trainer has the last word.

use crate::measure::observer::Corrected;
use crate::measure::proportion::Share;
use crate::measure::session::{Lean, Leaning};
use crate::measure::words;
use crate::session::{PairingMeasures, SessionMeasures, Setup, StepMeasures};
use crate::words::count_or_no as count;

/// The sentences of a session, a line each; an empty line parts the sections.
pub fn session_words(measures: &SessionMeasures, setup: &Setup) -> Vec<String> {
    let mut out = whole(measures, setup);
    if let Some(pairing) = &measures.pairing {
        out.push(String::new());
        out.extend(pairing_words(pairing));
    }
    let has_several = |s: &StepMeasures| {
        measures
            .steps
            .iter()
            .filter(|o| o.behaviour == s.behaviour)
            .count()
            > 1
    };
    for step in &measures.steps {
        out.push(String::new());
        out.push(format!(
            "{}, step {}: {}",
            step.behaviour, step.step, step.earns
        ));
        out.extend(step_words(step));
        out.push(format!("  {}", lean_words(&step.lean)));
    }
    for behaviour in measures.behaviours.iter().filter(|b| has_several(b)) {
        out.push(String::new());
        out.push(format!("{}, all steps together", behaviour.behaviour));
        out.extend(step_words(behaviour));
    }
    if let Some(lags) = &measures.lags {
        out.push(String::new());
        out.extend(words::sentences(lags));
        if measures.steps.iter().any(|s| s.strays.is_none()) {
            out.push(
                "Moments were noted for less than half of the marks, so no mark is called stray."
                    .to_owned(),
            );
        }
    }
    if let Some(corrected) = &measures.corrected {
        out.extend(corrected_words(corrected));
    }
    out
}

fn whole(m: &SessionMeasures, setup: &Setup) -> Vec<String> {
    let animal = &setup.plan.animal;
    let with = if animal.is_empty() {
        "A session".to_owned()
    } else {
        format!("A session with {animal}")
    };
    // A recording without a plan is its own limit: nothing to tell.
    let limit_s = setup.plan.length_min * 60.0;
    let limit = if m.length_s < limit_s - 0.5 {
        format!(" of {} at most", minutes(limit_s))
    } else {
        String::new()
    };
    let mut out = vec![format!("{with}: {}{limit}.", minutes(m.length_s))];
    let rate = m.pace.per_min.map_or(String::new(), |rate| {
        format!(", {rate:.1} a minute without breaks")
    });
    out.push(format!("{}{rate}.", count(m.marks, "mark", "marks")));
    match (m.treats, &m.unpaid) {
        (Some(treats), Some(unpaid)) => {
            let aside = setup
                .plan
                .treats
                .map_or(String::new(), |n| format!(" of {n} set aside"));
            out.push(format!(
                "{}{aside}; {} went unpaid{}.",
                count(treats, "treat", "treats"),
                count(unpaid.count, "mark", "marks"),
                m.extra_treats
                    .filter(|n| *n > 0)
                    .map_or(String::new(), |n| format!(", {n} treats paid no mark"))
            ));
        }
        _ => out.push("No treat was noted, so nothing is said of pay.".to_owned()),
    }
    let mut times = Vec::new();
    if let (Some(median), Some(longest)) = (m.treat_gap_s, m.longest_treat_gap_s) {
        times.push(format!(
            "Treat gap: median {median:.1} s, longest {longest:.1} s."
        ));
    }
    if let Some(answer_s) = m.answer_s {
        times.push(format!("Answer time: median {answer_s:.1} s."));
    }
    if m.offers > 0 {
        times.push(format!(
            "{}, {} marked.",
            count(m.offers, "unasked offer", "unasked offers"),
            m.marks_on_offers
        ));
    }
    out.extend(times);
    if m.gaps > 0 {
        out.push(format!(
            "{} of sound were lost; lags near them may be wrong.",
            count(m.gaps, "stretch", "stretches")
        ));
    }
    if let Some(by_s) = m.clock_moved_s {
        out.push(format!(
            "The computer's clock moved by {by_s:+.0} s during the session (it was set, or the computer slept); times here go by the sound."
        ));
    }
    out
}

fn step_words(s: &StepMeasures) -> Vec<String> {
    let mut out = vec![format!(
        "  asked {}, tries {}: reached {}, near miss {}, no answer {}   {}",
        s.asked, s.tries, s.reached, s.near_misses, s.no_answers, s.last_ten
    )];
    let mut marks = format!("  marks {}", s.marks);
    if s.strays.is_some() || s.on_time + s.early + s.late + s.missed > 0 {
        marks += &format!(
            ": on time {}, early {}, late {}, missed {}",
            s.on_time, s.early, s.late, s.missed
        );
    }
    if let Some(strays) = s.strays {
        marks += &format!(", stray {strays}");
    }
    if let Some(unpaid) = s.unpaid {
        marks += &format!(", unpaid {unpaid}");
    }
    out.push(marks);
    let mut times = Vec::new();
    times.extend(s.lag_ms.map(|ms| format!("lag {}", words::lag(ms))));
    times.extend(s.answer_s.map(|t| format!("answer {t:.1} s")));
    times.extend(s.treat_gap_s.map(|t| format!("treat gap {t:.1} s")));
    if !times.is_empty() {
        out.push(format!("  medians: {}", times.join(", ")));
    }
    out
}

/// Where the tries lean, with what else would fit.
pub fn lean_words(lean: &Lean) -> String {
    let share = share_words(&lean.reached);
    let clear = if lean.is_clear {
        ""
    } else {
        " So few tries cannot tell well."
    };
    match lean.leaning {
        Leaning::TooFew if lean.reached.of == 0 => "No tries yet.".to_owned(),
        Leaning::TooFew => format!("Reached {share}: too few tries to lean anywhere."),
        Leaning::More => format!("Reached {share}: leans to asking for a little more.{clear}"),
        Leaning::Stay => format!("Reached {share}: leans to staying.{clear}"),
        Leaning::Back => format!("Reached {share}: leans to a step back.{clear}"),
    }
}

fn share_words(share: &Share) -> String {
    let fits = match (share.low, share.high) {
        (Some(low), Some(high)) => {
            format!(" ({:.0} to {:.0} % would fit)", low * 100.0, high * 100.0)
        }
        _ => String::new(),
    };
    format!("{} of {}{fits}", share.count, share.of)
}

fn pairing_words(p: &PairingMeasures) -> Vec<String> {
    let mut out = vec![format!(
        "Pairing the bridge: {}.",
        count(p.marks, "mark", "marks")
    )];
    if let Some(unpaid) = p.unpaid {
        out.push(format!("  unpaid {unpaid}"));
    }
    if let (Some(median), Some(spread)) = (p.treat_gap_s, p.treat_gap_spread_s) {
        out.push(format!(
            "  treat gap: median {median:.1} s, its middle half spread over {spread:.1} s"
        ));
    }
    if let (Some(median), Some(shortest), Some(longest)) =
        (p.waits.median_s, p.waits.shortest_s, p.waits.longest_s)
    {
        let alike = match p.waits.are_alike() {
            Some(true) => ": much alike. A fixed rhythm teaches the rhythm; vary them",
            Some(false) => ": varied",
            None => "",
        };
        out.push(format!(
            "  waits from mark to mark: median {median:.1} s, {shortest:.1} to {longest:.1} s{alike}"
        ));
    }
    if let Some(answered) = &p.answered {
        out.push(format!(
            "  food was visibly expected at {}",
            share_words(answered)
        ));
    }
    out
}

fn corrected_words(c: &Corrected) -> Vec<String> {
    let mut out = vec![format!(
        "With the presser's own lateness taken off: mean lag {} ± {:.0} ms (standard uncertainty); as measured {}.",
        words::lag(c.mean_ms),
        c.mean_u_ms,
        words::lag(c.raw_mean_ms)
    )];
    out.push(if c.is_swallowed {
        format!(
            "How steady you are cannot be told: the presser's scatter is about as large as what was measured (standard deviation {:.0} ms).",
            c.raw_spread_ms
        )
    } else {
        format!(
            "Your own marks scatter by about {:.0} ms (standard deviation); as measured, with the presser's, {:.0} ms.",
            c.spread_ms, c.raw_spread_ms
        )
    });
    out
}

/// What to do next time, by stated rules, and when by the trainer's own plan.
pub fn next_time(m: &SessionMeasures, setup: &Setup) -> Vec<String> {
    let mut out: Vec<String> = m.steps.iter().map(|step| next_step(step, setup)).collect();
    if let Some(unpaid) = m.unpaid.filter(|u| u.count > 0) {
        out.push(format!(
            "Lay the treats ready: {} went unpaid.",
            count(unpaid.count, "mark", "marks")
        ));
    }
    if let Some(lags) = m.lags.as_ref().filter(|l| l.n_moments >= 5)
        && 2 * (lags.late.count + lags.early.count + lags.missed.count) > lags.n_moments
    {
        out.push("More than half of the moments were not marked on time: practise away from the animal (marklag drop).".to_owned());
    }
    if m.length_s > setup.plan.length_min * 60.0 {
        out.push(
            "The session went past its limit: a shorter plan, or a clock in sight.".to_owned(),
        );
    }
    out.push(match setup.plan.again_after_min {
        Some(min) => format!(
            "When: your plan says again after {}, if the animal is keen.",
            minutes(min * 60.0)
        ),
        None => "When: your plan sets no interval (again_after_min).".to_owned(),
    });
    out
}

fn next_step(s: &StepMeasures, setup: &Setup) -> String {
    let last = setup
        .plan
        .behaviour(&s.behaviour)
        .map_or(0, |b| b.steps.len());
    let name = &s.behaviour;
    let has_more = (s.step as usize) < last;
    match s.lean.leaning {
        Leaning::More if has_more => format!("{name}: step {} is worth a try.", s.step + 1),
        Leaning::More => {
            format!("{name}: its last step holds; a cue, another place or less help may come next.")
        }
        Leaning::Stay => format!("{name}: step {} again.", s.step),
        Leaning::Back if s.step > 1 => format!(
            "{name}: step {} for a while, or a smaller step.",
            s.step - 1
        ),
        Leaning::Back => format!("{name}: a smaller first step."),
        Leaning::TooFew => format!(
            "{name}: step {} again; the tries are too few to say more.",
            s.step
        ),
    }
}

/// Minutes and seconds, for people.
pub fn minutes(s: f64) -> String {
    let whole = s.max(0.0).round() as u64;
    match (whole / 60, whole % 60) {
        (0, s) => format!("{s} s"),
        (m, 0) => format!("{m} min"),
        (m, s) => format!("{m} min {s} s"),
    }
}

#[cfg(test)]
#[path = "session_words_tests.rs"]
mod tests;
