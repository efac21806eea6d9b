//! Blocks that more than one screen is made of: title, status, warning, a line, keys.

use ratatui::layout::{Alignment, Rect};
use ratatui::style::Style;
use ratatui::text::Line;
use ratatui::widgets::{Paragraph, Wrap};
use unicode_width::UnicodeWidthStr;

use super::setup::lines_of;
use super::stack::Block;
use crate::screen::theme::{Look, Role};

/// One warning, on as many lines as it needs.
pub(super) fn warning<'a>(words: &str, look: Look, width: u16) -> Block<'a> {
    let signs = usize::from(width).max(1);
    let rows = (words.width() + 2).div_ceil(signs).clamp(1, 3) as u16;
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

/// What was done, on as many lines as it needs.
pub(super) fn told<'a>(words: &str, look: Look, width: u16) -> Block<'a> {
    let lines = lines_of(words, usize::from(width).max(1));
    let style = look.style(Role::Quiet);
    Block {
        name: "what was done",
        rows: lines.len().clamp(1, 4) as u16,
        more: 0,
        rank: 7,
        draw: Box::new(move |area, frame| {
            let lines: Vec<Line<'_>> = lines.iter().map(|l| Line::raw(l.as_str())).collect();
            frame.render_widget(Paragraph::new(lines).style(style), area);
        }),
    }
}

/// As much of the words as has room, up to one of their own signs; all of them
/// where even the first part has none.
pub(super) fn fitting(words: &str, width: u16) -> &str {
    if words.width() <= usize::from(width) {
        return words;
    }
    let ends = words.match_indices([',', ';', ':']).map(|(at, _)| at);
    let fits = |at: &usize| words[..*at].width() <= usize::from(width);
    ends.rev().find(fits).map_or(words, |at| &words[..at])
}

/// A title, and on its right how far it is.
pub(super) fn head<'a>(title: &'a str, progress: &'a str, look: Look) -> Block<'a> {
    Block {
        name: "title",
        rows: 1,
        more: 0,
        rank: 6,
        draw: Box::new(move |area, frame| {
            let right = u16::try_from(progress.width()).unwrap_or(u16::MAX);
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

/// What is going on, in the middle.
pub(super) fn status<'a>(words: &'a str, look: Look, width: u16) -> Block<'a> {
    let signs = words.width();
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
        if (row.width() + gap.len() + word.width()) > columns {
            break;
        }
        row += gap;
        row += word;
    }
    row
}
