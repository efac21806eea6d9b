//! The keys on the whole screen: in sentences where there is room, else in a word
//! or two each, and in as many columns as it takes. The first line says how to get
//! back.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;
use ratatui::widgets::Paragraph;
use unicode_width::UnicodeWidthStr;

use super::setup::lines_of;
use crate::screen::theme::{Look, Role};

/// What the first line says.
pub const CLOSES: &str = "Any key closes this";
/// Columns between two columns of keys.
const BETWEEN: usize = 2;
/// A column of sentences narrower than this is hard to read.
const NARROWEST: usize = 38;

/// Draws keys with their sentences, or with their words where those have no room.
pub(super) fn draw_help(
    sentences: &[(String, String)],
    words: &[(String, String)],
    look: Look,
    area: Rect,
    frame: &mut Frame<'_>,
) {
    let (width, height) = (usize::from(area.width), usize::from(area.height));
    let mut lines = vec![Line::styled(CLOSES, look.style(Role::Strong))];
    // The line below the title is left free where it is not needed.
    let rows = in_sentences(sentences, width, height.saturating_sub(2))
        .or_else(|| in_words(words, width, height.saturating_sub(2)))
        .or_else(|| in_words(words, width, height.saturating_sub(1)));
    match rows {
        Some(rows) => {
            lines.extend((rows.len() + 2 <= height).then(|| Line::raw("")));
            lines.extend(rows.into_iter().map(Line::raw));
        }
        None => {
            // Far too small: the first keys, and how many are left out.
            let some = (0..words.len()).rev().find_map(|shown| {
                let rows = in_words(&words[..shown], width, height.saturating_sub(2));
                rows.map(|rows| (rows, words.len() - shown))
            });
            let (rows, missing) = some.unwrap_or((Vec::new(), words.len()));
            lines.extend(rows.into_iter().map(Line::raw));
            let missing = format!("No room: {missing} keys");
            lines.push(Line::styled(missing, look.style(Role::Quiet)));
        }
    }
    frame.render_widget(Paragraph::new(lines), area);
}

/// One column of sentences, or two; `None` when they have no room.
fn in_sentences(help: &[(String, String)], width: usize, height: usize) -> Option<Vec<String>> {
    let keys = help.iter().map(|(key, _)| key.width()).max()?;
    let entries = |columns: usize| -> Vec<Vec<String>> {
        let own = (width.saturating_sub(BETWEEN * (columns - 1))) / columns;
        let entry = |(key, sentence): &(String, String)| {
            let lines = lines_of(sentence, own.saturating_sub(keys + BETWEEN));
            let with_key = lines.iter().enumerate().map(|(k, line)| {
                let key = if k == 0 { key.as_str() } else { "" };
                format!("{key:>keys$}  {line}")
            });
            with_key.collect()
        };
        help.iter().map(entry).collect()
    };
    (1..=2)
        .take_while(|columns| *columns == 1 || width >= NARROWEST * columns)
        .find_map(|columns| beside(entries(columns), columns, width, height))
}

/// Keys with a word or two each, in as many columns as it takes.
fn in_words(words: &[(String, String)], width: usize, height: usize) -> Option<Vec<String>> {
    if height == 0 {
        return None;
    }
    let entries = words
        .iter()
        .map(|(key, word)| vec![format!("{key} {word}")]);
    beside(
        entries.collect(),
        words.len().div_ceil(height),
        width,
        height,
    )
}

