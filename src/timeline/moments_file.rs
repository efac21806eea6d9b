//! Moments from the text of a file: a table (CSV) or WebVTT cues.
//!
//! **Table.** The first line names the columns: one of `time`, `t`, `t_s`,
//! `time_s`, `moment`, `moment_s` or `start`; `kind` (floor, release, top,
//! behaviour) and `label` if wanted; others are passed over. Columns are parted by
//! commas, semicolons or tabs. A time is seconds (`12.5`), `mm:ss.sss` or
//! `h:mm:ss.sss`; with semicolons or tabs a decimal comma is read too.
//!
//! **WebVTT** (W3C WebVTT: The Web Video Text Tracks Format): the file begins with
//! `WEBVTT`. A cue's start is the moment, its text the label; NOTE, STYLE and
//! REGION blocks are passed over.
//!
//! Times out of order are sorted and lines that say the same twice are dropped,
//! each with a warning; a negative or impossible time is refused.

mod csv;
mod time;
mod vtt;

use super::event::Moment;

pub use time::{TimeError, parse_time_s};

/// What a file of moments holds.
#[derive(Debug, Clone, PartialEq)]
pub struct MomentsFile {
    /// The moments in order of time.
    pub moments: Vec<Moment>,
    /// What was put right, for the reader.
    pub warnings: Vec<Warning>,
}

/// Something put right while reading.
#[derive(Debug, Clone, PartialEq)]
pub enum Warning {
    /// Moments were not in the order of time.
    Sorted {
        /// The first line (from 1) whose time is before that of the line above it.
        line: u64,
    },
    /// A line says the same as an earlier one and was dropped.
    Doubled {
        /// The dropped line, from 1.
        line: u64,
        /// The line it repeats.
        first: u64,
    },
}

impl std::fmt::Display for Warning {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Sorted { line } => write!(
                f,
                "line {line} is earlier than the one before it; the moments were put in order"
            ),
            Self::Doubled { line, first } => write!(
                f,
                "line {line} repeats line {first} and was left out; if two moments were \
                 meant, give them different times"
            ),
        }
    }
}

/// Why a file of moments cannot be read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum MomentsFileError {
    /// Nothing in it.
    #[error(
        "the file is empty; give a table with a line of column names (time,kind,label) and a line for each moment, or WebVTT cues"
    )]
    Empty,
    /// No moments below the header.
    #[error("the file names its columns but has no moments; add a line for each moment")]
    NoMoments,
    /// No cues after the WEBVTT line.
    #[error("the WebVTT file has no cues; add one for each moment")]
    NoCues,
    /// No column of times.
    #[error(
        "line {line} names no column of times (found: {found}); name one column \"time\", in seconds or h:mm:ss.sss"
    )]
    NoTimeColumn {
        /// The header's line, from 1.
        line: u64,
        /// The columns it names.
        found: String,
    },
    /// Two columns with the same meaning.
    #[error(
        "line {line} names two columns for the {what}: \"{first}\" and \"{second}\"; rename one of them"
    )]
    TwoColumns {
        /// The header's line, from 1.
        line: u64,
        /// What both mean.
        what: &'static str,
        /// The first name.
        first: String,
        /// The second name.
        second: String,
    },
    /// A time that cannot be used.
    #[error("line {line}, {place}: {problem}")]
    Time {
        /// From 1.
        line: u64,
        /// The column's name, or "cue".
        place: String,
        /// What is wrong and what to do.
        problem: TimeError,
    },
    /// A kind that is none.
    #[error(
        "line {line}, column \"{column}\": \"{found}\" is no kind of moment; write floor, release, top or behaviour, or leave it empty"
    )]
    Kind {
        /// From 1.
        line: u64,
        /// The column's name.
        column: String,
        /// What stands there.
        found: String,
    },
    /// A WebVTT block that is no cue.
    #[error(
        "line {line}: a cue needs a line like 00:01:02.500 --> 00:01:04.000, found \"{found}\""
    )]
    Cue {
        /// From 1.
        line: u64,
        /// What stands there.
        found: String,
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

/// Reads moments from a file's text; which of the two forms it is shows in its
/// first line. Never panics.
pub fn parse_moments(text: &str) -> Result<MomentsFile, MomentsFileError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if text.trim().is_empty() {
        return Err(MomentsFileError::Empty);
    }
    let lines = if vtt::is_vtt(text) {
        vtt::parse(text)?
    } else {
        csv::parse(text)?
    };
    Ok(tidy(lines))
}

/// A moment and the line it stands on.
struct Line {
    line: u64,
    moment: Moment,
}

/// Sorts, and drops what repeats; says so.
fn tidy(mut lines: Vec<Line>) -> MomentsFile {
    let mut warnings = Vec::new();
    let back = lines
        .windows(2)
        .find(|two| two[1].moment.t_s < two[0].moment.t_s);
    if let Some(two) = back {
        warnings.push(Warning::Sorted { line: two[1].line });
    }
    lines.sort_by(|a, b| a.moment.t_s.total_cmp(&b.moment.t_s));
    let mut kept: Vec<Line> = Vec::with_capacity(lines.len());
    for line in lines {
        let twin = kept
            .iter()
            .rev()
            .take_while(|k| k.moment.t_s == line.moment.t_s)
            .find(|k| k.moment == line.moment);
        match twin {
            Some(first) => warnings.push(Warning::Doubled {
                line: line.line,
                first: first.line,
            }),
            None => kept.push(line),
        }
    }
    MomentsFile {
        moments: kept.into_iter().map(|l| l.moment).collect(),
        warnings,
    }
}

/// At most the first 40 characters, for a message.
fn excerpt(text: &str) -> String {
    let mut short: String = text.chars().take(40).collect();
    if short.len() < text.len() {
        short.push('…');
    }
    short
}

#[cfg(test)]
#[path = "moments_file/tests.rs"]
mod tests;
