//! The ball on the screen.

use ratatui::Frame;
use ratatui::layout::Rect;

use crate::page::Glyphs;
use crate::screen::theme::{Look, Role};

/// The ball between its top and the floor.
pub(super) fn draw_ball(height: f64, is_held: bool, look: Look, area: Rect, frame: &mut Frame<'_>) {
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
