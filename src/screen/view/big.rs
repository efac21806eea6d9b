//! Large letters and digits built from blocks, to be read across a room.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use crate::page::Glyphs;

/// Rows of a large sign at scale 1.
pub const ROWS: u16 = 5;

/// The rows of a sign; `#` is ink. What has no picture is a blank.
fn picture(sign: char) -> [&'static str; ROWS as usize] {
    match sign.to_ascii_uppercase() {
        '0' | 'O' => ["###", "# #", "# #", "# #", "###"],
        '1' => [" # ", "## ", " # ", " # ", "###"],
        '2' => ["###", "  #", "###", "#  ", "###"],
        '3' => ["###", "  #", "###", "  #", "###"],
        '4' => ["# #", "# #", "###", "  #", "  #"],
        '5' | 'S' => ["###", "#  ", "###", "  #", "###"],
        '6' => ["###", "#  ", "###", "# #", "###"],
        '7' => ["###", "  #", " # ", " # ", " # "],
        '8' => ["###", "# #", "###", "# #", "###"],
        '9' => ["###", "# #", "###", "  #", "###"],
        'A' => ["###", "# #", "###", "# #", "# #"],
        'C' => ["###", "#  ", "#  ", "#  ", "###"],
        'D' => ["## ", "# #", "# #", "# #", "## "],
        'E' => ["###", "#  ", "## ", "#  ", "###"],
        'F' => ["###", "#  ", "## ", "#  ", "#  "],
        'G' => ["###", "#  ", "# #", "# #", "###"],
        'H' => ["# #", "# #", "###", "# #", "# #"],
        'I' => ["###", " # ", " # ", " # ", "###"],
        'L' => ["#  ", "#  ", "#  ", "#  ", "###"],
        'M' => ["#   #", "## ##", "# # #", "#   #", "#   #"],
        'N' => ["#   #", "##  #", "# # #", "#  ##", "#   #"],
        'P' => ["###", "# #", "###", "#  ", "#  "],
        'Q' => ["###", "# #", "# #", "###", "  #"],
        'R' => ["## ", "# #", "## ", "# #", "# #"],
        'T' => ["###", " # ", " # ", " # ", " # "],
        'U' => ["# #", "# #", "# #", "# #", "###"],
        'W' => ["#   #", "#   #", "# # #", "## ##", "#   #"],
        'Y' => ["# #", "# #", " # ", " # ", " # "],
        _ => ["  ", "  ", "  ", "  ", "  "],
    }
}

/// Columns of a large text at a scale; each dot is two columns wide.
pub fn columns(text: &str, scale: u16) -> u16 {
    let dots: usize = text.chars().map(|c| picture(c)[0].len() + 1).sum();
    u16::try_from(dots.saturating_sub(1))
        .unwrap_or(u16::MAX)
        .saturating_mul(2)
        .saturating_mul(scale)
}

/// The largest scale, 1 to 3, at which a text fits; `None` when it does not fit.
pub fn scale_for(text: &str, area: Rect) -> Option<u16> {
    (1..=3)
        .rev()
        .find(|scale| columns(text, *scale) <= area.width && ROWS * scale <= area.height)
}

/// Draws a text as large as it fits, in the middle of the area; when it does not
/// fit even at scale 1, in ordinary letters.
pub fn draw(text: &str, area: Rect, style: Style, signs: Glyphs, buffer: &mut Buffer) {
    let area = area.intersection(buffer.area);
    if area.is_empty() {
        return;
    }
    let Some(scale) = scale_for(text, area) else {
        let width = u16::try_from(text.chars().count()).unwrap_or(u16::MAX);
        let left = area.x + area.width.saturating_sub(width) / 2;
        let middle = area.y + area.height.saturating_sub(1) / 2;
        buffer.set_stringn(left, middle, text, usize::from(area.right() - left), style);
        return;
    };
    let ink = match signs {
        Glyphs::Unicode => "█",
        Glyphs::Ascii => "#",
    };
    let mut x = area.x + (area.width - columns(text, scale)) / 2;
    let top = area.y + (area.height - ROWS * scale) / 2;
    let dot = 2 * scale;
    for sign in text.chars() {
        let rows = picture(sign);
        for (row, dots) in (0u16..).zip(rows) {
            for (column, _) in (0u16..).zip(dots.chars()).filter(|(_, c)| *c == '#') {
                for y in 0..scale {
                    let at = (x + column * dot, top + row * scale + y);
                    buffer.set_string(at.0, at.1, ink.repeat(usize::from(dot)), style);
                }
            }
        }
        x += (rows[0].len() as u16 + 1) * dot;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_picture_is_a_rectangle() {
        for sign in ('0'..='9').chain('A'..='Z').chain([' ', '-']) {
            let rows = picture(sign);
            assert!(rows.iter().all(|r| r.len() == rows[0].len()), "{sign}");
        }
        for sign in "EARLYLATEONTIMEMISSEDSTRAYPAUSECATCH0123456789WGOODQUIETOF".chars() {
            assert!(
                picture(sign).concat().contains('#'),
                "{sign} has no picture"
            );
        }
    }

    #[test]
    fn drawn_as_large_as_it_fits_and_never_outside() {
        assert_eq!(columns("42", 1), 14);
        assert_eq!(scale_for("42", Rect::new(0, 0, 28, 10)), Some(2));
        assert_eq!(scale_for("42", Rect::new(0, 0, 27, 10)), Some(1));
        assert_eq!(scale_for("42", Rect::new(0, 0, 28, 4)), None);
        for (w, h) in [(0, 0), (1, 1), (14, 5), (13, 5), (80, 24), (14, 4)] {
            let whole = Rect::new(0, 0, w, h);
            let mut buffer = Buffer::empty(whole);
            draw(
                "42",
                Rect::new(0, 0, 90, 30),
                Style::new(),
                Glyphs::Ascii,
                &mut buffer,
            );
            let inked = buffer.content().iter().any(|c| c.symbol() != " ");
            assert_eq!(inked, w > 0, "{w}×{h}");
        }
    }

    #[test]
    fn a_four_and_a_two() {
        let mut buffer = Buffer::empty(Rect::new(0, 0, 14, 5));
        draw("42", buffer.area, Style::new(), Glyphs::Ascii, &mut buffer);
        let rows: Vec<String> = (0..5)
            .map(|y| (0..14).map(|x| buffer[(x, y)].symbol()).collect())
            .collect();
        assert_eq!(
            rows,
            [
                "##  ##  ######",
                "##  ##      ##",
                "######  ######",
                "    ##  ##    ",
                "    ##  ######",
            ]
        );
    }
}