/// Entries in columns from above to below, none of them torn; `None` when they
/// are wider or higher than the room.
fn beside(
    entries: Vec<Vec<String>>,
    columns: usize,
    width: usize,
    height: usize,
) -> Option<Vec<String>> {
    let all: usize = entries.iter().map(Vec::len).sum();
    let even = all.div_ceil(columns.max(1));
    let mut parts: Vec<Vec<String>> = vec![Vec::new()];
    for entry in entries {
        let is_full = parts.last().is_some_and(|part| part.len() >= even);
        if is_full && parts.len() < columns {
            parts.push(Vec::new());
        }
        parts.last_mut()?.extend(entry);
    }
    let wide = |part: &Vec<String>| part.iter().map(|l| l.width()).max().unwrap_or(0);
    let widths: Vec<usize> = parts.iter().map(wide).collect();
    let needed = widths.iter().sum::<usize>() + BETWEEN * (parts.len() - 1);
    let high = parts.iter().map(Vec::len).max()?;
    if needed > width || high > height {
        return None;
    }
    let row = |k: usize| {
        let cells = parts.iter().zip(&widths).map(|(part, wide)| {
            let line = part.get(k).map_or("", String::as_str);
            format!("{line:<wide$}")
        });
        let cells: Vec<String> = cells.collect();
        cells.join(&" ".repeat(BETWEEN)).trim_end().to_owned()
    };
    Some((0..high).map(row).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::Glyphs;
    use crate::screen::theme::Colours;
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    type Told = Vec<(String, String)>;

    /// Keys as a session with an animal has them: with sentences, and with words.
    fn keys(of: usize) -> (Told, Told) {
        let keys = [
            "space", "t", "c", "u", "e", "?", "-", "o", "p", "tab", "up", "down", "r", "n", "l",
            "i",
        ];
        let words = [
            "reached", "treat", "cue", "undo", "end", "help", "near", "offer", "break", "next",
            "harder", "easier", "redo", "note", "list", "numbers",
        ];
        let all = |text: fn(&str) -> String| -> Told {
            let both = keys.iter().zip(words).take(of);
            both.map(|(key, word)| ((*key).to_owned(), text(word)))
                .collect()
        };
        let sentence =
            |word: &str| format!("What the key for {word} does is told in this sentence.");
        (all(sentence), all(str::to_owned))
    }

    fn drawn(of: usize, columns: u16, rows: u16) -> Vec<String> {
        let look = Look {
            colours: Colours::None,
            signs: Glyphs::Ascii,
        };
        let (sentences, words) = keys(of);
        let mut terminal = Terminal::new(TestBackend::new(columns, rows)).unwrap();
        let draw = |frame: &mut Frame<'_>| {
            draw_help(&sentences, &words, look, frame.area(), frame);
        };
        terminal.draw(draw).unwrap();
        let buffer = terminal.backend().buffer();
        (0..rows)
            .map(|y| (0..columns).map(|x| buffer[(x, y)].symbol()).collect())
            .collect()
    }

    #[test]
    fn no_key_is_cut_and_the_first_line_says_how_to_get_back() {
        for (of, columns, rows) in [
            (16, 200, 60),
            (16, 80, 24),
            (16, 40, 12),
            (16, 80, 8),
            (5, 80, 24),
            (5, 40, 12),
            (5, 30, 8),
        ] {
            let screen = drawn(of, columns, rows);
            assert!(screen[0].starts_with(CLOSES), "{screen:#?}");
            let text = screen.join("\n");
            let (sentences, words) = keys(of);
            let has = |all: &[(String, String)]| all.iter().all(|(_, t)| text.contains(t));
            let is_whole = has(&sentences) || has(&words) || text.contains("sentence.");
            assert!(
                is_whole && !text.contains("No room"),
                "{columns}×{rows}\n{text}"
            );
            for (key, word) in &words {
                let told = text.contains(&format!("{key} {word}"));
                let long = text.contains(&format!("{key}  What the key for {word}"));
                assert!(told || long, "{key} {word}, {columns}×{rows}\n{text}");
            }
        }
    }

    #[test]
    fn sentences_stand_where_there_is_room_for_them() {
        let text = drawn(16, 200, 60).join("\n");
        assert!(text.contains("What the key for numbers does is told in this sentence."));
        let small = drawn(16, 40, 12).join("\n");
        assert!(!small.contains("sentence"), "{small}");
    }

    #[test]
    fn far_too_small_tells_how_many_are_missing_and_never_fails() {
        let text = drawn(16, 20, 4).join("\n");
        assert!(
            text.contains("space reached") && text.contains("No room: 13 keys"),
            "{text}"
        );
        for (columns, rows) in [(1, 1), (3, 2), (20, 3), (200, 1)] {
            drawn(16, columns, rows);
        }
    }
}
