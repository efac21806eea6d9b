//! Moments from WebVTT cues (W3C, WebVTT: The Web Video Text Tracks Format,
//! section 4, "Syntax").

use super::super::event::{Moment, MomentKind, MomentSource};
use super::{Line, MomentsFileError, TimeError, excerpt};

/// Whether the text begins as a WebVTT file does: WEBVTT, then a space, a tab, a
/// line's end or nothing.
pub fn is_vtt(text: &str) -> bool {
    text.strip_prefix("WEBVTT")
        .is_some_and(|rest| rest.is_empty() || rest.starts_with([' ', '\t', '\n', '\r']))
}

/// Reads the cues; at least one, or an error.
pub fn parse(text: &str) -> Result<Vec<Line>, MomentsFileError> {
    let text = text.replace("\r\n", "\n").replace('\r', "\n");
    let mut cues = Vec::new();
    let mut block: Vec<(u64, &str)> = Vec::new();
    // The first block is the file's header.
    let mut in_header = true;
    for (number, line) in (1..).zip(text.split('\n').chain([""])) {
        if !line.is_empty() {
            block.push((number, line));
            continue;
        }
        if !in_header && !block.is_empty() {
            cues.extend(cue(&block)?);
        }
        in_header = false;
        block.clear();
    }
    if cues.is_empty() {
        return Err(MomentsFileError::NoCues);
    }
    Ok(cues)
}

/// The cue of a block, or `None` where the block is none.
fn cue(block: &[(u64, &str)]) -> Result<Option<Line>, MomentsFileError> {
    let (number, first) = block[0];
    let word = first.split([' ', '\t']).next().unwrap_or("");
    let has_arrow = |n: usize| block.get(n).is_some_and(|(_, l)| l.contains("-->"));
    if !has_arrow(0) && (word == "NOTE" || (!has_arrow(1) && ["STYLE", "REGION"].contains(&word))) {
        return Ok(None);
    }
    // An identifier may stand on the line before the times.
    let at = usize::from(!has_arrow(0));
    let Some((line, timing)) = block.get(at).filter(|_| has_arrow(at)) else {
        return Err(MomentsFileError::Cue {
            line: number,
            found: excerpt(first),
        });
    };
    let bad = |problem| MomentsFileError::Time {
        line: *line,
        place: "cue".to_owned(),
        problem,
    };
    let (start, rest) = timing.split_once("-->").unwrap_or((timing, ""));
    let t_s = timestamp_s(start.trim()).map_err(bad)?;
    // The end is not used, but a cue without one is no cue.
    timestamp_s(rest.split_whitespace().next().unwrap_or("")).map_err(bad)?;
    let text: Vec<&str> = block[at + 1..].iter().map(|(_, l)| *l).collect();
    Ok(Some(Line {
        line: *line,
        moment: Moment {
            t_s,
            kind: MomentKind::Behaviour,
            source: MomentSource::File,
            label: plain(&text.join(" ")),
        },
    }))
}

/// Seconds of a WebVTT timestamp: two or more digits of hours (may be left out),
/// two of minutes, two of seconds, three of milliseconds.
fn timestamp_s(text: &str) -> Result<f64, TimeError> {
    if text.is_empty() {
        return Err(TimeError::Missing);
    }
    if text.starts_with('-') {
        return Err(TimeError::Negative(excerpt(text)));
    }
    let digits = |t: &str, least: usize| {
        let fits = t.len() >= least && t.len() <= 6 && t.bytes().all(|b| b.is_ascii_digit());
        fits.then(|| t.parse::<u32>().ok()).flatten()
    };
    let read = || {
        let (clock, ms) = text.split_once('.')?;
        let parts: Vec<&str> = clock.split(':').collect();
        let (hours, minutes, seconds) = match parts.as_slice() {
            [m, s] => (0, *m, *s),
            [h, m, s] => (digits(h, 2)?, *m, *s),
            _ => return None,
        };
        if minutes.len() != 2 || seconds.len() != 2 || ms.len() != 3 {
            return None;
        }
        Some((
            hours,
            digits(minutes, 2)?,
            digits(seconds, 2)?,
            digits(ms, 3)?,
        ))
    };
    let (hours, minutes, seconds, ms) = read().ok_or_else(|| TimeError::NotATime(excerpt(text)))?;
    if minutes > 59 || seconds > 59 {
        return Err(TimeError::Above59(excerpt(text)));
    }
    let whole_s = (u64::from(hours) * 60 + u64::from(minutes)) * 60 + u64::from(seconds);
    // In whole milliseconds, so that the nearest double is given.
    Ok((whole_s * 1000 + u64::from(ms)) as f64 / 1000.0)
}

/// A cue's text without its tags, its escapes written out.
fn plain(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut in_tag = false;
    for c in text.chars() {
        match c {
            '<' => in_tag = true,
            '>' if in_tag => in_tag = false,
            _ if in_tag => {}
            _ => out.push(c),
        }
    }
    // The ampersand last, so that an escaped escape stays one.
    [
        ("&lt;", "<"),
        ("&gt;", ">"),
        ("&nbsp;", "\u{a0}"),
        ("&lrm;", "\u{200e}"),
        ("&rlm;", "\u{200f}"),
        ("&amp;", "&"),
    ]
    .into_iter()
    .fold(out, |text, (escape, c)| text.replace(escape, c))
    .trim()
    .to_owned()
}
