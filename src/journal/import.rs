//! An export read back: first into a journal of its own, where every promise of
//! the schema holds, then merged like any other.

use std::collections::HashMap;
use std::io::{self, BufRead};
use std::path::{Path, PathBuf};

use rusqlite::types::Value;
use rusqlite::{Connection, Transaction, TransactionBehavior, params_from_iter};
use serde_json::{Map, Value as Json};
use thiserror::Error;

use super::error::JournalError;
use super::export::EXPORT_FORMAT;
use super::merge::Merged;
use super::open::{Journal, beside};
use super::schema::SCHEMA_VERSION;
use super::shape::{Shape, Table, exact, outer_name};

/// Why an export was not taken in; nothing of it was.
#[derive(Debug, Error)]
pub enum ImportError {
    /// It is something else.
    #[error("this is no export of a journal: its first line should say {EXPORT_FORMAT:?}")]
    NotAnExport,
    /// It comes from a newer program.
    #[error(
        "this export was written by a newer marklag (schema {found}; this program knows {known}); update marklag to take it in"
    )]
    Newer {
        /// Its schema.
        found: u64,
        /// The newest one known here.
        known: usize,
    },
    /// It ends too soon, or something follows its end.
    #[error(
        "the export is cut short or changed: {what}. Nothing of it was taken in; export it again"
    )]
    Half {
        /// What does not fit.
        what: String,
    },
    /// A line is wrong.
    #[error("line {line} of the export cannot be taken in: {why}. Nothing was")]
    Line {
        /// Counted from 1.
        line: usize,
        /// What is wrong.
        why: String,
    },
    /// It cannot be read.
    #[error("the export cannot be read: {0}")]
    Read(#[from] io::Error),
    /// One of the journals.
    #[error(transparent)]
    Journal(#[from] JournalError),
}

/// What a journal's name is followed by in a file that an import fills; then comes
/// the program's number.
const PASSING: &str = ".import";

/// Removes what imports that were killed have left beside a journal. Files that
/// an import is filling are locked, and stay.
fn clear(journal: &Path) {
    let Some(entries) = journal.parent().and_then(|folder| folder.read_dir().ok()) else {
        return;
    };
    let begins = beside(journal, PASSING);
    for path in entries.flatten().map(|entry| entry.path()) {
        let rest = path.to_str().zip(begins.to_str());
        let number = rest.and_then(|(path, begins)| path.strip_prefix(begins));
        if number.is_some_and(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit())) {
            let free = Connection::open(&path).and_then(|c| c.execute_batch("BEGIN EXCLUSIVE"));
            if free.is_ok() {
                drop(Passing(path));
            }
        }
    }
}

/// A file that goes when this does, with what SQLite puts beside it.
struct Passing(PathBuf);

impl Drop for Passing {
    fn drop(&mut self) {
        for suffix in ["", "-wal", "-shm", "-journal"] {
            // It may not be there; there is nobody to tell.
            let _ = std::fs::remove_file(beside(&self.0, suffix));
        }
    }
}

impl Journal {
    /// Takes in an export (JSON Lines): all of it or nothing. What is here
    /// already is left alone; see [`Journal::merge`].
    ///
    /// # Errors
    /// See [`ImportError`].
    pub fn import(&mut self, lines: impl BufRead) -> Result<Merged, ImportError> {
        self.writable()?;
        clear(self.path());
        let passing = Passing(beside(
            self.path(),
            &format!("{PASSING}{}", std::process::id()),
        ));
        let taken = Journal::open(&passing.0)?;
        fill(&taken, lines)?;
        drop(taken);
        Ok(self.merge(&passing.0)?)
    }
}

