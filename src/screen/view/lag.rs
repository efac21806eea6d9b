//! The last lag, as large as there is room.

use ratatui::layout::{Alignment, Rect};
use ratatui::widgets::Paragraph;

use super::big;
use super::stack::Block;
use crate::screen::theme::{Look, Role};
use crate::timeline::Outcome;

/// The last outcome.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Last {
    /// What it counts as.
    pub outcome: Outcome,
    /// Its lag, where it has one.
    pub lag_ms: Option<f64>,
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
                    let word = last.outcome.words().to_uppercase();
                    let below = match last.outcome {
                        Outcome::Missed => "no mark for that one",
                        _ => "a mark that no moment earned",
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
        Some((digits, _)) if !below.is_empty() && big::columns(&text, 2) > width => {
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
