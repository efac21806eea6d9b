//! A session's events from a small table: `time,event,detail`, in any order.
//!
//! `time` is seconds (`12.5`), `mm:ss.sss` or `h:mm:ss.sss`. `event` is one of
//! `cue`, `reached`, `near_miss`, `offer`, `treat`, `break`, `resume`, `turn`
//! (detail: the place in the plan, from 1), `step` (detail: its number), `note`
//! (detail: the words), `undo` and `redo`. A line that begins with # is passed
//! over. Other columns and other words are refused.

use super::event::{Happened, PLAIN, SessionEvent};
use crate::timeline::event::MomentSource;
use crate::timeline::moments_file::{TimeError, parse_time_s};

/// One line: an event, or what needs the log to be known.
#[derive(Debug, Clone, PartialEq)]
pub enum Line {
    /// An event.
    Event(SessionEvent),
    /// The latest event before it counts no longer.
    Undo(f64),
    /// The latest event set aside counts again.
    Redo(f64),
}

impl Line {
    /// Its instant in seconds.
    pub fn t_s(&self) -> f64 {
        match self {
            Self::Event(event) => event.t_s,
            Self::Undo(t_s) | Self::Redo(t_s) => *t_s,
        }
    }
}

/// Why a file of events cannot be read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum EventsFileError {
    /// The first line is not the header.
    #[error(
        "line {line}: the columns are \"time,event\" or \"time,event,detail\", found {found:?}"
    )]
    Header {
        /// From 1.
        line: u64,
        /// What stands there.
        found: String,
    },
    /// No header at all.
    #[error("the file is empty; the first line is \"time,event,detail\"")]
    Empty,
    /// A time that cannot be used.
    #[error("line {line}: {problem}")]
    Time {
        /// From 1.
        line: u64,
        /// What is wrong.
        problem: TimeError,
    },
    /// A word that is no event.
    #[error("line {line}: {found:?} is no event; write one of {known}")]
    Event {
        /// From 1.
        line: u64,
        /// What stands there.
        found: String,
        /// The words there are.
        known: String,
    },
    /// A detail that is missing, wrong or too much.
    #[error("line {line}: {why}")]
    Detail {
        /// From 1.
        line: u64,
        /// What is wrong.
        why: String,
    },
    /// The table cannot be split into columns.
    #[error("line {line}: the table cannot be read ({problem}); check the quotation marks")]
    Table {
        /// From 1.
        line: u64,
        /// From the reader of tables.
        problem: String,
    },
}

/// Reads a file of events; gives its lines in order of time (a stable order for
/// equal times), each event with the uncertainty `u_ms` in milliseconds.
pub fn parse_events(text: &str, u_ms: f64) -> Result<Vec<Line>, EventsFileError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut lines = Vec::new();
    let mut has_header = false;
    for record in reader.records() {
        let record = record.map_err(|error| EventsFileError::Table {
            line: error.position().map_or(1, csv::Position::line),
            problem: error.to_string(),
        })?;
        let line = record.position().map_or(1, csv::Position::line);
        if has_header {
            lines.push(read_line(&record, line, u_ms)?);
        } else {
            let names: Vec<&str> = record.iter().collect();
            if names != ["time", "event"] && names != ["time", "event", "detail"] {
                let found = names.join(",");
                return Err(EventsFileError::Header { line, found });
            }
            has_header = true;
        }
    }
    if !has_header {
        return Err(EventsFileError::Empty);
    }
    lines.sort_by(|a, b| a.t_s().total_cmp(&b.t_s()));
    Ok(lines)
}

fn read_line(record: &csv::StringRecord, line: u64, u_ms: f64) -> Result<Line, EventsFileError> {
    let field = |k: usize| record.get(k).unwrap_or("");
    let t_s =
        parse_time_s(field(0), false).map_err(|problem| EventsFileError::Time { line, problem })?;
    let (word, detail) = (field(1), field(2));
    let wrong = |why: String| Err(EventsFileError::Detail { line, why });
    if record.len() > 3 {
        return wrong("more than three columns; put words with a comma in quotation marks".into());
    }
    let event = |what| {
        Line::Event(SessionEvent {
            t_s,
            u_ms,
            source: MomentSource::File,
            what,
        })
    };
    let number = || detail.parse::<u32>().ok().filter(|n| *n >= 1);
    let read = match word {
        "undo" => Line::Undo(t_s),
        "redo" => Line::Redo(t_s),
        "note" if detail.is_empty() => return wrong("a note needs its words as detail".into()),
        "note" => return Ok(event(Happened::Note(detail.to_owned()))),
        "turn" | "step" => match (word, number()) {
            ("turn", Some(n)) => {
                return Ok(event(Happened::Turn {
                    item: n as usize - 1,
                }));
            }
            ("step", Some(number)) => return Ok(event(Happened::Step { number })),
            _ => return wrong(format!("{word} needs a number from 1 on as detail")),
        },
        _ => match Happened::from_plain_word(word) {
            Some(what) => event(what),
            None => {
                let plain = PLAIN.iter().map(|(word, _)| *word);
                let all: Vec<&str> = plain
                    .chain(["turn", "step", "note", "undo", "redo"])
                    .collect();
                return Err(EventsFileError::Event {
                    line,
                    found: word.to_owned(),
                    known: all.join(", "),
                });
            }
        },
    };
    if detail.is_empty() {
        Ok(read)
    } else {
        wrong(format!("{word} takes no detail, found {detail:?}"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_words_are_read_and_put_in_order() {
        let text = "time,event,detail\n# a comment\n0:05,cue,\n6.5,reached\n6.9,treat,\n4,turn,2\n\
                    8,step,3\n9,note,\"slow, but keen\"\n10,undo,\n11,redo,\n12,near_miss\n\
                    13,offer\n14,break\n15,resume\n";
        let lines = parse_events(text, 3.0).unwrap();
        assert_eq!(lines.len(), 12);
        let first = SessionEvent {
            t_s: 4.0,
            u_ms: 3.0,
            source: MomentSource::File,
            what: Happened::Turn { item: 1 },
        };
        assert_eq!(lines[0], Line::Event(first));
        assert_eq!(lines[1].t_s(), 5.0);
        assert!(lines.contains(&Line::Undo(10.0)) && lines.contains(&Line::Redo(11.0)));
        assert!(lines.iter().any(
            |l| matches!(l, Line::Event(e) if e.what == Happened::Note("slow, but keen".into()))
        ));
    }

    #[test]
    fn each_mistake_is_named_with_its_line() {
        for (text, words) in [
            ("", "empty"),
            ("time,what\n", "line 1: the columns are"),
            ("time,event,detail,mood\n", "mood"),
            (
                "time,event\n1,clap\n",
                "line 2: \"clap\" is no event; write one of cue, reached",
            ),
            ("time,event\n-1,cue\n", "line 2"),
            ("time,event\nsoon,cue\n", "line 2"),
            ("time,event,detail\n1,cue,loud\n", "cue takes no detail"),
            (
                "time,event,detail\n1,turn,0\n",
                "turn needs a number from 1",
            ),
            ("time,event,detail\n1,step,\n", "step needs a number"),
            ("time,event,detail\n1,note,\n", "note needs its words"),
            ("time,event,detail\n1,note,a,b\n", "more than three columns"),
        ] {
            let error = parse_events(text, 3.0).unwrap_err().to_string();
            assert!(error.contains(words), "{text:?}: {error}");
        }
    }
}