fn fill(journal: &Journal, lines: impl BufRead) -> Result<(), ImportError> {
    let told = |error| ImportError::Journal(journal.told(error));
    let tx =
        Transaction::new_unchecked(&journal.conn, TransactionBehavior::Immediate).map_err(told)?;
    let shape = Shape::of(&tx).map_err(told)?;
    let mut keys: HashMap<(String, String), i64> = HashMap::new();
    let (mut rows, mut ended) = (0_u64, false);
    let mut seen = 0;
    for (line, text) in (1..).zip(lines.lines()) {
        let text = text?;
        seen = line;
        let wrong = |why: String| ImportError::Line { line, why };
        let value: Json = serde_json::from_str(&text).map_err(|error| match line {
            1 => ImportError::NotAnExport,
            _ => wrong(error.to_string()),
        })?;
        let Json::Object(map) = value else {
            return Err(ImportError::NotAnExport);
        };
        if line == 1 {
            check_first(&map)?;
            continue;
        }
        if ended {
            return Err(half("something follows its last line"));
        }
        if map.contains_key("end") {
            ended = true;
            if map.get("rows").and_then(Json::as_u64) != Some(rows) {
                return Err(half("its last line counts other rows than there are"));
            }
            continue;
        }
        let table = map
            .get("table")
            .and_then(Json::as_str)
            .and_then(|name| shape.table(name))
            .ok_or_else(|| wrong("it names no table that is known here".to_owned()))?;
        put(&tx, &shape, table, &map, &mut keys).map_err(wrong)?;
        rows += 1;
    }
    if seen == 0 {
        return Err(ImportError::NotAnExport);
    }
    if !ended {
        return Err(half("its last line is missing"));
    }
    tx.commit().map_err(told)
}

fn half(what: &str) -> ImportError {
    ImportError::Half {
        what: what.to_owned(),
    }
}

fn check_first(first: &Map<String, Json>) -> Result<(), ImportError> {
    if first.get("format").and_then(Json::as_str) != Some(EXPORT_FORMAT) {
        return Err(ImportError::NotAnExport);
    }
    match first.get("schema").and_then(Json::as_u64) {
        Some(found) if found > SCHEMA_VERSION as u64 => Err(ImportError::Newer {
            found,
            known: SCHEMA_VERSION,
        }),
        Some(_) => Ok(()),
        None => Err(ImportError::NotAnExport),
    }
}

/// Puts one row in; links are looked up by identity.
fn put(
    tx: &Transaction<'_>,
    shape: &Shape,
    table: &Table,
    map: &Map<String, Json>,
    keys: &mut HashMap<(String, String), i64>,
) -> Result<(), String> {
    let mut columns = Vec::new();
    let mut values = Vec::new();
    let mut used = 1; // the table's name
    for column in table
        .columns
        .iter()
        .filter(|c| table.key.as_ref() != Some(c))
    {
        let link = table.links.iter().find(|l| l.column == *column);
        let value = match link.and_then(|l| shape.table(&l.table)) {
            None => {
                used += usize::from(map.contains_key(column));
                // A column that an older program did not have yet is left out.
                match map.get(column) {
                    Some(value) => value_of(value)?,
                    None => continue,
                }
            }
            Some(target) => {
                let mut name = String::new();
                let mut is_null = false;
                for part in &target.identity {
                    let field = outer_name(column, part);
                    let value = map
                        .get(&field)
                        .ok_or_else(|| format!("{field} is missing"))?;
                    used += 1;
                    is_null |= value.is_null();
                    name.push_str(&exact(&value_of(value)?));
                }
                if is_null {
                    Value::Null
                } else {
                    let key = keys.get(&(target.name.clone(), name));
                    let key = key.ok_or_else(|| {
                        format!("it names a {} that does not come before it", target.name)
                    })?;
                    Value::Integer(*key)
                }
            }
        };
        columns.push(format!("\"{column}\""));
        values.push(value);
    }
    if used != map.len() {
        return Err(format!("it has a column that {} has not", table.name));
    }
    let places: Vec<String> = (1..=columns.len()).map(|k| format!("?{k}")).collect();
    tx.prepare_cached(&format!(
        "INSERT INTO \"{}\" ({}) VALUES ({})",
        table.name,
        columns.join(", "),
        places.join(", ")
    ))
    .and_then(|mut insert| insert.execute(params_from_iter(&values)))
    .map_err(|error| error.to_string())?;
    if table.key.is_some() {
        let mut name = String::new();
        for part in &table.identity {
            let value = map.get(part).ok_or_else(|| format!("{part} is missing"))?;
            name.push_str(&exact(&value_of(value)?));
        }
        keys.insert((table.name.clone(), name), tx.last_insert_rowid());
    }
    Ok(())
}

fn value_of(value: &Json) -> Result<Value, String> {
    Ok(match value {
        Json::Null => Value::Null,
        Json::String(text) => Value::Text(text.clone()),
        Json::Number(number) => match number.as_i64() {
            Some(whole) => Value::Integer(whole),
            None => Value::Real(number.as_f64().ok_or("a number is out of range")?),
        },
        _ => return Err("a value is neither text nor a number".to_owned()),
    })
}
