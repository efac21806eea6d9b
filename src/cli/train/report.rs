//! What a session comes to, for reading; and lines in the place of a screen.

use std::io::{self, Write};

use serde::Serialize;

use super::app::{Shows, Training};
use super::view::clock;
use crate::cli::prose::wrapped;
use crate::ear::word::WordAt;
use crate::listen::Timeline;
use crate::measure::session::Rule;
use crate::measure::words;
use crate::page::{Glyphs, next_time, session_picture, session_words};
use crate::session::{Looking, SessionMeasures, Setup};
use crate::timeline::session::{Happened, Log};
use crate::timeline::{MomentId, Sound, SoundId};
use crate::words::count;

/// Writes all of it: sentences, picture, notes, next time.
pub(in crate::cli) fn report(
    out: &mut dyn Write,
    log: &Log,
    setup: &Setup,
    measures: &SessionMeasures,
    glyphs: Glyphs,
    width: usize,
) -> io::Result<()> {
    for line in session_words(measures, setup) {
        wrapped(out, &line, width)?;
    }
    if let Some(words) = setup.word_at.sentence() {
        writeln!(out, "{words}")?;
    }
    let at = Looking::at(log, setup, measures.length_s, true);
    writeln!(
        out,
        "\n{}",
        session_picture(&at, measures.length_s, width, glyphs)
    )?;
    for event in log.counted() {
        match &event.what {
            Happened::Note(text) if !text.is_empty() => {
                wrapped(out, &format!("Note at {}: {text}", clock(event.t_s)), width)?;
            }
            _ => {}
        }
    }
    writeln!(
        out,
        "Next time, by the rules in docs/method.md; the animal has the last word:"
    )?;
    for line in next_time(measures, setup) {
        wrapped(out, &format!("  {line}"), width)?;
    }
    Ok(())
}

/// The measures as JSON; where in a word its mark is stamped, and words within
/// praise, where there is anything to say of them.
pub(in crate::cli) fn json(
    out: &mut dyn Write,
    measures: &SessionMeasures,
    setup: &Setup,
    heard: &Timeline,
) -> anyhow::Result<()> {
    #[derive(Serialize)]
    struct Told<'a> {
        #[serde(flatten)]
        measures: &'a SessionMeasures,
        #[serde(skip_serializing_if = "WordAt::is_onset")]
        word_at: WordAt,
        #[serde(skip_serializing_if = "<[Sound]>::is_empty")]
        in_praise: &'a [Sound],
    }
    let told = Told {
        measures,
        word_at: setup.word_at,
        in_praise: &heard.in_praise,
    };
    serde_json::to_writer_pretty(&mut *out, &told)?;
    Ok(writeln!(out)?)
}

/// In the place of a picture where there is no screen: a line for what is new.
#[derive(Default)]
pub(super) struct Lines {
    lags: Vec<Option<SoundId>>,
    marks: usize,
    warned: Option<Rule>,
    troubles: usize,
    praise: usize,
    missed: Vec<Option<MomentId>>,
    is_unheard: bool,
}

impl Lines {
    /// Writes a line for each trouble, lag, miss, mark and warning that was not told
    /// yet, and the keys where they were asked for.
    pub(super) fn write(&mut self, training: &mut Training, out: &mut dyn Write) -> io::Result<()> {
        if training.shows == Shows::Help {
            training.shows = Shows::Session;
            for (key, does) in training.keys.help() {
                writeln!(out, "  {key:<12} {does}")?;
            }
        }
        let training = &*training;
        for (t_s, words) in &training.troubles[self.troubles..] {
            writeln!(out, "{}  ! {words}", clock(*t_s))?;
        }
        self.troubles = training.troubles.len();
        for sound in &training.praise.in_praise[self.praise..] {
            let at = clock(sound.t_s);
            writeln!(
                out,
                "{at}  \"{}\" within praise or talk: no mark.",
                sound.name
            )?;
        }
        self.praise = training.praise.in_praise.len();
        let at = training.looking();
        let mut is_new = false;
        for pair in at.pairs().iter().filter(|p| p.lag_ms.is_some()) {
            if !self.lags.contains(&pair.mark) {
                self.lags.push(pair.mark);
                let lag = words::lag(pair.lag_ms.unwrap_or(0.0));
                let at = clock(pair.mark_s.unwrap_or(0.0));
                writeln!(out, "{at}  mark {lag}, {}.", pair.outcome.words())?;
                is_new = true;
            }
        }
        for pair in at.missed(training.missed_after_s()) {
            if !self.missed.contains(&pair.moment) {
                self.missed.push(pair.moment);
                let at = clock(pair.moment_s.unwrap_or(0.0));
                writeln!(out, "{at}  missed: no mark for that one.")?;
            }
        }
        if !self.is_unheard
            && let Some(words) = training.unheard()
        {
            self.is_unheard = true;
            writeln!(out, "{}  ! {words}", clock(training.now_s))?;
        }
        let marks = at
            .acts()
            .iter()
            .filter(|a| a.kind == crate::timeline::session::ActKind::Mark);
        let marks = marks.count();
        if marks > self.marks && !is_new {
            let marks = count(marks, "mark", "marks");
            writeln!(out, "{}  {marks}.", clock(training.now_s))?;
        }
        self.marks = marks;
        let first = training.warnings().into_iter().next();
        let rule = first.as_ref().map(|w| w.rule);
        if rule != self.warned {
            if let Some(warning) = first {
                let at = clock(training.now_s);
                writeln!(out, "{at}  ! {} ({})", warning.words, warning.numbers)?;
            }
            self.warned = rule;
        }
        out.flush()
    }
}
