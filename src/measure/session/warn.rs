//! What is worth a word while a session goes on: stated rules, at most one
//! warning at a time, each with the numbers it rests on. No rule ever urges to
//! go on, and none judges the animal: signs of stress are the trainer's to see.

use super::pace::{active, before, per_min};
use super::{Paid, SessionRules, Try, TryOutcome};
use crate::measure::median::median;
use crate::timeline::session::{Act, ActKind};

/// Which rule speaks. They stand in order of weight: of several that hold, the
/// first is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rule {
    /// The limit is near or past.
    Limit,
    /// A mark was not paid.
    Unpaid,
    /// No mark for long.
    NoMark,
    /// Cues follow treats ever faster.
    Hurry,
    /// Marks have become rarer.
    Rate,
    /// Answers have become slower.
    Answers,
    /// Marks on unasked offers.
    Offers,
    /// The same step many times in a row.
    Same,
}

impl Rule {
    /// Its name, as in the settings (`session.warn.NAME`).
    pub fn name(self) -> &'static str {
        match self {
            Self::Limit => "limit",
            Self::Unpaid => "unpaid",
            Self::NoMark => "no_mark",
            Self::Hurry => "hurry",
            Self::Rate => "rate",
            Self::Answers => "answers",
            Self::Offers => "offers",
            Self::Same => "same",
        }
    }
}

/// A word to the trainer.
#[derive(Debug, Clone, PartialEq)]
pub struct Warning {
    /// The rule that speaks.
    pub rule: Rule,
    /// One short line.
    pub words: String,
    /// The numbers behind it.
    pub numbers: String,
}

/// All that the rules look at, at one instant.
#[derive(Debug, Clone, Copy)]
pub struct Looked<'a> {
    /// Now, in seconds.
    pub now_s: f64,
    /// The session's limit in seconds.
    pub limit_s: f64,
    /// The acts.
    pub acts: &'a [Act],
    /// The tries.
    pub tries: &'a [Try],
    /// What was paid.
    pub paid: &'a Paid,
    /// Marks that no moment earned and that follow an unasked offer, in seconds.
    pub offer_strays_s: &'a [f64],
    /// The breaks.
    pub breaks: &'a [(f64, f64)],
}

/// The warnings whose rules hold, the weightiest first. In a break only the
/// limit speaks.
pub fn warnings(at: &Looked<'_>, rules: &SessionRules) -> Vec<Warning> {
    let warn = &rules.warn;
    let is_break = at
        .breaks
        .last()
        .is_some_and(|(from, to)| *from <= at.now_s && *to >= at.now_s);
    let mut all: Vec<Warning> = limit(at, rules)
        .into_iter()
        .filter(|_| warn.limit.on)
        .collect();
    if is_break {
        return all;
    }
    let rest = [
        (warn.unpaid.on, unpaid(at, rules)),
        (warn.no_mark.on, no_mark(at, rules)),
        (warn.hurry.on, hurry(at, rules)),
        (warn.rate.on, rate(at, rules)),
        (warn.answers.on, answers(at, rules)),
        (warn.offers.on, offers(at, rules)),
        (warn.same.on, same(at, rules)),
    ];
    all.extend(rest.into_iter().filter_map(|(on, w)| w.filter(|_| on)));
    all
}

fn limit(at: &Looked<'_>, rules: &SessionRules) -> Option<Warning> {
    let left_s = at.limit_s - at.now_s;
    let words = if left_s <= 0.0 {
        "Past your limit. End on something that goes well."
    } else if left_s <= rules.warn.limit.before_s {
        "Near your limit. End on something that goes well."
    } else {
        return None;
    };
    Some(Warning {
        rule: Rule::Limit,
        words: words.to_owned(),
        numbers: format!("{:.0} s of {:.0} s", at.now_s, at.limit_s),
    })
}

fn unpaid(at: &Looked<'_>, rules: &SessionRules) -> Option<Warning> {
    let rule = &rules.warn.unpaid;
    let spoken_of = rule.for_s + rules.treat_within_s;
    let recent = at.paid.unpaid.iter();
    let count = recent.filter(|u| at.now_s - u.t_s <= spoken_of).count();
    (count >= rule.marks).then(|| Warning {
        rule: Rule::Unpaid,
        words: if count == 1 {
            "A mark went unpaid. Every mark is paid, even a mistaken one.".to_owned()
        } else {
            format!("{count} marks went unpaid. Every mark is paid, even a mistaken one.")
        },
        numbers: format!(
            "{count} without a treat within {:.0} s; {} in all",
            rules.treat_within_s,
            at.paid.unpaid.len()
        ),
    })
}

