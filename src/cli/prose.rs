//! Sentences on the terminal, broken between words where the terminal would break
//! them in the middle of one. Elsewhere (a pipe, a file) a sentence stays one line.

use unicode_width::UnicodeWidthStr;

use std::io::{self, IsTerminal, Write};

/// No terminal is taken to be narrower than this.
const LEAST_COLUMNS: usize = 40;

/// The terminal's columns, if `what` is one; the variable COLUMNS goes before.
fn columns_of(what: &impl IsTerminal) -> Option<usize> {
    if !what.is_terminal() {
        return None;
    }
    let told = std::env::var("COLUMNS").ok().and_then(|c| c.parse().ok());
    let columns = told.or_else(|| {
        crossterm::terminal::size()
            .ok()
            .map(|(c, _)| usize::from(c))
    });
    Some(columns.filter(|c| *c > 0).unwrap_or(80).max(LEAST_COLUMNS))
}

/// Columns for pictures, tables and what is always set in lines: the terminal's where
/// there is one, 80 elsewhere, at most 120.
pub(super) fn columns() -> usize {
    columns_of(&io::stdout()).unwrap_or(80).min(120)
}

/// A line in parts of at most `width` columns, broken between words; further parts
/// stand two columns further in. A word that is too long stays whole.
pub(super) fn parts(line: &str, width: usize) -> Vec<String> {
    if line.width() <= width {
        return vec![line.to_owned()];
    }
    let text = line.trim_start_matches(' ');
    let indent = line.len() - text.len();
    let mut parts = Vec::new();
    let mut part = " ".repeat(indent);
    let mut is_empty = true;
    for word in text.split(' ') {
        if !is_empty && part.width() + 1 + word.width() > width {
            parts.push(std::mem::replace(&mut part, " ".repeat(indent + 2)));
            is_empty = true;
        }
        if !is_empty {
            part.push(' ');
        }
        part.push_str(word);
        is_empty = false;
    }
    parts.push(part);
    parts
}

/// Writes a sentence in lines of at most `width` columns.
pub(super) fn wrapped(out: &mut dyn Write, line: &str, width: usize) -> io::Result<()> {
    for part in parts(line, width) {
        writeln!(out, "{part}")?;
    }
    Ok(())
}

/// Says something to the side, so that a result stays whole: an error, a note.
pub(super) fn aside(text: &str) {
    let width = columns_of(&io::stderr()).unwrap_or(usize::MAX);
    for line in text.lines() {
        for part in parts(line, width) {
            eprintln!("{part}");
        }
    }
}

/// Standard output: on a terminal its sentences are broken between words. A line of a
/// table (two blanks within it) and anything without a blank stay as they are.
pub(super) struct Prose<W: Write> {
    to: W,
    width: Option<usize>,
    line: Vec<u8>,
}

impl<W: Write> Prose<W> {
    fn new(to: W, width: Option<usize>) -> Self {
        Self {
            to,
            width,
            line: Vec::new(),
        }
    }

    fn put_line(&mut self, width: usize) -> io::Result<()> {
        let line = std::mem::take(&mut self.line);
        let text = match std::str::from_utf8(&line) {
            Ok(text) if !is_table(text) => text,
            _ => return self.to.write_all(&line),
        };
        let ending = &text[text.trim_end_matches(['\r', '\n']).len()..];
        let parts = parts(text.trim_end_matches(['\r', '\n']), width);
        for part in parts {
            self.to.write_all(part.as_bytes())?;
            self.to.write_all(ending.as_bytes())?;
        }
        Ok(())
    }
}

/// Standard output, locked; `is_data`: what comes is no prose but for a program.
pub(super) fn stdout(is_data: bool) -> Prose<io::StdoutLock<'static>> {
    let out = io::stdout();
    let width = columns_of(&out).filter(|_| !is_data);
    Prose::new(out.lock(), width)
}

fn is_table(line: &str) -> bool {
    line.trim().contains("  ")
}

impl<W: Write> Write for Prose<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let Some(width) = self.width else {
            return self.to.write(bytes);
        };
        for piece in bytes.split_inclusive(|b| *b == b'\n') {
            self.line.extend_from_slice(piece);
            if piece.ends_with(b"\n") {
                self.put_line(width)?;
            }
        }
        Ok(bytes.len())
    }

    /// What stands there of a line is shown as it is: a question, for instance.
    fn flush(&mut self) -> io::Result<()> {
        let line = std::mem::take(&mut self.line);
        self.to.write_all(&line)?;
        self.to.flush()
    }
}

impl<W: Write> Drop for Prose<W> {
    fn drop(&mut self) {
        // A last line without an end; there is nobody to tell of an error.
        let _ = self.flush();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_line_is_too_wide_and_no_word_is_lost() {
        let text = "one two three four five six seven eight nine ten eleven twelve";
        for (indent, width) in [(0, 20), (2, 20), (4, 31)] {
            let line = format!("{:indent$}{text}", "");
            let parts = parts(&line, width);
            assert!(parts.len() > 2);
            assert!(parts.iter().all(|p| p.width() <= width), "{parts:?}");
            assert!(parts[1].starts_with(&" ".repeat(indent + 2)), "{parts:?}");
            let words: Vec<&str> = parts.iter().flat_map(|p| p.split_whitespace()).collect();
            assert_eq!(words.join(" "), text);
        }
        assert_eq!(parts("a-word-that-is-far-too-long", 10).len(), 1);
    }

    fn written(width: Option<usize>, pieces: &[&str]) -> String {
        let mut bytes = Vec::new();
        let mut prose = Prose::new(&mut bytes, width);
        for piece in pieces {
            prose.write_all(piece.as_bytes()).unwrap();
        }
        drop(prose);
        String::from_utf8(bytes).unwrap()
    }

    #[test]
    fn prose_is_broken_and_tables_are_not() {
        let table = "a        b        c        d\n";
        let prose = "a word and a word and a word\n";
        let text = written(Some(20), &[table, "a word and a wo", "rd and a word\n"]);
        assert_eq!(text, format!("{table}a word and a word\n  and a word\n"));
        // Raw keys need the carriage return on every line.
        let raw = written(Some(20), &["a word and a word and a word\r\n"]);
        assert_eq!(raw, "a word and a word\r\n  and a word\r\n");
        assert_eq!(written(None, &[prose]), prose);
        assert_eq!(written(Some(20), &["no end"]), "no end");
    }
}
