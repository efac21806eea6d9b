//! The screen of a drill: the last lag large, all lags as a strip, the counts.

use ratatui::Frame;
use ratatui::layout::{Alignment, Rect};
use ratatui::style::Style;
use ratatui::text::{Line, Span};
use ratatui::widgets::{Paragraph, Wrap};

use super::big;
use super::stack::{Block, stack};
use crate::page::{Glyphs, strip};
use crate::screen::theme::{Look, Role};
use crate::timeline::{Aim, Outcome};

/// What the screen shows; nothing else is known to it.
#[derive(Debug, Clone, PartialEq)]
pub struct DrillView {
    /// What drill it is.
    pub title: String,
    /// How far it is: "drop 5 of 20", "paused".
    pub progress: String,
    /// The last outcome that can be told.
    pub last: Option<Last>,
    /// What stands in the place of the last lag when there is none, or when it is
    /// not to be seen: "LISTENING", "PAUSED", a partner's call.
    pub large: Option<String>,
    /// What is going on, in a sentence.
    pub status: String,
    /// All lags in milliseconds; `None` when they are shown at the end only.
    pub lags_ms: Option<Vec<f64>>,
    /// The aim.
    pub aim: Aim,
    /// Median and spread, in words.
    pub middle: String,
    /// How many of each outcome.
    pub counts: Vec<(Outcome, usize)>,
    /// The level of the sound in words.
    pub level: String,
    /// What is to be said of spoken marks; empty when nothing is.
    pub spoken: String,
    /// One warning, in words.
    pub warning: Option<String>,
    /// Height of the ball on the screen, 0 to 1, and whether it is held.
    pub ball: Option<(f64, bool)>,
    /// Keys and what they do.
    pub keys: Vec<(String, String)>,
    /// Keys and sentences, when the help is shown.
    pub help: Option<Vec<(String, String)>>,
}

/// The last outcome.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Last {
    /// What it counts as.
    pub outcome: Outcome,
    /// Its lag, where it has one.
    pub lag_ms: Option<f64>,
}

/// An outcome's word.
pub fn word(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::OnTime => "on time",
        Outcome::Early => "early",
        Outcome::Late => "late",
        Outcome::Missed => "missed",
        Outcome::Stray => "stray",
    }
}

/// Draws the whole screen.
pub fn draw(view: &DrillView, look: Look, frame: &mut Frame<'_>) {
    let area = frame.area();
    if area.is_empty() {
        return;
    }
    if let Some(help) = &view.help {
        return draw_help(help, look, area, frame);
    }
    let side = match view.ball {
        Some(_) if area.width >= 50 => 16,
        _ => 0,
    };
    let main = Rect {
        width: area.width - side,
        ..area
    };
    stack(
        &blocks(view, look, main.width, side > 0),
        main,
        look.style(Role::Quiet),
        frame,
    );
    if let (Some((height, is_held)), true) = (view.ball, side > 0) {
        let place = Rect {
            x: main.right(),
            width: side,
            ..area
        };
        draw_ball(height, is_held, look, place, frame);
    }
}

fn blocks<'a>(view: &'a DrillView, look: Look, width: u16, ball_beside: bool) -> Vec<Block<'a>> {
    let mut blocks = vec![
        head(&view.title, &view.progress, look),
        blank(),
        large(view.large.as_deref(), view.last, look, width),
        status(&view.status, look, width),
    ];
    if let (Some((height, is_held)), false) = (view.ball, ball_beside) {
        blocks.push(Block {
            name: "ball",
            rows: 8,
            more: 6,
            rank: 1,
            draw: Box::new(move |area, frame| draw_ball(height, is_held, look, area, frame)),
        });
    }
    if let Some(lags) = view.lags_ms.as_ref().filter(|lags| !lags.is_empty()) {
        blocks.push(blank());
        blocks.push(strip_block(lags, view.aim, look, width));
    }
    if !view.middle.is_empty() {
        // Where there is no room for it all, what stands in brackets goes.
        let words = match view.middle.split_once(" (") {
            Some((short, _)) if view.middle.chars().count() > usize::from(width) => short,
            _ => &view.middle,
        };
        blocks.push(line("median", 4, words.to_owned(), look.style(Role::Plain)));
    }
    if !view.counts.is_empty() {
        blocks.push(counts(view, look, width));
    }
    blocks.extend(view.warning.as_ref().map(|w| warning(w, look, width)));
    if !view.spoken.is_empty() {
        blocks.push(line(
            "spoken marks",
            6,
            view.spoken.clone(),
            look.style(Role::Quiet),
        ));
    }
    blocks.push(line(
        "level",
        7,
        view.level.clone(),
        look.style(Role::Quiet),
    ));
    blocks.push(keys(&view.keys, look));
    blocks
}

