//! The screen of a session with an animal: the clock, the last lag large, the
//! step and its latest tries, the pace, at most one warning. Nothing flashes.

use ratatui::Frame;
use ratatui::text::Line;
use ratatui::widgets::{Paragraph, Wrap};

use super::drill::{Last, blank, draw_help, head, keys, large, line, status, warning};
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
    /// What the last key did, or the state of the sound.
    pub told: String,
    /// One warning, in words.
    pub warning: Option<String>,
    /// Keys and what they do.
    pub keys: Vec<(String, String)>,
    /// Keys and sentences, when the help is shown.
    pub help: Option<Vec<(String, String)>>,
    /// The numbers behind it, when they are shown.
    pub numbers: Option<Vec<String>>,
}

/// Draws the whole screen.
pub fn draw(view: &TrainView, look: Look, frame: &mut Frame<'_>) {
    let area = frame.area();
    if area.is_empty() {
        return;
    }
    if let Some(help) = &view.help {
        return draw_help(help, look, area, frame);
    }
    if let Some(numbers) = &view.numbers {
        let title = Line::styled("The numbers behind it", look.style(Role::Strong));
        let lines: Vec<Line<'_>> = [title, Line::raw("")]
            .into_iter()
            .chain(numbers.iter().map(|n| Line::raw(n.as_str())))
            .collect();
        frame.render_widget(Paragraph::new(lines).wrap(Wrap { trim: false }), area);
        return;
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
    if !view.told.is_empty() {
        blocks.push(line(
            "what was done",
            7,
            view.told.clone(),
            look.style(Role::Quiet),
        ));
    }
    blocks.push(keys(&view.keys, look));
    blocks
}

#[cfg(test)]
#[path = "train_tests.rs"]
mod tests;