fn no_mark(at: &Looked<'_>, rules: &SessionRules) -> Option<Warning> {
    // Before the first mark it may be the sound that is not heard: that is no
    // reason to ask less of the animal.
    let last = at.acts.iter().rev().find(|a| a.kind == ActKind::Mark)?;
    let span_s = active(last.t_s, at.now_s, at.breaks);
    (span_s > rules.warn.no_mark.after_s).then(|| Warning {
        rule: Rule::NoMark,
        words: "No mark for a while. Something easier, or a break.".to_owned(),
        numbers: format!(
            "{span_s:.0} s without a mark; spoken of after {:.0} s",
            rules.warn.no_mark.after_s
        ),
    })
}

/// Times from a treat to the next cue, where no break lies between.
fn pauses_s(at: &Looked<'_>) -> Vec<f64> {
    let mut treat: Option<f64> = None;
    let mut pauses = Vec::new();
    for act in at.acts {
        match act.kind {
            ActKind::Treat => treat = Some(act.t_s),
            ActKind::Cue => {
                let free = |from: &f64| active(*from, act.t_s, at.breaks) >= act.t_s - *from;
                pauses.extend(treat.take().filter(free).map(|from| act.t_s - from));
            }
            _ => {}
        }
    }
    pauses
}

/// Medians of the latest `of` values and of those before them, of which there
/// must be as many.
fn latest_and_earlier(values: &[f64], of: usize) -> Option<(f64, f64)> {
    let cut = values.len().checked_sub(of).filter(|cut| *cut >= of)?;
    let (earlier, latest) = values.split_at(cut);
    Some((median(latest)?, median(earlier)?))
}

fn hurry(at: &Looked<'_>, rules: &SessionRules) -> Option<Warning> {
    let rule = &rules.warn.hurry;
    let (latest, earlier) = latest_and_earlier(&pauses_s(at), rule.of)?;
    (latest < rule.below_share * earlier).then(|| Warning {
        rule: Rule::Hurry,
        words: "You ask sooner and sooner after the treat. Something easy, pay well, pause."
            .to_owned(),
        numbers: format!(
            "from treat to cue {latest:.1} s (last {}), {earlier:.1} s before",
            rule.of
        ),
    })
}

fn rate(at: &Looked<'_>, rules: &SessionRules) -> Option<Warning> {
    let rule = &rules.warn.rate;
    if active(0.0, at.now_s, at.breaks) < 2.0 * rule.over_s {
        return None;
    }
    let cut_s = before(at.now_s, rule.over_s, at.breaks);
    let marks = || at.acts.iter().filter(|a| a.kind == ActKind::Mark);
    let earlier = marks().filter(|a| a.t_s < cut_s).count();
    let latest = marks().filter(|a| a.t_s >= cut_s).count();
    let now = per_min(latest, active(cut_s, at.now_s, at.breaks))?;
    let then = per_min(earlier, active(0.0, cut_s, at.breaks))?;
    (earlier >= rule.after_marks && now < rule.below_share * then).then(|| Warning {
        rule: Rule::Rate,
        words: "Marks have become rarer. Full, tired or too hard? You see best.".to_owned(),
        numbers: format!("{now:.1} a minute now, {then:.1} before"),
    })
}

fn answers(at: &Looked<'_>, rules: &SessionRules) -> Option<Warning> {
    let rule = &rules.warn.answers;
    let times: Vec<f64> = at.tries.iter().filter_map(|t| t.answer_s).collect();
    let (latest, earlier) = latest_and_earlier(&times, rule.of)?;
    (latest > rule.above_times * earlier).then(|| Warning {
        rule: Rule::Answers,
        words: "Answers have become slower. Full, tired or too hard? You see best.".to_owned(),
        numbers: format!("{latest:.1} s (last {}), {earlier:.1} s before", rule.of),
    })
}

fn offers(at: &Looked<'_>, rules: &SessionRules) -> Option<Warning> {
    let rule = &rules.warn.offers;
    let recent = at
        .offer_strays_s
        .iter()
        .filter(|t| at.now_s - **t <= rule.over_s);
    let count = recent.count();
    (count >= rule.marks).then(|| Warning {
        rule: Rule::Offers,
        words: "Marks on unasked offers: what is on cue earns only when asked.".to_owned(),
        numbers: format!("{count} in the last {:.0} s", rule.over_s),
    })
}

fn same(at: &Looked<'_>, rules: &SessionRules) -> Option<Warning> {
    let last = at.tries.last()?;
    let run = at
        .tries
        .iter()
        .rev()
        .take_while(|t| (t.item, t.step, t.outcome) == (last.item, last.step, TryOutcome::Reached))
        .count();
    (run >= rules.warn.same.times).then(|| Warning {
        rule: Rule::Same,
        words: "The same thing many times. Something else, or a break.".to_owned(),
        numbers: format!("{run} in a row of one step"),
    })
}
