//! What a drill shows: a view model for the screen, made of the state.

use super::app::{Drill, is_mark, now_s};
use crate::drill::{Feedback, Phase, State, Way};
use crate::measure::words;
use crate::screen::view::DrillView;
use crate::screen::view::lag::Last;
use crate::timeline::{MomentKind, Outcome};

/// How long a warning stays, in seconds.
const WARNING_S: f64 = 10.0;
/// A mark below this is told to be faint, in dBFS: a convention.
const FAINT_DBFS: f64 = -40.0;

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
        let middle = match (summary.median_ms, summary.variable_error_n1_ms) {
            (Some(median), Some(spread)) if shows_lags => format!(
                "Median {}   spread {spread:.0} ms (VE, divisor n-1)",
                words::lag(median)
            ),
            (Some(median), None) if shows_lags => format!("Median {}", words::lag(median)),
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
                _ => super::count(done, "drop", "drops"),
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
            level: level(state),
            spoken: spoken(state),
            warning: state
                .warning
                .as_ref()
                .filter(|(t_s, _)| state.now_s - t_s < WARNING_S)
                .map(|(_, words)| words.clone()),
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
            let times = super::count(n, "time", "times");
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

/// The level of the sound, in words.
fn level(state: &State) -> String {
    let mark = state.heard.sounds.iter().rev().find(|s| is_mark(s));
    let now = match state.peak_dbfs {
        dbfs if dbfs > -1.0 => "too loud".to_owned(),
        dbfs if dbfs.is_finite() => format!("{dbfs:.0} dB"),
        _ => "silence".to_owned(),
    };
    match mark {
        Some(mark) if mark.level_dbfs < FAINT_DBFS => format!(
            "Sound {now}; last mark \"{}\" {:.0} dB: faint, move the microphone nearer",
            mark.name, mark.level_dbfs
        ),
        Some(mark) => format!(
            "Sound {now}; last mark \"{}\" {:.0} dB: good",
            mark.name, mark.level_dbfs
        ),
        None => format!("Sound {now}; no mark yet"),
    }
}
