//! Two journals become one. What is the same in both is there once; of two
//! versions of one document the fuller one stays, whichever journal it came
//! from, so that any order of merging, repeated or not, ends in the same.

use std::collections::HashMap;
use std::path::Path;

use rusqlite::types::Value;
use rusqlite::{Connection, Result, Transaction, TransactionBehavior, params_from_iter};

use super::error::JournalError;
use super::open::{Access, Journal, to_attach};
use super::record::sha256_hex;
use super::schema::SCHEMA_VERSION;
use super::shape::{Shape, Table, exact};

/// What a merge did.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Merged {
    /// Documents that were new here: table and how many, in the schema's order.
    pub added: Vec<(String, usize)>,
    /// Documents of which the other journal had a fuller version.
    pub replaced: usize,
    /// Documents that were the same in both, or fuller here.
    pub unchanged: usize,
    /// Documents of which each side had something that the other had not.
    pub conflicts: Vec<Conflict>,
}

/// Two versions of one document that contradict each other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Conflict {
    /// Its table.
    pub table: String,
    /// What it is known by.
    pub identity: String,
    /// Whether the other journal's version stays.
    pub theirs_stays: bool,
    /// Up to three rows that are in the version that does not stay only.
    pub lost: Vec<String>,
}

/// A document as text, the same for the same contents in every file.
struct Version {
    head: String,
    rows: Vec<String>,
    is_ended: bool,
}

impl Version {
    /// The order in which versions beat each other: total, the same everywhere.
    fn rank(&self) -> (usize, bool, String) {
        let text = format!("{}\n{}", self.head, self.rows.join("\n"));
        (self.rows.len(), self.is_ended, sha256_hex(&text))
    }

    /// The rows that `other` has not.
    fn beyond(&self, other: &Self) -> Vec<String> {
        let theirs: std::collections::HashSet<&String> = other.rows.iter().collect();
        let rows = self.rows.iter().filter(|row| !theirs.contains(row));
        // A head that has only not ended yet says nothing against the other.
        let head =
            (self.head != other.head && self.is_ended == other.is_ended).then_some(&self.head);
        head.into_iter().chain(rows).cloned().collect()
    }
}

impl Journal {
    /// Takes in all that another journal has. All of it or nothing: after an
    /// interruption it may simply be done again. The other file is only read
    /// (an older one is first brought up to date).
    ///
    /// # Errors
    /// One of the two cannot be read, this one cannot be written, the other one
    /// is this one, or was written by a newer program.
    pub fn merge(&mut self, other: &Path) -> std::result::Result<Merged, JournalError> {
        self.writable()?;
        let theirs = Journal::open_existing(other)?.ok_or_else(|| JournalError::CannotOpen {
            path: other.to_path_buf(),
            detail: "there is no such file".to_owned(),
        })?;
        if let Access::Newer { found } = theirs.access() {
            return Err(JournalError::Newer {
                path: other.to_path_buf(),
                found,
                known: SCHEMA_VERSION,
            });
        }
        let name = to_attach(other, theirs.access())?;
        drop(theirs);
        let same = |path: &Path| std::fs::canonicalize(path).ok();
        if same(other).is_some() && same(other) == same(self.path()) {
            return Err(JournalError::BadValue {
                what: format!("{} is this very journal", other.display()),
            });
        }
        self.conn
            .execute("ATTACH ?1 AS theirs", [name])
            .map_err(|error| JournalError::of(other, error))?;
        let merged = merge_attached(&self.conn);
        // The first error is the one to tell.
        let detached = self.conn.execute_batch("DETACH theirs");
        let merged = merged.map_err(|error| self.told(error))?;
        detached.map_err(|error| self.told(error))?;
        self.digest_missing()?;
        Ok(merged)
    }
}

fn merge_attached(conn: &Connection) -> Result<Merged> {
    let tx = Transaction::new_unchecked(conn, TransactionBehavior::Immediate)?;
    tx.pragma_update(None, "defer_foreign_keys", true)?;
    let shape = Shape::of(&tx)?;
    let mut work = Work {
        tx: &tx,
        shape: &shape,
        here: HashMap::new(),
        merged: Merged::default(),
    };
    for table in shape.0.iter().filter(|t| t.key.is_some()) {
        work.heads(table)?;
    }
    let merged = work.merged;
    tx.commit()?;
    Ok(merged)
}

