//! A session as a picture in plain text: time from left to right, a row for each
//! kind of event.

use super::Glyphs;
use super::session_rows::{Sign, SignRow, sign_rows};
use crate::session::Looking;

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
    let sign = |sign: Sign| match sign {
        Sign::Cue => '|',
        Sign::Offer => 'o',
        Sign::Near => '~',
        Sign::Reached => '+',
        Sign::Mark => mark,
        Sign::Early => '<',
        Sign::Late => '>',
        Sign::Stray => 'x',
        Sign::Unpaid => '!',
        Sign::Treat => '.',
    };
    for SignRow { name, signs } in sign_rows(at) {
        row(name, signs.into_iter().map(|(t, s)| (t, sign(s))).collect());
    }
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
