//! What is to be seen of a session.

use super::app::{Shows, Training};
use crate::measure::observer::Corrected;
use crate::measure::session::{Rule, Warning};
use crate::measure::words;
use crate::page::minutes;
use crate::screen::view::lag::Last;
use crate::screen::view::train::{ListRow, ListView};
use crate::screen::view::{TrainView, sound_line};
use crate::session::{Done, Refusal, SessionMeasures, Setup, measure_looked};
use crate::timeline::session::Happened;

impl Training {
    /// What is to be seen.
    pub(super) fn view(&self) -> TrainView {
        let at = self.looking();
        let (log, setup) = (self.course.log(), self.course.setup());
        let m = measure_looked(log, setup, &at);
        let plan = &setup.plan;
        let (item, step) = self.course.practised();
        let who = match plan.animal.as_str() {
            "" => String::new(),
            animal => format!("{animal}: "),
        };
        let what = match plan.is_pairing(item) {
            true => plan.title(item).to_owned(),
            false => format!("{}, step {step}", plan.title(item)),
        };
        let warnings = at.warnings(setup);
        // The limit comes first; else nothing can be told of marks that are not heard.
        let is_limit = warnings.first().is_some_and(|w| w.rule == Rule::Limit);
        let unheard = self.unheard().filter(|_| !is_limit);
        let warning = unheard.or_else(|| warnings.first().map(|w| w.words.clone()));
        let last = at.latest(setup.before_ms * 1e-3, self.missed_after_s());
        let large = match (self.course.is_break(), last) {
            (true, _) => Some("BREAK".to_owned()),
            (false, None) if m.marks == 0 => Some("READY".to_owned()),
            (false, None) if m.marks == 1 => Some("1 MARK".to_owned()),
            (false, None) => Some(format!("{} MARKS", m.marks)),
            _ => None,
        };
        let corrected = last
            .and_then(|p| p.lag_ms)
            .zip(setup.observer)
            .map(|(lag_ms, who)| corrected(Corrected::lag_ms(lag_ms, &who), &who));
        TrainView {
            title: format!("{who}{what}"),
            clock: format!("{} of {}", clock(self.now_s), clock(plan.length_min * 60.0)),
            last: last.map(|p| Last {
                outcome: p.outcome,
                lag_ms: p.lag_ms,
            }),
            large,
            corrected: corrected.unwrap_or_default(),
            earns: match plan.is_pairing(item) {
                true => "Mark, treat, wait until it has eaten; then wait a little, never alike."
                    .to_owned(),
                false => format!("Earns the mark: {}", plan.earns(item, step)),
            },
            tries: tries(&m, plan.title(item), step),
            pace: pace(&m),
            treats: treats(&m, plan.treats),
            times: times(&m, setup),
            told: self.told.clone(),
            warning,
            level: sound_line(self.peak_dbfs, self.last_mark(), self.now_s),
            keys: self.keys.short(),
            help: (self.shows == Shows::Help).then(|| self.keys.help()),
            numbers: (self.shows == Shows::Numbers).then(|| numbers(&m, &warnings)),
            list: match self.shows {
                Shows::List(picked) => Some(self.list(picked)),
                _ => None,
            },
        }
    }

    fn list(&self, picked: Option<i64>) -> ListView {
        let entries = self.course.recent();
        let at = entries.iter().position(|e| Some(e.number) == picked);
        let key = |name: &str| self.keys.key_of(name);
        ListView {
            rows: entries
                .iter()
                .map(|e| ListRow {
                    at: clock(e.event.t_s),
                    what: words_of(&e.event.what, &self.course.setup().plan),
                    is_aside: e.is_aside,
                })
                .collect(),
            picked: at.unwrap_or(0),
            keys: vec![
                (key("step_up"), "later".to_owned()),
                (key("step_down"), "earlier".to_owned()),
                (key("undo"), "set aside, or take back in".to_owned()),
                (key("list"), "the session".to_owned()),
            ],
        }
    }
}

/// A lag with the presser's bias taken off, and how sure it is: their spread, and
/// how well their bias is known.
fn corrected(lag_ms: f64, who: &crate::measure::observer::Observer) -> String {
    let u_ms = who.spread_ms * (1.0 + 1.0 / who.n as f64).sqrt();
    format!(
        "Corrected for who presses: {} ± {u_ms:.0} ms",
        words::lag(lag_ms)
    )
}

/// "2:31".
pub(super) fn clock(s: f64) -> String {
    let whole = s.max(0.0) as u64;
    format!("{}:{:02}", whole / 60, whole % 60)
}

