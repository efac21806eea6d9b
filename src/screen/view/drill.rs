//! The screen of a drill: the last lag large, all lags as a strip, the counts.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;
use unicode_width::UnicodeWidthStr;

use super::ball::draw_ball;
use super::help::draw_help;
use super::lag::{Last, large};
use super::parts::{blank, fitting, head, keys, line, status, warning};
use super::stack::{Block, stack};
use crate::page::strip;
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
    /// The median and where half of the lags lie, in words.
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

/// Draws the whole screen.
pub fn draw(view: &DrillView, look: Look, frame: &mut Frame<'_>) {
    let area = frame.area();
    if area.is_empty() {
        return;
    }
    if let Some(help) = &view.help {
        return draw_help(help, &view.keys, look, area, frame);
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
        let words = fitting(&view.middle, width).to_owned();
        blocks.push(line("median", 4, words, look.style(Role::Plain)));
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
        fitting(&view.level, width).to_owned(),
        look.style(Role::Quiet),
    ));
    blocks.push(keys(&view.keys, look));
    blocks
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
        .map(|(outcome, n)| (*outcome, *n, format!("{} {n}", outcome.words())))
        .collect();
    let long: usize = all.iter().map(|(_, _, t)| t.width() + 3).sum();
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

#[cfg(test)]
#[path = "drill_tests.rs"]
mod tests;
