//! The screen of a session with an animal: the clock, the last lag large, the
//! step and its latest tries, the pace, at most one warning. Nothing flashes.

use ratatui::Frame;
use ratatui::text::Line;
use ratatui::widgets::{Paragraph, Wrap};

use super::help::draw_help;
use super::lag::{Last, large};
use super::parts::{blank, fitting, head, keys, line, status, told, warning};
use super::stack::{Block, stack};
use crate::screen::theme::{Look, Role};

/// What the screen shows; nothing else is known to it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TrainView {
    /// With whom, and what: "Juniper: target, step 2".
    pub title: String,
    /// The clock: "2:31 of 5:00".
    pub clock: String,
    /// The last mark that had a moment.
    pub last: Option<Last>,
    /// Its lag without the bias of who presses, in words; may be empty.
    pub corrected: String,
    /// What stands in its place when there is none: "BREAK", "12 MARKS".
    pub large: Option<String>,
    /// What earns the mark now.
    pub earns: String,
    /// The latest ten tries as signs, with their words.
    pub tries: String,
    /// Marks a minute.
    pub pace: String,
    /// Treats left.
    pub treats: String,
    /// Answer time and treat gap.
    pub times: String,
    /// The level of the sound and the last mark, in words.
    pub level: String,
    /// What the last key did.
    pub told: String,
    /// One warning, in words.
    pub warning: Option<String>,
    /// Keys and what they do.
    pub keys: Vec<(String, String)>,
    /// Keys and sentences, when the help is shown.
    pub help: Option<Vec<(String, String)>>,
    /// The numbers behind it, when they are shown.
    pub numbers: Option<Vec<String>>,
    /// What happened, when that is shown.
    pub list: Option<ListView>,
}

/// What happened, the latest first, and which of it is picked.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ListView {
    /// A row for each event.
    pub rows: Vec<ListRow>,
    /// The picked row, from 0.
    pub picked: usize,
    /// Keys and what they do.
    pub keys: Vec<(String, String)>,
}

/// One event.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ListRow {
    /// When: "2:31".
    pub at: String,
    /// What happened.
    pub what: String,
    /// Whether it does not count.
    pub is_aside: bool,
}

/// Draws the whole screen.
pub fn draw(view: &TrainView, look: Look, frame: &mut Frame<'_>) {
    let area = frame.area();
    if area.is_empty() {
        return;
    }
    if let Some(help) = &view.help {
        return draw_help(help, &view.keys, look, area, frame);
    }
    if let Some(numbers) = &view.numbers {
        let title = format!("The numbers behind it, at {}", view.clock);
        let title = Line::styled(title, look.style(Role::Strong));
        let lines: Vec<Line<'_>> = [title, Line::raw("")]
            .into_iter()
            .chain(numbers.iter().map(|n| Line::raw(n.as_str())))
            .collect();
        frame.render_widget(Paragraph::new(lines).wrap(Wrap { trim: false }), area);
        return;
    }
    if let Some(list) = &view.list {
        return draw_list(view, list, look, frame);
    }
    let quiet = look.style(Role::Quiet);
    stack(&blocks(view, look, area.width), area, quiet, frame);
}

fn blocks<'a>(view: &'a TrainView, look: Look, width: u16) -> Vec<Block<'a>> {
    let (plain, strong) = (look.style(Role::Plain), look.style(Role::Strong));
    let mut clock = head(&view.title, &view.clock, look);
    // The clock is what a session is held by: it stays.
    clock.rank = 0;
    let mut lag = large(view.large.as_deref(), view.last, look, width);
    lag.rank = 4;
    let mut earns = status(&view.earns, look, width);
    earns.name = "what earns the mark";
    let mut blocks = vec![clock, earns, blank(), lag, blank()];
    let lines = [
        ("corrected lag", 6, &view.corrected, plain),
        ("tries", 2, &view.tries, strong),
        ("pace", 2, &view.pace, plain),
        ("treats", 5, &view.treats, plain),
        ("times", 6, &view.times, plain),
    ];
    for (name, rank, words, style) in lines {
        if !words.is_empty() {
            blocks.push(line(name, rank, words.clone(), style));
        }
    }
    // A place of its own, so that nothing moves when a warning comes and goes.
    let mut place = warning(view.warning.as_deref().unwrap_or(""), look, width);
    if view.warning.is_none() {
        place = blank();
    }
    place.rows = place.rows.max(1);
    place.rank = if view.warning.is_some() { 1 } else { 8 };
    blocks.push(place);
    if !view.level.is_empty() {
        let level = fitting(&view.level, width).to_owned();
        blocks.push(line("level", 7, level, look.style(Role::Quiet)));
    }
    if !view.told.is_empty() {
        blocks.push(told(&view.told, look, width));
    }
    blocks.push(keys(&view.keys, look));
    blocks
}

/// What happened: the clock above, the picked row marked by a sign, and what was
/// done below, so that nothing of the session is out of sight for long.
fn draw_list(view: &TrainView, list: &ListView, look: Look, frame: &mut Frame<'_>) {
    let quiet = look.style(Role::Quiet);
    let mut clock = head("What happened, the latest first", &view.clock, look);
    clock.rank = 0;
    let rows = Block {
        name: "the list",
        rows: 1,
        more: u16::MAX,
        rank: 1,
        draw: Box::new(move |area, frame| {
            let height = usize::from(area.height).max(1);
            let from = list.picked.saturating_sub(height / 2);
            let from = from.min(list.rows.len().saturating_sub(height));
            let shown = list.rows.iter().enumerate().skip(from).take(height);
            let lines = shown.map(|(k, row)| {
                let sign = if k == list.picked { '>' } else { ' ' };
                let aside = if row.is_aside { "   set aside" } else { "" };
                let style = match (k == list.picked, row.is_aside) {
                    (true, _) => look.style(Role::Strong),
                    (false, true) => quiet,
                    (false, false) => look.style(Role::Plain),
                };
                Line::styled(format!("{sign} {:>6}  {}{aside}", row.at, row.what), style)
            });
            let mut lines: Vec<Line<'_>> = lines.collect();
            if list.rows.is_empty() {
                lines.push(Line::raw("Nothing yet."));
            }
            frame.render_widget(Paragraph::new(lines), area);
        }),
    };
    let told = line("what was done", 3, view.told.clone(), quiet);
    let area = frame.area();
    let blocks = [clock, blank(), rows, told, keys(&list.keys, look)];
    stack(&blocks, area, quiet, frame);
}

#[cfg(test)]
#[path = "train_tests.rs"]
mod tests;
