//! The readable summary of a review.

use std::collections::HashMap;
use std::io::Write;

use crate::listen::Timeline;
use crate::measure::{Summary, words};
use crate::page::{Glyphs, strip};
use crate::review::Outcome;
use crate::timeline::{MomentKind, Pair, SoundId};
use crate::words::count_or_no as count;

/// Most lines of single lags in a summary; the rest is in --csv and --json.
const MOST_LINES: usize = 60;

/// Writes what was heard in one recording and how its marks lie.
pub(super) fn write(
    out: &mut dyn Write,
    title: &str,
    heard: &Timeline,
    kind: MomentKind,
    outcome: &Outcome,
    width: usize,
) -> std::io::Result<()> {
    writeln!(out, "{title}: {}", length(heard.duration_s))?;
    writeln!(
        out,
        "Heard {}, {}.",
        count(heard.marks().count(), "mark", "marks"),
        count(heard.drops.len(), "drop of a ball", "drops of a ball")
    )?;
    let mut names: Vec<(&str, usize)> = Vec::new();
    for mark in heard.marks() {
        match names.iter_mut().find(|n| n.0 == mark.sound.name) {
            Some(name) => name.1 += 1,
            None => names.push((&mark.sound.name, 1)),
        }
    }
    if names.len() > 1 {
        let words: Vec<String> = names
            .iter()
            .map(|(name, n)| format!("{name} {n}"))
            .collect();
        writeln!(out, "By sound: {}.", words.join(", "))?;
    }
    praise(out, heard)?;
    if let Some(words) = heard.word_at.sentence() {
        writeln!(out, "{words}")?;
    }
    for refused in &heard.refused {
        writeln!(
            out,
            "Not counted as a drop at {:.2} s: {}.",
            refused.drop.floor_s, refused.reason
        )?;
    }
    writeln!(out)?;
    let by: HashMap<SoundId, &str> = heard
        .marks()
        .filter(|_| names.len() > 1)
        .map(|m| (m.id, m.sound.name.as_str()))
        .collect();
    lags(out, kind, &outcome.pairs, &by)?;
    measures(out, &outcome.pairs, &outcome.summary, width)
}

/// Words that were heard within praise or talk, by name.
pub(super) fn praise(out: &mut dyn Write, heard: &Timeline) -> std::io::Result<()> {
    for (name, n) in heard.praise() {
        writeln!(
            out,
            "\"{name}\" was also heard within praise or talk, {}; that counts as no mark.",
            count(n, "time", "times")
        )?;
    }
    Ok(())
}

/// One line a pair; each mark's name where it is among `by`.
fn lags(
    out: &mut dyn Write,
    kind: MomentKind,
    pairs: &[Pair],
    by: &HashMap<SoundId, &str>,
) -> std::io::Result<()> {
    if pairs.is_empty() {
        return Ok(());
    }
    writeln!(
        out,
        "{:>10}  {:>10}  {:>9}  outcome",
        kind.word(),
        "mark",
        "lag"
    )?;
    let name = |mark: Option<SoundId>| {
        let name = mark.and_then(|id| by.get(&id));
        name.map_or_else(String::new, |name| format!(", {name}"))
    };
    for pair in pairs.iter().take(MOST_LINES) {
        let time = |t: Option<f64>| t.map_or_else(|| "-".to_owned(), |t| format!("{t:.3} s"));
        let lag = pair
            .lag_ms
            .map_or_else(|| "-".to_owned(), |ms| format!("{ms:+.1} ms"));
        let word = pair.outcome.words();
        writeln!(
            out,
            "{:>10}  {:>10}  {lag:>9}  {word}{}",
            time(pair.moment_s),
            time(pair.mark_s),
            name(pair.mark)
        )?;
    }
    if pairs.len() > MOST_LINES {
        writeln!(
            out,
            "… and {} more; --csv FILE writes them all",
            pairs.len() - MOST_LINES
        )?;
    }
    writeln!(out)
}

/// The strip and the sentences.
pub(super) fn measures(
    out: &mut dyn Write,
    pairs: &[Pair],
    summary: &Summary,
    width: usize,
) -> std::io::Result<()> {
    let lags: Vec<f64> = pairs.iter().filter_map(|p| p.lag_ms).collect();
    if !lags.is_empty() {
        writeln!(
            out,
            "{}",
            strip(&lags, summary.aim, width, Glyphs::Unicode).trim_end()
        )?;
        writeln!(out)?;
    }
    for sentence in words::sentences(summary) {
        writeln!(out, "{sentence}")?;
    }
    Ok(())
}

fn length(s: f64) -> String {
    if s < 60.0 {
        format!("{s:.1} s")
    } else {
        format!("{} min {:04.1} s", (s / 60.0) as u64, s % 60.0)
    }
}
