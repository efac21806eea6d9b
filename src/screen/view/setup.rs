//! The screen of a set-up that is looked at or taught: one large word, a level
//! meter, what was found so far. The check, the lesson and the tapping share it.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::text::{Line, Span};
use ratatui::widgets::Paragraph;
use unicode_width::UnicodeWidthStr;

use super::big;
use super::stack::{Block, stack};
use crate::ear::{Level, LevelWord};
use crate::page::Glyphs;
use crate::screen::theme::{Look, Role};

/// What the screen shows; nothing else is known to it.
#[derive(Debug, Clone, PartialEq)]
pub struct SetupView {
    /// What is going on.
    pub title: String,
    /// The large word or count.
    pub large: String,
    /// What to do now, in a sentence.
    pub status: String,
    /// The level; `None` before the first sound.
    pub level: Option<Level>,
    /// Names and what was found, the most wanted first.
    pub rows: Vec<(String, String)>,
    /// What is wrong, in words.
    pub warnings: Vec<String>,
    /// Keys and what they do.
    pub keys: Vec<(String, String)>,
}

/// The quietest level on the meter, in dB re full scale.
const LOWEST_DBFS: f64 = -90.0;

/// Draws the whole screen.
pub fn draw(view: &SetupView, look: Look, frame: &mut Frame<'_>) {
    let area = frame.area();
    if area.is_empty() {
        return;
    }
    let quiet = look.style(Role::Quiet);
    let mut blocks = vec![text(
        "title",
        4,
        view.title.clone(),
        look.style(Role::Strong),
    )];
    blocks.push(Block {
        name: "",
        rows: big::ROWS,
        more: big::ROWS + 2,
        rank: 2,
        draw: Box::new(move |area, frame| {
            let style = look.style(Role::Strong);
            let place = inside(area);
            big::draw(&view.large, place, style, look.signs, frame.buffer_mut());
        }),
    });
    blocks.push(wrapped(
        "what to do",
        0,
        &view.status,
        look.style(Role::Plain),
        area.width,
    ));
    if let Some(level) = view.level {
        blocks.push(meter(level, look));
    }
    for warning in &view.warnings {
        let words = format!("! {warning}");
        blocks.push(wrapped(
            "a warning",
            3,
            &words,
            look.style(Role::Warning),
            area.width,
        ));
    }
    let name_width = view.rows.iter().map(|(n, _)| n.width()).max().unwrap_or(0);
    for (rank, (name, value)) in (5u8..).zip(&view.rows) {
        let words = format!("{name:<name_width$}  {value}");
        // All that has no room is told as one thing.
        let missing = if rank == 5 { "what was found" } else { "" };
        blocks.push(text(missing, rank, words, look.style(Role::Plain)));
    }
    if !view.keys.is_empty() {
        let keys: Vec<String> = view.keys.iter().map(|(k, w)| format!("{k} {w}")).collect();
        blocks.push(text("keys", 1, keys.join("   "), quiet));
    }
    stack(&blocks, area, quiet, frame);
}

/// A little air above and below what is large, where there is room.
fn inside(area: Rect) -> Rect {
    let air = u16::from(area.height >= big::ROWS + 2);
    Rect {
        y: area.y + air,
        height: area.height - 2 * air,
        ..area
    }
}

fn text<'a>(name: &'static str, rank: u8, words: String, style: Style) -> Block<'a> {
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

fn wrapped<'a>(name: &'static str, rank: u8, words: &str, style: Style, width: u16) -> Block<'a> {
    let lines = lines_of(words, usize::from(width));
    Block {
        name,
        rows: u16::try_from(lines.len()).unwrap_or(u16::MAX),
        more: 0,
        rank,
        draw: Box::new(move |area, frame| {
            let lines: Vec<Line<'_>> = lines.iter().map(|l| Line::from(l.as_str())).collect();
            frame.render_widget(Paragraph::new(lines).style(style), area);
        }),
    }
}

/// Lines of at most `columns` signs, broken between words; a longer word stands alone.
pub fn lines_of(words: &str, columns: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in words.split(' ') {
        let needed = word.width() + 1;
        match lines.last_mut() {
            Some(line) if line.is_empty() => line.push_str(word),
            Some(line) if line.width() + needed <= columns => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// The bar up to the loudest sound held, with the room's own noise marked in it,
/// and the level in a word.
fn meter<'a>(level: Level, look: Look) -> Block<'a> {
    let word = level.word();
    let style = look.style(match word {
        LevelWord::Good => Role::Strong,
        LevelWord::Room => Role::Plain,
        LevelWord::Nothing | LevelWord::TooQuiet | LevelWord::Clipping => Role::Warning,
    });
    let quiet = look.style(Role::Quiet);
    Block {
        name: "the level",
        rows: 1,
        more: 0,
        rank: 0,
        draw: Box::new(move |area, frame| {
            let told = format!(" {:>4.0} dB, {word}", level.peak_dbfs.max(-199.0));
            let room = usize::from(area.width).saturating_sub(told.width().max(22));
            let bar = bar(level, room, look.signs);
            let line = Line::from(vec![Span::styled(bar, quiet), Span::styled(told, style)]);
            frame.render_widget(Paragraph::new(line), area);
        }),
    }
}

/// A bar of `width` columns from −90 dB to full scale.
pub fn bar(level: Level, width: usize, signs: Glyphs) -> String {
    let column = |dbfs: f64| {
        let share = (dbfs - LOWEST_DBFS) / -LOWEST_DBFS;
        (share.clamp(0.0, 1.0) * width as f64).round() as usize
    };
    let (ink, empty, room) = match signs {
        Glyphs::Unicode => ('█', '·', '▏'),
        Glyphs::Ascii => ('#', '.', '|'),
    };
    let full = column(level.peak_dbfs);
    let noise = level.noise_dbfs.map(column);
    (0..width)
        .map(|k| match k {
            k if Some(k) == noise => room,
            k if k < full => ink,
            _ => empty,
        })
        .collect()
}

#[cfg(test)]
#[path = "setup_tests.rs"]
mod tests;
