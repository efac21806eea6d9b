//! Moments from a table.

use super::super::event::{Moment, MomentKind, MomentSource};
use super::{Line, MomentsFileError, excerpt, parse_time_s};

const TIME_NAMES: [&str; 7] = ["time", "t", "t_s", "time_s", "moment", "moment_s", "start"];

/// Where the columns stand.
struct Columns {
    time: (usize, String),
    kind: Option<(usize, String)>,
    label: Option<usize>,
}

/// Reads the table; at least one moment, or an error.
pub fn parse(text: &str) -> Result<Vec<Line>, MomentsFileError> {
    let separator = separator(text);
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(separator)
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut lines_counted = LineCounter {
        bytes: text.as_bytes(),
        at: 0,
        line: 1,
    };
    let mut columns: Option<Columns> = None;
    let mut lines = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| MomentsFileError::Table {
            line: error.position().map_or(1, csv::Position::line),
            problem: error.to_string(),
        })?;
        let line = lines_counted.line_at(record.position().map_or(0, csv::Position::byte));
        if record.iter().all(str::is_empty) {
            continue;
        }
        match &columns {
            None => columns = Some(header(&record, line)?),
            Some(columns) => lines.push(Line {
                line,
                moment: moment(&record, line, columns, separator != b',')?,
            }),
        }
    }
    if lines.is_empty() {
        return Err(MomentsFileError::NoMoments);
    }
    Ok(lines)
}

/// Counts lines along a text. The reader of tables gives a record's place before
/// the empty lines that it passes over, so its own count would name the wrong one.
struct LineCounter<'a> {
    bytes: &'a [u8],
    at: usize,
    line: u64,
}

impl LineCounter<'_> {
    /// The line (from 1) of the first text at or after a byte; bytes ascend.
    fn line_at(&mut self, byte: u64) -> u64 {
        while let Some(&b) = self.bytes.get(self.at) {
            if self.at as u64 >= byte && !matches!(b, b'\n' | b'\r') {
                break;
            }
            let ends = b == b'\n' || (b == b'\r' && self.bytes.get(self.at + 1) != Some(&b'\n'));
            self.line += u64::from(ends);
            self.at += 1;
        }
        self.line
    }
}

/// The separator that the first line with something in it uses most; a comma
/// where it uses none (one column).
fn separator(text: &str) -> u8 {
    let header = text.lines().find(|l| !l.trim().is_empty()).unwrap_or("");
    let count = |separator: u8| header.bytes().filter(|b| *b == separator).count();
    // The last of equals is taken.
    [b'\t', b';', b',']
        .into_iter()
        .max_by_key(|s| count(*s))
        .unwrap_or(b',')
}

fn header(record: &csv::StringRecord, line: u64) -> Result<Columns, MomentsFileError> {
    let find = |what: &'static str, names: &[&str]| {
        let mut hits = record
            .iter()
            .enumerate()
            .filter(|(_, name)| names.contains(&name.to_lowercase().as_str()));
        match (hits.next(), hits.next()) {
            (Some((_, first)), Some((_, second))) => Err(MomentsFileError::TwoColumns {
                line,
                what,
                first: first.to_owned(),
                second: second.to_owned(),
            }),
            (hit, _) => Ok(hit.map(|(n, name)| (n, name.to_owned()))),
        }
    };
    let time = find("times", &TIME_NAMES)?.ok_or_else(|| MomentsFileError::NoTimeColumn {
        line,
        found: excerpt(&record.iter().collect::<Vec<_>>().join(", ")),
    })?;
    Ok(Columns {
        time,
        kind: find("kinds", &["kind"])?,
        label: find("labels", &["label"])?.map(|(n, _)| n),
    })
}

fn moment(
    record: &csv::StringRecord,
    line: u64,
    columns: &Columns,
    decimal_comma: bool,
) -> Result<Moment, MomentsFileError> {
    let (at, name) = &columns.time;
    let t_s = parse_time_s(record.get(*at).unwrap_or(""), decimal_comma).map_err(|problem| {
        MomentsFileError::Time {
            line,
            place: format!("column \"{name}\""),
            problem,
        }
    })?;
    let kind = match &columns.kind {
        None => MomentKind::Behaviour,
        Some((at, column)) => {
            let found = record.get(*at).unwrap_or("");
            match found.to_lowercase().as_str() {
                "" | "behaviour" | "behavior" => MomentKind::Behaviour,
                "floor" => MomentKind::Floor,
                "release" => MomentKind::Release,
                "top" => MomentKind::Top,
                _ => {
                    return Err(MomentsFileError::Kind {
                        line,
                        column: column.clone(),
                        found: excerpt(found),
                    });
                }
            }
        }
    };
    Ok(Moment {
        t_s,
        kind,
        source: MomentSource::File,
        label: columns
            .label
            .and_then(|at| record.get(at))
            .unwrap_or("")
            .to_owned(),
    })
}
