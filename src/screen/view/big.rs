//! Large letters and digits built from blocks, to be read across a room.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

use crate::page::Glyphs;

/// Rows of a large sign whose dots are one row high.
pub const ROWS: u16 = 5;

/// The rows of a sign; `#` is ink. What has no picture is a blank.
fn picture(sign: char) -> [&'static str; ROWS as usize] {
    match sign.to_ascii_uppercase() {
        '0' => ["###", "# #", "# #", "# #", "###"],
        '1' => [" # ", "## ", " # ", " # ", "###"],
        '2' => ["###", "  #", "###", "#  ", "###"],
        '3' => ["###", "  #", "###", "  #", "###"],
        '4' => ["# #", "# #", "###", "  #", "  #"],
        '5' => ["###", "#  ", "###", "  #", "###"],
        '6' => ["###", "#  ", "###", "# #", "###"],
        '7' => ["###", "  #", "  #", " # ", " # "],
        '8' => ["###", "# #", "###", "# #", "###"],
        '9' => ["###", "# #", "###", "  #", "###"],
        'A' => [" # ", "# #", "###", "# #", "# #"],
        'B' => ["## ", "# #", "## ", "# #", "## "],
        'C' => ["###", "#  ", "#  ", "#  ", "###"],
        'D' => ["## ", "# #", "# #", "# #", "## "],
        'E' => ["###", "#  ", "## ", "#  ", "###"],
        'F' => ["###", "#  ", "## ", "#  ", "#  "],
        'G' => [" ###", "#   ", "# ##", "#  #", " ###"],
        'H' => ["# #", "# #", "###", "# #", "# #"],
        'I' => ["###", " # ", " # ", " # ", "###"],
        'J' => ["  #", "  #", "  #", "# #", " # "],
        'K' => ["#  #", "# # ", "##  ", "# # ", "#  #"],
        'L' => ["#  ", "#  ", "#  ", "#  ", "###"],
        'M' => ["#   #", "## ##", "# # #", "#   #", "#   #"],
        'N' => ["#   #", "##  #", "# # #", "#  ##", "#   #"],
        'O' => [" ## ", "#  #", "#  #", "#  #", " ## "],
        'P' => ["###", "# #", "###", "#  ", "#  "],
        'Q' => [" ## ", "#  #", "#  #", "# ##", " ###"],
        'R' => ["## ", "# #", "## ", "# #", "# #"],
        'S' => [" ##", "#  ", " # ", "  #", "## "],
        'T' => ["###", " # ", " # ", " # ", " # "],
        'U' => ["# #", "# #", "# #", "# #", "###"],
        'V' => ["#   #", "#   #", " # # ", " # # ", "  #  "],
        'W' => ["#   #", "#   #", "# # #", "## ##", "#   #"],
        'X' => ["#   #", " # # ", "  #  ", " # # ", "#   #"],
        'Y' => ["# #", "# #", " # ", " # ", " # "],
        'Z' => ["###", "  #", " # ", "#  ", "###"],
        '-' => ["   ", "   ", "###", "   ", "   "],
        '+' => ["   ", " # ", "###", " # ", "   "],
        '.' => [" ", " ", " ", " ", "#"],
        ':' => [" ", "#", " ", "#", " "],
        _ => ["  ", "  ", "  ", "  ", "  "],
    }
}

/// Columns and rows of a dot, the largest first.
const DOTS: [(u16, u16); 4] = [(6, 3), (4, 2), (2, 1), (1, 1)];

/// Columns of a large text whose dots are this wide.
pub fn columns(text: &str, dot: u16) -> u16 {
    let dots: usize = text.chars().map(|c| picture(c)[0].len() + 1).sum();
    u16::try_from(dots.saturating_sub(1))
        .unwrap_or(u16::MAX)
        .saturating_mul(dot)
}

/// The largest dot, in columns and rows, with which a text fits; `None` when it
/// does not fit.
pub fn dot_for(text: &str, area: Rect) -> Option<(u16, u16)> {
    DOTS.into_iter()
        .find(|(wide, high)| columns(text, *wide) <= area.width && ROWS * high <= area.height)
}

/// Draws a text as large as it fits, in the middle of the area; when it does not
/// fit even with the smallest dots, in ordinary letters.
pub fn draw(text: &str, area: Rect, style: Style, signs: Glyphs, buffer: &mut Buffer) {
    let area = area.intersection(buffer.area);
    if area.is_empty() {
        return;
    }
    let Some((dot, high)) = dot_for(text, area) else {
        let width = u16::try_from(text.width()).unwrap_or(u16::MAX);
        let left = area.x + area.width.saturating_sub(width) / 2;
        let middle = area.y + area.height.saturating_sub(1) / 2;
        buffer.set_stringn(left, middle, text, usize::from(area.right() - left), style);
        return;
    };
    let ink = match signs {
        Glyphs::Unicode => "█",
        Glyphs::Ascii => "#",
    };
    let mut x = area.x + (area.width - columns(text, dot)) / 2;
    let top = area.y + (area.height - ROWS * high) / 2;
    for sign in text.chars() {
        let rows = picture(sign);
        for (row, dots) in (0u16..).zip(rows) {
            for (column, _) in (0u16..).zip(dots.chars()).filter(|(_, c)| *c == '#') {
                for y in 0..high {
                    let at = (x + column * dot, top + row * high + y);
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
    fn every_letter_digit_and_sign_has_a_picture_of_its_own() {
        let signs = || ('0'..='9').chain('A'..='Z').chain("-+.:".chars());
        for sign in signs() {
            let rows = picture(sign);
            assert!(rows.iter().all(|r| r.len() == rows[0].len()), "{sign}");
            assert!(rows.concat().contains('#'), "{sign} has no picture");
            // Ink at both sides: no sign is wider than it is seen to be.
            for column in [0, rows[0].len() - 1] {
                let inked = rows.iter().any(|r| r.as_bytes()[column] == b'#');
                assert!(inked, "{sign}, column {column}");
            }
            let same: Vec<char> = signs().filter(|other| picture(*other) == rows).collect();
            assert_eq!(same, [sign]);
        }
        assert!(!picture(' ').concat().contains('#'));
        assert_eq!(picture('k'), picture('K'));
    }

    #[test]
    fn drawn_as_large_as_it_fits_and_never_outside() {
        assert_eq!(columns("42", 2), 14);
        assert_eq!(dot_for("42", Rect::new(0, 0, 28, 10)), Some((4, 2)));
        assert_eq!(dot_for("42", Rect::new(0, 0, 27, 10)), Some((2, 1)));
        assert_eq!(dot_for("42", Rect::new(0, 0, 13, 10)), Some((1, 1)));
        assert_eq!(dot_for("42", Rect::new(0, 0, 6, 10)), None);
        assert_eq!(dot_for("42", Rect::new(0, 0, 28, 4)), None);
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