struct Work<'a> {
    tx: &'a Connection,
    shape: &'a Shape,
    /// Their key to ours, by table.
    here: HashMap<(String, i64), i64>,
    merged: Merged,
}

impl Work<'_> {
    /// Goes through all their documents of one table.
    fn heads(&mut self, table: &Table) -> Result<()> {
        let key = table.key.clone().unwrap_or_default();
        let identity = table.identity.join(", ");
        let mut theirs = self.tx.prepare(&format!(
            "SELECT {key}, {identity} FROM theirs.\"{}\" ORDER BY {identity}",
            table.name
        ))?;
        let known_as: Vec<String> = (1..=table.identity.len())
            .map(|k| format!("{} = ?{k}", table.identity[k - 1]))
            .collect();
        let mut ours = self.tx.prepare(&format!(
            "SELECT {key} FROM main.\"{}\" WHERE {}",
            table.name,
            known_as.join(" AND ")
        ))?;
        let mut rows = theirs.query([])?;
        let mut added = 0;
        while let Some(row) = rows.next()? {
            let their_key: i64 = row.get(0)?;
            let names: Vec<Value> = (1..=table.identity.len())
                .map(|k| row.get(k))
                .collect::<Result<_>>()?;
            let mut found = ours.query(params_from_iter(&names))?;
            let our_key: Option<i64> = found.next()?.map(|row| row.get(0)).transpose()?;
            let our_key = match our_key {
                None => {
                    added += 1;
                    let new = self.insert_head(table, their_key)?;
                    self.here.insert((table.name.clone(), their_key), new);
                    self.insert_parts(table, their_key, new)?;
                    continue;
                }
                Some(our_key) => our_key,
            };
            self.here.insert((table.name.clone(), their_key), our_key);
            let (mine, other) = (
                self.version(table, "main", our_key)?,
                self.version(table, "theirs", their_key)?,
            );
            let theirs_stays = other.rank() > mine.rank();
            if mine.rank() == other.rank() {
                self.merged.unchanged += 1;
                continue;
            }
            let (stays, goes) = if theirs_stays {
                (&other, &mine)
            } else {
                (&mine, &other)
            };
            let lost = goes.beyond(stays);
            if !lost.is_empty() {
                self.merged.conflicts.push(Conflict {
                    table: table.name.clone(),
                    identity: names.iter().map(shown).collect::<Vec<_>>().join(" "),
                    theirs_stays,
                    lost: lost.into_iter().take(3).collect(),
                });
            } else if !theirs_stays {
                self.merged.unchanged += 1;
            }
            if theirs_stays {
                self.replace(table, their_key, our_key)?;
                self.merged.replaced += 1;
            }
        }
        if added > 0 {
            self.merged.added.push((table.name.clone(), added));
        }
        Ok(())
    }

    /// A document of `schema` as text.
    fn version(&self, table: &Table, schema: &str, key: i64) -> Result<Version> {
        let head_key = table.key.as_deref().unwrap_or_default();
        let head = self
            .lines(table, schema, head_key, key)?
            .pop()
            .unwrap_or_default();
        let mut rows = Vec::new();
        for part in self.shape.parts(&table.name) {
            if let Some(owner) = &part.owner {
                rows.extend(self.lines(part, schema, &owner.column, key)?);
            }
        }
        rows.sort_unstable();
        let is_ended = !table.columns.iter().any(|c| c == "ended_at")
            || !self.tx.query_row(
                &format!(
                    "SELECT ended_at IS NULL FROM {schema}.\"{}\" WHERE \"{head_key}\" = ?1",
                    table.name
                ),
                [key],
                |row| row.get::<_, bool>(0),
            )?;
        Ok(Version {
            head,
            rows,
            is_ended,
        })
    }

    fn lines(&self, table: &Table, schema: &str, of: &str, key: i64) -> Result<Vec<String>> {
        let columns: Vec<String> = self
            .shape
            .outer(table, schema)
            .into_iter()
            .map(|c| c.1)
            .collect();
        let mut statement = self.tx.prepare_cached(&format!(
            "SELECT {} FROM {schema}.\"{}\" AS r WHERE r.\"{of}\" = ?1",
            columns.join(", "),
            table.name
        ))?;
        let mut rows = statement.query([key])?;
        let mut lines = Vec::new();
        while let Some(row) = rows.next()? {
            let mut line = table.name.clone();
            for k in 0..columns.len() {
                line.push(' ');
                line.push_str(&exact(&row.get(k)?));
            }
            lines.push(line);
        }
        Ok(lines)
    }

    fn insert_head(&self, table: &Table, their_key: i64) -> Result<i64> {
        let key = table.key.clone().unwrap_or_default();
        let (columns, values) = self
            .theirs(table, &key, their_key)?
            .pop()
            .unwrap_or_default();
        self.insert(table, &columns, &values)?;
        Ok(self.tx.last_insert_rowid())
    }

    fn insert_parts(&self, table: &Table, their_key: i64, our_key: i64) -> Result<()> {
        for part in self.shape.parts(&table.name) {
            let Some(owner) = &part.owner else { continue };
            for (columns, mut values) in self.theirs(part, &owner.column, their_key)? {
                for (column, value) in columns.iter().zip(&mut values) {
                    if *column == owner.column {
                        *value = Value::Integer(our_key);
                    }
                }
                self.insert(part, &columns, &values)?;
            }
        }
        Ok(())
    }

    /// Puts their version in the place of ours; who names it goes on naming it.
    fn replace(&self, table: &Table, their_key: i64, our_key: i64) -> Result<()> {
        for part in self.shape.parts(&table.name) {
            let column = part
                .owner
                .as_ref()
                .map(|o| o.column.clone())
                .unwrap_or_default();
            self.tx.execute(
                &format!("DELETE FROM main.\"{}\" WHERE \"{column}\" = ?1", part.name),
                [our_key],
            )?;
        }
        let key = table.key.clone().unwrap_or_default();
        if let Some((columns, values)) = self.theirs(table, &key, their_key)?.pop() {
            let sets: Vec<String> = (1..)
                .zip(&columns)
                .map(|(k, c)| format!("\"{c}\" = ?{k}"))
                .collect();
            let mut values = values;
            values.push(Value::Integer(our_key));
            self.tx.execute(
                &format!(
                    "UPDATE main.\"{}\" SET {} WHERE \"{key}\" = ?{}",
                    table.name,
                    sets.join(", "),
                    values.len()
                ),
                params_from_iter(&values),
            )?;
        }
        self.insert_parts(table, their_key, our_key)
    }

    /// Their rows with links turned into our keys, without the key of their own.
    fn theirs(&self, table: &Table, of: &str, key: i64) -> Result<Vec<(Vec<String>, Vec<Value>)>> {
        let columns: Vec<String> = table
            .columns
            .iter()
            .filter(|c| table.key.as_ref() != Some(c))
            .cloned()
            .collect();
        let quoted: Vec<String> = columns.iter().map(|c| format!("\"{c}\"")).collect();
        let mut statement = self.tx.prepare_cached(&format!(
            "SELECT {} FROM theirs.\"{}\" WHERE \"{of}\" = ?1",
            quoted.join(", "),
            table.name
        ))?;
        let mut rows = statement.query([key])?;
        let mut all = Vec::new();
        while let Some(row) = rows.next()? {
            let mut values = Vec::with_capacity(columns.len());
            for (k, column) in columns.iter().enumerate() {
                let mut value: Value = row.get(k)?;
                let link = table.links.iter().find(|l| l.column == *column);
                if let (Some(link), Value::Integer(number)) = (link, &mut value)
                    && let Some(ours) = self.here.get(&(link.table.clone(), *number))
                {
                    *number = *ours;
                }
                values.push(value);
            }
            all.push((columns.clone(), values));
        }
        Ok(all)
    }

    fn insert(&self, table: &Table, columns: &[String], values: &[Value]) -> Result<()> {
        let quoted: Vec<String> = columns.iter().map(|c| format!("\"{c}\"")).collect();
        let places: Vec<String> = (1..=columns.len()).map(|k| format!("?{k}")).collect();
        self.tx
            .prepare_cached(&format!(
                "INSERT INTO main.\"{}\" ({}) VALUES ({})",
                table.name,
                quoted.join(", "),
                places.join(", ")
            ))?
            .execute(params_from_iter(values))?;
        Ok(())
    }
}

fn shown(value: &Value) -> String {
    match value {
        Value::Text(text) => text.clone(),
        other => exact(other),
    }
}
