//! A drill where there is no screen: a line for what is new.

use std::io;

use super::app::Drill;
use crate::drill::Feedback;
use crate::measure::words;
use crate::timeline::{MomentId, Outcome, SoundId};

/// What was told already.
pub(super) struct Lines {
    told: Vec<(Option<MomentId>, Option<SoundId>)>,
    warned: Option<f64>,
    words: &'static str,
    praise: usize,
    is_unheard: bool,
}

impl Lines {
    pub(super) fn new() -> Self {
        Self {
            told: Vec::new(),
            warned: None,
            words: "",
            praise: 0,
            is_unheard: false,
        }
    }

    /// Writes a line for each pair, warning and call that was not told yet, and the
    /// keys where they were asked for.
    pub(super) fn write(&mut self, drill: &mut Drill, out: &mut dyn io::Write) -> io::Result<()> {
        if std::mem::take(&mut drill.shows_help) {
            for (key, does) in drill.keys.help() {
                writeln!(out, "  {key:<12} {does}")?;
            }
        }
        let state = &drill.state;
        if let Some((t_s, words)) = &state.warning
            && self.warned.replace(*t_s) != Some(*t_s)
        {
            writeln!(out, "! {words}")?;
        }
        if !self.is_unheard
            && let Some(words) = state.unheard(&drill.names)
        {
            self.is_unheard = true;
            writeln!(out, "! {words}")?;
        }
        let call = drill.caller.words().unwrap_or("");
        if call != self.words {
            self.words = call;
            if !call.is_empty() {
                writeln!(out, "Partner: {}.", call.to_lowercase())?;
            }
        }
        for sound in state.heard.in_praise.iter().skip(self.praise) {
            writeln!(out, "\"{}\" within praise or talk: no mark.", sound.name)?;
        }
        self.praise = state.heard.in_praise.len();
        if state.setup.feedback == Feedback::Each {
            for pair in state.told() {
                let key = (pair.moment, pair.mark);
                if self.told.contains(&key) {
                    continue;
                }
                self.told.push(key);
                let n = state
                    .moments_counted()
                    .filter(|m| Some(m.moment.t_s) <= pair.moment_s)
                    .count();
                match (pair.lag_ms, pair.outcome) {
                    (Some(ms), Outcome::OnTime) => {
                        writeln!(out, "Drop {n}: {}, on time.", words::lag(ms))?;
                    }
                    (Some(ms), _) => writeln!(out, "Drop {n}: {}.", words::lag(ms))?,
                    (None, Outcome::Missed) => writeln!(out, "Drop {n}: missed.")?,
                    (None, _) => writeln!(out, "A stray mark.")?,
                }
            }
        }
        out.flush()
    }
}
