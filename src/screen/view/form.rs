//! A form on the screen: a line for each field, the one that keys go to marked by
//! a sign, a sentence about it below.

use ratatui::Frame;
use ratatui::style::{Modifier, Style};
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

use super::parts::{blank, head, keys, warning};
use super::setup::lines_of;
use super::stack::{Block, stack};
use crate::page::Glyphs;
use crate::screen::theme::{Look, Role};
use crate::timeline::plan::form::FormRow;

/// What the screen shows; nothing else is known to it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FormView {
    /// What is filled in.
    pub title: String,
    /// The fields.
    pub rows: Vec<FormRow>,
    /// A sentence about the field that keys go to.
    pub hint: String,
    /// What is wrong; may be empty.
    pub told: String,
    /// Keys and what they do.
    pub keys: Vec<(String, String)>,
}

/// Columns of the labels.
const LABEL: usize = 13;

/// Draws the whole screen.
pub fn draw(view: &FormView, look: Look, frame: &mut Frame<'_>) {
    let area = frame.area();
    if area.is_empty() {
        return;
    }
    let quiet = look.style(Role::Quiet);
    let here = view.rows.iter().position(|r| r.is_here).unwrap_or(0);
    let count = format!("{} of {}", here + 1, view.rows.len());
    let mut title = head(&view.title, &count, look);
    title.rank = 5;
    let rows = Block {
        name: "the fields",
        rows: 1,
        more: u16::MAX,
        rank: 0,
        draw: Box::new(move |area, frame| {
            let height = usize::from(area.height).max(1);
            // The field stands in the middle once it is beyond it.
            let from = here.saturating_sub(height / 2);
            let from = from.min(view.rows.len().saturating_sub(height));
            let shown = view.rows.iter().skip(from).take(height);
            let lines: Vec<Line<'_>> = shown
                .map(|row| field(row, look, usize::from(area.width)))
                .collect();
            frame.render_widget(Paragraph::new(lines), area);
        }),
    };
    let mut blocks = vec![title, blank(), rows, blank()];
    if view.told.is_empty() {
        blocks.push(hint(&view.hint, quiet, area.width));
    } else {
        // In the hint's place, which is always two rows, so that nothing moves.
        let mut told = warning(&view.told, look, area.width);
        told.rank = 1;
        told.rows = told.rows.max(2);
        blocks.push(told);
    }
    blocks.push(keys(&view.keys, look));
    stack(&blocks, area, quiet, frame);
}

fn hint<'a>(words: &str, style: Style, width: u16) -> Block<'a> {
    let lines = lines_of(words, usize::from(width));
    Block {
        name: "what belongs here",
        rows: u16::try_from(lines.len().max(2)).unwrap_or(2),
        more: 0,
        rank: 2,
        draw: Box::new(move |area, frame| {
            let lines: Vec<Line<'_>> = lines.iter().map(|l| Line::raw(l.as_str())).collect();
            frame.render_widget(Paragraph::new(lines).style(style), area);
        }),
    }
}

/// One field: its label, and as much of its value as has room.
fn field(row: &FormRow, look: Look, width: usize) -> Line<'static> {
    let sign = if row.is_here { '>' } else { ' ' };
    let style = look.style(if row.is_here {
        Role::Strong
    } else {
        Role::Plain
    });
    let label = format!("{sign} {:<LABEL$}", row.label);
    let room = width.saturating_sub(label.width() + 1);
    let mut spans = vec![Span::styled(label, style)];
    let (left, right) = match look.signs {
        Glyphs::Unicode => ("◂ ", " ▸"),
        Glyphs::Ascii => ("< ", " >"),
    };
    match row.cursor {
        Some(cursor) => {
            let (before, at, after) = around(&row.value, cursor, room);
            let under = style.add_modifier(Modifier::REVERSED);
            spans.extend([
                Span::styled(before, style),
                Span::styled(at, under),
                Span::styled(after, style),
            ]);
        }
        None if row.is_choice && row.is_here => {
            let value = cut(&row.value, room.saturating_sub(4));
            spans.push(Span::styled(format!("{left}{value}{right}"), style));
        }
        None => spans.push(Span::styled(cut(&row.value, room), style)),
    }
    Line::from(spans)
}

/// A text's beginning, with a sign for what has no room.
fn cut(text: &str, room: usize) -> String {
    if text.width() <= room {
        return text.to_owned();
    }
    let mut begun = String::new();
    for sign in text.chars() {
        if begun.width() + sign.width().unwrap_or(0) > room.saturating_sub(2) {
            break;
        }
        begun.push(sign);
    }
    begun + ".."
}

/// A text around its cursor, so that the cursor is in sight: what stands before it,
/// the sign that it is on, what stands after.
fn around(text: &str, cursor: usize, room: usize) -> (String, String, String) {
    let signs: Vec<char> = text.chars().chain([' ']).collect();
    let room = room.max(1);
    let cursor = cursor.min(signs.len() - 1);
    let from = (cursor + 1).saturating_sub(room);
    let until = (from + room).min(signs.len());
    (
        signs[from..cursor].iter().collect(),
        signs[cursor].to_string(),
        signs[cursor + 1..until].iter().collect(),
    )
}

#[cfg(test)]
#[path = "form_tests.rs"]
mod tests;
