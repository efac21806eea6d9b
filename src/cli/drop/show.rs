//! What a drill shows: a view model for the screen, made of the state.

use super::app::{Drill, now_s};
use crate::drill::{Feedback, Phase, State, Way};
use crate::measure::words;
use crate::screen::view::lag::Last;
use crate::screen::view::{DrillView, sound_line};
use crate::timeline::{MomentKind, Outcome, Sound};
use crate::words::count;

/// How long a warning stays, in seconds.
const WARNING_S: f64 = 10.0;
/// Where half of the lags lie is told from so many lags on.
const FEWEST_FOR_HALF: usize = 4;

impl Drill {
    /// What is to be seen.
    pub(super) fn view(&self) -> DrillView {
        let state = &self.state;
        let setup = &state.setup;
        let done = state.moments_counted().count();
        let shows_lags = setup.feedback == Feedback::Each;
        let ball = self.caller.ball(now_s());
        let last = state.last().filter(|_| shows_lags).map(|p| Last {
            outcome: p.outcome,
            lag_ms: p.lag_ms,
        });
        let call = self.caller.words().filter(|words| *words != "WAIT");
        let large = match (state.phase, call) {
            (Phase::Paused, _) => Some("PAUSED".to_owned()),
            (_, Some(call)) => Some(call.to_owned()),
            _ if !shows_lags && done > 0 => Some(format!("DROP {done}")),
            _ if last.is_none() => Some("READY".to_owned()),
            _ => None,
        };
        let summary = state.summary();
        let half = summary.q25_ms.zip(summary.q75_ms);
        let half = half.filter(|_| summary.n_lags >= FEWEST_FOR_HALF);
        let middle = match (summary.median_ms, half) {
            (Some(median), Some((low, high))) if shows_lags => format!(
                "Typically {}; half {}",
                words::lag(median),
                words::lag_range(low, high)
            ),
            (Some(median), None) if shows_lags => format!("Typically {}", words::lag(median)),
            _ => String::new(),
        };
        let shares = [
            (Outcome::OnTime, summary.on_time),
            (Outcome::Early, summary.early),
            (Outcome::Late, summary.late),
            (Outcome::Missed, summary.missed),
            (Outcome::Stray, summary.stray),
        ];
        DrillView {
            title: format!("Ball drop: mark the {}", of_ball(setup.kind)),
            progress: match (state.drops_left(), setup.drops) {
                (Some(left), Some(all)) => format!("{done} of {all} drops, {left} left"),
                _ => count(done, "drop", "drops"),
            },
            last,
            large,
            status: self.status(),
            lags_ms: shows_lags.then(|| state.told().filter_map(|p| p.lag_ms).collect()),
            aim: setup.rules.aim,
            middle,
            counts: shares
                .iter()
                .filter(|_| shows_lags)
                .map(|(outcome, share)| (*outcome, share.count))
                .collect(),
            level: sound_line(state.peak_dbfs, last_mark(state), state.now_s),
            spoken: spoken(state),
            warning: state
                .warning
                .as_ref()
                .filter(|(t_s, _)| state.now_s - t_s < WARNING_S)
                .map(|(_, words)| words.clone())
                .or_else(|| state.unheard(&self.names)),
            ball: ball.map(|place| (place.height, place.is_caught)),
            keys: self.keys.short(),
            help: self.shows_help.then(|| self.keys.help()),
        }
    }

    fn status(&self) -> String {
        let state = &self.state;
        let instant = match state.setup.kind {
            MomentKind::Release => "when it leaves the hand",
            MomentKind::Top => "at the top of its first bounce",
            MomentKind::Floor | MomentKind::Behaviour => "when it hits the floor",
        };
        match (state.phase, state.setup.way) {
            (Phase::Done, _) => "Done.".to_owned(),
            (Phase::Paused, _) => "What is heard now does not count.".to_owned(),
            (_, Way::Ball) if state.waiting_mark_s().is_some() => {
                "Mark heard. The lag comes when the ball has stopped bouncing.".to_owned()
            }
            (_, Way::Ball) => format!("Let the ball fall, mark {instant}, let it bounce."),
            (_, Way::Screen) => format!("Watch the ball and mark {instant}."),
            (_, Way::Partner) => match self.caller.words() {
                Some("WAIT") | None => "Partner: wait for the word, ball in hand.".to_owned(),
                Some("HOLD IT") => "Partner: feint, and hold the ball. Do not press.".to_owned(),
                Some(_) => format!("Partner: drop it, and press {instant}."),
            },
        }
    }
}

fn of_ball(kind: MomentKind) -> &'static str {
    match kind {
        MomentKind::Release => "release",
        MomentKind::Top => "top of the bounce",
        MomentKind::Floor | MomentKind::Behaviour => "floor",
    }
}

/// Words within praise, and where in a word its mark is.
fn spoken(state: &State) -> String {
    let mut all: Vec<String> = state
        .heard
        .praise()
        .into_iter()
        .map(|(name, n)| {
            let times = count(n, "time", "times");
            format!("\"{name}\" within praise or talk, no mark: {times}")
        })
        .collect();
    if !state.setup.word_at.is_onset() {
        all.push(format!(
            "spoken marks at the word's {}",
            state.setup.word_at
        ));
    }
    all.join("; ")
}

fn last_mark(state: &State) -> Option<&Sound> {
    state.heard.marks().next_back().map(|mark| &mark.sound)
}