/// One warning, on as many lines as it needs.
pub(super) fn warning<'a>(words: &str, look: Look, width: u16) -> Block<'a> {
    let signs = usize::from(width).max(1);
    let rows = (words.chars().count() + 2).div_ceil(signs).clamp(1, 3) as u16;
    let text = format!("! {words}");
    let style = look.style(Role::Warning);
    Block {
        name: "warning",
        rows,
        more: 0,
        rank: 3,
        draw: Box::new(move |area, frame| {
            let words = Paragraph::new(text.as_str()).style(style);
            frame.render_widget(words.wrap(Wrap { trim: true }), area);
        }),
    }
}

/// An empty line, the first thing to go.
pub(super) fn blank<'a>() -> Block<'a> {
    Block {
        name: "",
        rows: 1,
        more: 0,
        rank: 9,
        draw: Box::new(|_, _| {}),
    }
}

/// A line of words.
pub(super) fn line<'a>(name: &'static str, rank: u8, words: String, style: Style) -> Block<'a> {
    Block {
        name,
        rows: 1,
        more: 0,
        rank,
        draw: Box::new(move |area, frame| {
            frame.render_widget(Paragraph::new(words.as_str()).style(style), area);
        }),
    }
}

/// A title, and on its right how far it is.
pub(super) fn head<'a>(title: &'a str, progress: &'a str, look: Look) -> Block<'a> {
    Block {
        name: "title",
        rows: 1,
        more: 0,
        rank: 6,
        draw: Box::new(move |area, frame| {
            let right = u16::try_from(progress.chars().count()).unwrap_or(u16::MAX);
            let title = Paragraph::new(title).style(look.style(Role::Strong));
            let left = Rect {
                width: area.width.saturating_sub(right + 1),
                ..area
            };
            frame.render_widget(title, left);
            let progress = Paragraph::new(progress)
                .style(look.style(Role::Plain))
                .alignment(Alignment::Right);
            frame.render_widget(progress, area);
        }),
    }
}

/// The last lag as large as there is room, and its words below.
pub(super) fn large<'a>(
    large: Option<&str>,
    last: Option<Last>,
    look: Look,
    width: u16,
) -> Block<'a> {
    let (text, below, role) = match (large, last) {
        (Some(words), _) => (words.to_owned(), String::new(), Role::Strong),
        (None, Some(last)) => {
            let role = Role::Of(last.outcome);
            match last.lag_ms {
                Some(ms) => {
                    let early_or_late = match ms.round() {
                        0.0 => "",
                        ms if ms < 0.0 => "EARLY",
                        _ => "LATE",
                    };
                    let digits = format!("{:.0}", ms.round().abs());
                    let verdict = match last.outcome {
                        Outcome::OnTime => "on time".to_owned(),
                        _ => "outside the aim".to_owned(),
                    };
                    let text = format!("{digits} {early_or_late}").trim_end().to_owned();
                    let words = crate::measure::words::lag(ms);
                    (text, format!("{words}: {verdict}"), role)
                }
                None => {
                    let word = word(last.outcome).to_uppercase();
                    let below = match last.outcome {
                        Outcome::Missed => "the last drop got no mark",
                        _ => "a mark that belonged to no drop",
                    };
                    (word, below.to_owned(), role)
                }
            }
        }
        (None, None) => (String::new(), String::new(), Role::Plain),
    };
    let style = look.style(role);
    // Where the word has no room beside the digits, it stands below them.
    let text = match text.split_once(' ') {
        Some((digits, _)) if !below.is_empty() && big::columns(&text, 1) > width => {
            digits.to_owned()
        }
        _ => text,
    };
    Block {
        name: "lag",
        rows: big::ROWS + 1,
        more: 2 * big::ROWS + 2,
        rank: 0,
        draw: Box::new(move |area, frame| {
            let words = Rect {
                y: area.bottom().saturating_sub(1),
                height: area.height.min(1),
                ..area
            };
            // In a place of one or two lines the words alone tell it all.
            if area.height > 2 || below.is_empty() {
                let place = Rect {
                    height: area.height.saturating_sub(u16::from(area.height > 1)),
                    ..area
                };
                big::draw(&text, place, style, look.signs, frame.buffer_mut());
            }
            if area.height != 1 || !below.is_empty() {
                let below = Paragraph::new(below.as_str()).style(style);
                frame.render_widget(below.alignment(Alignment::Center), words);
            }
        }),
    }
}

