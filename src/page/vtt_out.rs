//! Captions over the trainer's own video: what each mark was worth, from the
//! instant it was heard (W3C, WebVTT: The Web Video Text Tracks Format).
//!
//! A caption stays for two seconds or until the next. Where the next comes before
//! a second has passed, the earlier one is kept above it, so that nothing flashes
//! by unread; cues never overlap, so no player hides one behind another.

use std::fmt::Write;

use crate::ear::word::WordAt;
use crate::timeline::{Moment, MomentKind, Outcome, Pair};

/// How long a caption stays, in milliseconds.
const SHOWN_MS: u64 = 2000;
/// How long a caption stays at least, beside the next ones.
const READABLE_MS: u64 = 1000;
/// Lines at once; where more come together the latest are shown.
const LINES: usize = 3;

/// The WebVTT text of the captions. A pair's moment is at its place in
/// `moments`; times before 0 are shown at 0. A note at the head says where spoken
/// marks are stamped, unless that is their onset.
pub fn captions(pairs: &[Pair], moments: &[Moment], word_at: WordAt) -> String {
    let mut lines: Vec<(u64, String)> = pairs
        .iter()
        .filter_map(|pair| {
            let t_s = pair.mark_s.or(pair.moment_s)?;
            Some((milliseconds(t_s), caption(pair, moments)))
        })
        .collect();
    lines.sort_by_key(|(t_ms, _)| *t_ms);

    // The syntax asks for an empty line even where no cue follows.
    let mut out = String::from("WEBVTT\n\n");
    if let Some(words) = word_at.sentence() {
        let _ = write!(out, "NOTE\n{words}\n\n");
    }
    let mut next = 0;
    while next < lines.len() {
        let start_ms = lines[next].0;
        let first = next;
        while next < lines.len() && lines[next].0 == start_ms {
            next += 1;
        }
        let kept = lines[..first]
            .iter()
            .rev()
            .take_while(|(t_ms, _)| *t_ms + READABLE_MS > start_ms)
            .count();
        let from = (first - kept).max(next.saturating_sub(LINES));
        let end_ms = match lines.get(next) {
            Some((t_ms, _)) => (start_ms + SHOWN_MS).min(*t_ms),
            None => start_ms + SHOWN_MS,
        };
        if first > 0 {
            out.push('\n');
        }
        push_timestamp(&mut out, start_ms);
        out.push_str(" --> ");
        push_timestamp(&mut out, end_ms);
        out.push('\n');
        for (_, line) in &lines[from..next] {
            out.push_str(line);
            out.push('\n');
        }
    }
    out
}

/// What happened, in a few words.
fn caption(pair: &Pair, moments: &[Moment]) -> String {
    let named = || {
        let moment = pair.moment.and_then(|id| moments.get(id.place()));
        moment.map_or_else(|| "the moment".to_owned(), name)
    };
    let Some(lag_ms) = pair.lag_ms else {
        return match pair.moment_s {
            Some(_) => format!("missed: no mark for {}", named()),
            None => "stray mark".to_owned(),
        };
    };
    let place = match lag_ms.round() {
        0.0 => format!("mark at {}", named()),
        ms if ms > 0.0 => format!("mark {ms} ms after {}", named()),
        ms => format!("mark {} ms before {}", -ms, named()),
    };
    match pair.outcome {
        Outcome::OnTime => format!("{place}, on time"),
        Outcome::Early => format!("{place}, early"),
        Outcome::Late => format!("{place}, late"),
        Outcome::Missed | Outcome::Stray => place,
    }
}

/// A moment's label, or else its kind.
fn name(moment: &Moment) -> String {
    let label = moment
        .label
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    if !label.is_empty() {
        return format!("\u{201c}{}\u{201d}", escape(&label));
    }
    match moment.kind {
        MomentKind::Floor => "the floor",
        MomentKind::Release => "the release",
        MomentKind::Top => "the top",
        MomentKind::Behaviour => "the behaviour",
    }
    .to_owned()
}

/// Cue text may hold no `&`, `<` and no arrow; `>` is escaped for the arrow.
fn escape(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

/// Seconds to whole milliseconds; negative and NaN to 0.
fn milliseconds(t_s: f64) -> u64 {
    (t_s * 1000.0).round().max(0.0) as u64
}

/// `hh:mm:ss.mmm`, the hours with more digits where it takes them.
fn push_timestamp(out: &mut String, t_ms: u64) {
    let (s, ms) = (t_ms / 1000, t_ms % 1000);
    // Writing to a string cannot fail.
    let _ = write!(
        out,
        "{:02}:{:02}:{:02}.{ms:03}",
        s / 3600,
        s / 60 % 60,
        s % 60
    );
}

#[cfg(test)]
#[path = "vtt_out_tests.rs"]
mod tests;
