//! A session as a picture in plain text: time from left to right, a row for each
//! kind of event.

use super::Glyphs;
use crate::session::Looking;
use crate::timeline::session::ActKind;
use crate::timeline::{Outcome, Pair};

/// Columns of the rows' names.
const NAME: usize = 9;

/// Draws a session of `length_s` seconds, at most `width` columns wide (at least
/// 40). A row in which nothing happened is left out; of several events in one
/// column the weightiest is drawn.
pub fn session_picture(at: &Looking, length_s: f64, width: usize, glyphs: Glyphs) -> String {
    let columns = width.max(40) - NAME;
    let scale = if length_s > 0.0 {
        columns as f64 / length_s
    } else {
        0.0
    };
    let column = |t_s: f64| ((t_s * scale) as usize).min(columns - 1);
    let times = |kind: ActKind| -> Vec<f64> {
        let acts = at.acts().iter().filter(|a| a.kind == kind);
        acts.map(|a| a.t_s).collect()
    };
    let (mark, line) = match glyphs {
        Glyphs::Unicode => ('•', '─'),
        Glyphs::Ascii => ('*', '-'),
    };
    let mut out = ruler(length_s, columns, line);
    let mut row = |name: &str, events: Vec<(f64, char)>| {
        if events.is_empty() {
            return;
        }
        let mut signs = vec![' '; columns];
        for (t_s, sign) in events {
            signs[column(t_s)] = sign;
        }
        let signs: String = signs.into_iter().collect();
        out += format!("{name:NAME$}{}\n", signs).trim_end();
        out.push('\n');
    };
    let breaks = at.breaks().iter().flat_map(|(from, to)| {
        let step = if scale > 0.0 {
            0.5 / scale
        } else {
            f64::INFINITY
        };
        let steps = ((to - from) / step) as usize;
        (0..=steps).map(move |k| (from + k as f64 * step, '='))
    });
    row("break", breaks.collect());
    row(
        "asked",
        times(ActKind::Cue).into_iter().map(|t| (t, '|')).collect(),
    );
    row(
        "offered",
        times(ActKind::Offer)
            .into_iter()
            .map(|t| (t, 'o'))
            .collect(),
    );
    let near = times(ActKind::NearMiss).into_iter().map(|t| (t, '~'));
    let reached = times(ActKind::Reached).into_iter().map(|t| (t, '+'));
    row("reached", near.chain(reached).collect());
    let has_moments = at.pairs().iter().any(|p| p.moment_s.is_some());
    let sign = |t_s: f64| {
        let is_of = |p: &&Pair| p.mark_s == Some(t_s);
        match at.pairs().iter().find(is_of).map(|p| p.outcome) {
            Some(Outcome::Stray) if has_moments => 'x',
            Some(Outcome::Late) => '>',
            Some(Outcome::Early) => '<',
            _ => mark,
        }
    };
    let mut marks: Vec<(f64, char)> = times(ActKind::Mark)
        .into_iter()
        .map(|t| (t, sign(t)))
        .collect();
    // What is drawn last is seen: the ordinary ones first.
    marks.sort_by_key(|(_, sign)| *sign != mark);
    row("marks", marks);
    row(
        "unpaid",
        at.paid().unpaid_s.iter().map(|t| (*t, '!')).collect(),
    );
    row(
        "treats",
        times(ActKind::Treat)
            .into_iter()
            .map(|t| (t, '.'))
            .collect(),
    );
    out
}

/// Minutes, or ten seconds where the session is short.
fn ruler(length_s: f64, columns: usize, line: char) -> String {
    let steps = [10.0, 30.0, 60.0, 300.0, 600.0];
    let step = steps
        .into_iter()
        .find(|step| length_s / step * 8.0 <= columns as f64)
        .unwrap_or(3600.0);
    let mut numbers = vec![' '; columns];
    let mut bar = vec![line; columns];
    let mut t_s = 0.0;
    while t_s < length_s || t_s == 0.0 {
        let at = (t_s / length_s.max(1e-9) * columns as f64) as usize;
        let text = format!("{}:{:02}", t_s as u64 / 60, t_s as u64 % 60);
        if at + text.len() <= columns {
            bar[at] = '+';
            for (k, c) in text.chars().enumerate() {
                numbers[at + k] = c;
            }
        }
        t_s += step;
    }
    let text = |row: Vec<char>| row.into_iter().collect::<String>();
    format!(
        "{:NAME$}{}\n{:NAME$}{}\n",
        "",
        text(numbers).trim_end(),
        "",
        text(bar)
    )
}