/// What is going on, in the middle.
pub(super) fn status<'a>(words: &'a str, look: Look, width: u16) -> Block<'a> {
    let signs = words.chars().count();
    Block {
        name: "what to do",
        rows: signs.div_ceil(usize::from(width).max(1)).clamp(1, 2) as u16,
        more: 0,
        rank: 5,
        draw: Box::new(move |area, frame| {
            let words = Paragraph::new(words).style(look.style(Role::Quiet));
            let words = words.alignment(Alignment::Center).wrap(Wrap { trim: true });
            frame.render_widget(words, area);
        }),
    }
}

fn strip_block<'a>(lags: &[f64], aim: Aim, look: Look, width: u16) -> Block<'a> {
    let text = strip(lags, aim, usize::from(width), look.signs);
    let rows = u16::try_from(text.lines().count()).unwrap_or(u16::MAX);
    let style = look.style(Role::Plain);
    Block {
        name: "strip",
        rows,
        more: 1,
        rank: 8,
        draw: Box::new(move |area, frame| {
            frame.render_widget(Paragraph::new(text.as_str()).style(style), area);
        }),
    }
}

fn counts<'a>(view: &'a DrillView, look: Look, width: u16) -> Block<'a> {
    let all: Vec<(Outcome, usize, String)> = view
        .counts
        .iter()
        .map(|(outcome, n)| (*outcome, *n, format!("{} {n}", word(*outcome))))
        .collect();
    let long: usize = all.iter().map(|(_, _, t)| t.chars().count() + 3).sum();
    // Where there is no room for all, what did not happen goes.
    let is_narrow = long > usize::from(width);
    let parts: Vec<_> = all
        .into_iter()
        .filter(|(_, n, _)| !is_narrow || *n > 0)
        .collect();
    Block {
        name: "counts",
        rows: 1,
        more: 0,
        rank: 2,
        draw: Box::new(move |area, frame| {
            let mut spans: Vec<Span<'_>> = Vec::new();
            for (outcome, n, text) in &parts {
                let role = match n {
                    0 => Role::Quiet,
                    _ => Role::Of(*outcome),
                };
                spans.push(Span::styled(text.as_str(), look.style(role)));
                spans.push(Span::raw(if is_narrow { "  " } else { "   " }));
            }
            frame.render_widget(Paragraph::new(Line::from(spans)), area);
        }),
    }
}

/// The keys, on the last line.
pub(super) fn keys<'a>(keys: &[(String, String)], look: Look) -> Block<'a> {
    let words: Vec<String> = keys.iter().map(|(k, w)| format!("{k} {w}")).collect();
    Block {
        name: "keys",
        rows: 1,
        more: 0,
        rank: 3,
        draw: Box::new(move |area, frame| {
            let row = whole_words(&words, usize::from(area.width));
            let row = Paragraph::new(row).style(look.style(Role::Quiet));
            frame.render_widget(row, area);
        }),
    }
}

/// As many of the words as have room, none of them cut.
fn whole_words(words: &[String], columns: usize) -> String {
    let mut row = String::new();
    for word in words {
        let gap = if row.is_empty() { "" } else { "   " };
        if (row.chars().count() + gap.len() + word.chars().count()) > columns {
            break;
        }
        row += gap;
        row += word;
    }
    row
}

/// The keys with their sentences, on the whole screen.
pub(super) fn draw_help(help: &[(String, String)], look: Look, area: Rect, frame: &mut Frame<'_>) {
    let mut lines = vec![
        Line::styled("Keys", look.style(Role::Strong)),
        Line::raw(""),
    ];
    for (key, words) in help {
        lines.push(Line::raw(format!("{key:>7}  {words}")));
    }
    frame.render_widget(Paragraph::new(lines).wrap(Wrap { trim: false }), area);
}

/// The ball between its top and the floor.
fn draw_ball(height: f64, is_held: bool, look: Look, area: Rect, frame: &mut Frame<'_>) {
    let area = area.intersection(frame.area());
    if area.height < 3 || area.width < 5 {
        return;
    }
    let (ball, floor) = match look.signs {
        Glyphs::Unicode => ("███", "▀"),
        Glyphs::Ascii => ("(O)", "="),
    };
    let rows = area.height - 2;
    let down = ((1.0 - height.clamp(0.0, 1.0)) * f64::from(rows)).round() as u16;
    let middle = area.x + area.width / 2 - 1;
    let strong = look.style(Role::Strong);
    let buffer = frame.buffer_mut();
    buffer.set_string(middle, area.y + down.min(rows), ball, strong);
    let ground = floor.repeat(usize::from(area.width - 2));
    buffer.set_string(
        area.x + 1,
        area.bottom() - 1,
        ground,
        look.style(Role::Plain),
    );
    if is_held && area.width >= 6 {
        buffer.set_stringn(area.x, area.y + down.min(rows), "held", 4, strong);
    }
}

#[cfg(test)]
#[path = "drill_tests.rs"]
mod tests;
