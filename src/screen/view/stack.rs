//! Blocks one below the other: what has no room is left out, the least needed
//! first, and the last line says what is missing.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Draws a block into its place.
pub type Draw<'a> = Box<dyn Fn(Rect, &mut Frame<'_>) + 'a>;

/// A piece of the screen.
pub struct Block<'a> {
    /// What it is, for "No room: …"; an empty name is not missed.
    pub name: &'static str,
    /// Rows it needs.
    pub rows: u16,
    /// Rows it can make use of beyond those.
    pub more: u16,
    /// The lower, the sooner it is drawn when room is short.
    pub rank: u8,
    /// How it is drawn.
    pub draw: Draw<'a>,
}

/// Draws the blocks in their order, as many as there is room for by rank. What is
/// left out is named on the last line, in `quiet`.
pub fn stack(blocks: &[Block<'_>], area: Rect, quiet: Style, frame: &mut Frame<'_>) {
    let area = area.intersection(frame.area());
    if area.is_empty() {
        return;
    }
    let whole: u16 = blocks.iter().map(|b| b.rows).fold(0, u16::saturating_add);
    let is_short = whole > area.height;
    let rows = if is_short {
        area.height - 1
    } else {
        area.height
    };
    let mut by_rank: Vec<usize> = (0..blocks.len()).collect();
    by_rank.sort_by_key(|k| blocks[*k].rank);
    let mut left = rows;
    let mut is_in = vec![false; blocks.len()];
    for k in by_rank {
        // The first block gets what there is, however little.
        let needs = blocks[k]
            .rows
            .min(if left == rows { rows } else { u16::MAX });
        if needs <= left && needs > 0 {
            is_in[k] = true;
            left -= needs;
        }
    }
    let mut y = area.y;
    for (block, _) in blocks.iter().zip(&is_in).filter(|(_, is_in)| **is_in) {
        let more = block.more.min(left);
        left -= more;
        let height = (block.rows + more).min(area.y + rows - y);
        (block.draw)(Rect::new(area.x, y, area.width, height), frame);
        y += height;
    }
    if is_short {
        let missing: Vec<&str> = blocks
            .iter()
            .zip(&is_in)
            .filter(|(block, is_in)| !**is_in && !block.name.is_empty())
            .map(|(block, _)| block.name)
            .collect();
        if !missing.is_empty() {
            let words = format!("No room: {}", missing.join(", "));
            let last = area.bottom() - 1;
            let width = usize::from(area.width);
            frame
                .buffer_mut()
                .set_stringn(area.x, last, words, width, quiet);
        }
    }
}