/// What was done, in a sentence.
pub(super) fn told(done: &Done, undo: &str) -> String {
    match done {
        Done::Noted(what) => format!("{} is noted. {undo} takes it back.", word(what)),
        Done::Aside(what, t_s, true) => format!(
            "{} at {} does not count. It is kept, and marked as set aside.",
            word(what),
            clock(*t_s)
        ),
        Done::Aside(what, t_s, false) => {
            format!("{} at {} counts again.", word(what), clock(*t_s))
        }
        Done::Refused(why) => match why {
            Refusal::NoPart => "A sound that has no part in this plan.",
            Refusal::NoSuchStep => "There is no such step.",
            Refusal::NothingToUndo => "There is nothing to take back.",
            Refusal::NothingAside => "Nothing is set aside.",
        }
        .to_owned(),
    }
}

/// What happened, in a word or two.
fn word(what: &Happened) -> &'static str {
    match what {
        Happened::Mark(_) => "The mark",
        Happened::Cue => "The cue",
        Happened::Reached => "The reached step",
        Happened::NearMiss => "The near miss",
        Happened::Offer => "The unasked offer",
        Happened::Treat => "The treat",
        Happened::Break => "The break",
        Happened::Resume => "The end of the break",
        Happened::Turn { .. } => "The turn",
        Happened::Step { .. } => "The step",
        Happened::Note(_) => "The note",
        Happened::Gap { .. } => "Lost sound",
        Happened::ClockMoved { .. } => "The clock's move",
        Happened::Aside { .. } => "The undo",
    }
}

/// What happened, for a list.
fn words_of(what: &Happened, plan: &crate::timeline::Plan) -> String {
    match what {
        Happened::Mark(sound) => format!("mark ({})", sound.name),
        Happened::Turn { item } => format!("on to {}", plan.title(*item)),
        Happened::Step { number } => format!("step {number}"),
        Happened::Note(text) if !text.is_empty() => format!("note: {text}"),
        Happened::Reached => "reached its step".to_owned(),
        other => {
            let word = word(other).trim_start_matches("The ");
            word.to_owned()
        }
    }
}

fn tries(m: &SessionMeasures, behaviour: &str, step: u32) -> String {
    let found = m
        .steps
        .iter()
        .find(|s| s.behaviour == behaviour && s.step == step);
    let Some(found) = found.filter(|s| s.tries > 0) else {
        return String::new();
    };
    let signs: Vec<String> = found.last_ten.chars().map(String::from).collect();
    let reached = found.last_ten.matches('+').count();
    format!("{}   {reached} of {} reached", signs.join(" "), signs.len())
}

fn pace(m: &SessionMeasures) -> String {
    match (m.pace.latest_per_min, m.pace.per_min) {
        (Some(now), Some(all)) => format!("{now:.1} marks a minute now, {all:.1} in all"),
        _ => String::new(),
    }
}

fn treats(m: &SessionMeasures, aside: Option<u32>) -> String {
    // Where no treat is noted, every mark is taken to be paid, and that is said.
    let used = m.treats.unwrap_or(m.marks);
    let taken = match m.treats {
        None if m.marks > 0 => ", if each mark was paid",
        _ => "",
    };
    let unpaid = m.unpaid.map_or(0, |u| u.count);
    let unpaid = match unpaid {
        0 => String::new(),
        n => format!("   unpaid {n}"),
    };
    match aside {
        Some(aside) => {
            let left = (aside as usize).saturating_sub(used);
            format!("Treats left: {left} of {aside}{taken}{unpaid}")
        }
        None => format!("Treats: {used}{taken}{unpaid}"),
    }
}

fn times(m: &SessionMeasures, setup: &Setup) -> String {
    let at = (!setup.word_at.is_onset()).then(|| format!("words at their {}", setup.word_at));
    let answer = m.answer_s.map(|s| format!("answer {s:.1} s"));
    let gap = m.treat_gap_s.map(|s| format!("treat gap {s:.1} s"));
    let parts: Vec<String> = [answer, gap, at].into_iter().flatten().collect();
    parts.join("   ")
}

fn numbers(m: &SessionMeasures, warnings: &[Warning]) -> Vec<String> {
    let mut all: Vec<String> = warnings
        .iter()
        .map(|w| format!("{} ({}): {}", w.words, w.rule.name(), w.numbers))
        .collect();
    if all.is_empty() {
        all.push("No rule speaks.".to_owned());
    }
    all.push(String::new());
    all.push(format!(
        "{} without breaks; {} marks",
        minutes(m.pace.active_s),
        m.marks
    ));
    for s in &m.steps {
        all.push(format!(
            "{}, step {}: {}",
            s.behaviour,
            s.step,
            crate::page::lean_words(&s.lean)
        ));
    }
    all
}
