//! The shape of the tables, read from the schema itself, so that merging and
//! importing know every table that there is and ever will be.
//!
//! A **document** is a row with a key of its own (a person, a bout, a plan) with
//! the rows that belong to it (a bout's sounds, a plan's items). Keys mean
//! something in one file only; a document is known everywhere by its identity:
//! the columns that the schema says are unique.

use rusqlite::types::Value;
use rusqlite::{Connection, Result, params};

/// Tables that are no part of what was kept: about the file, or worked out.
const NOT_KEPT: [&str; 2] = ["about", "digest"];

/// A column that names a row of another table by its key in this file.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Link {
    pub column: String,
    pub table: String,
}

/// One table.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Table {
    pub name: String,
    pub columns: Vec<String>,
    /// The key of its own, for the head of a document.
    pub key: Option<String>,
    /// What it is known by everywhere; empty for what belongs to another row.
    pub identity: Vec<String>,
    /// The head that it belongs to.
    pub owner: Option<Link>,
    /// All links, the owner's among them.
    pub links: Vec<Link>,
}

/// All tables of what was kept, each after those that it and its parts name.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Shape(pub Vec<Table>);

impl Shape {
    /// Reads the shape of an open file.
    pub fn of(conn: &Connection) -> Result<Self> {
        let names = texts(
            conn,
            "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'
             ORDER BY name",
            "",
        )?;
        let mut left: Vec<Table> = Vec::new();
        for name in names.iter().filter(|n| !NOT_KEPT.contains(&n.as_str())) {
            left.push(table(conn, name)?);
        }
        // A head comes after all that its parts name, too: when it is taken in, they
        // come with it.
        let needs = |t: &Table, all: &[Table]| -> Vec<String> {
            let parts = all
                .iter()
                .filter(|p| p.owner.as_ref().is_some_and(|o| o.table == t.name));
            let links = parts.chain([t]).flat_map(|p| &p.links);
            let names = links.map(|l| l.table.clone());
            names.filter(|name| *name != t.name).collect()
        };
        let mut waiting: Vec<(Vec<String>, Table)> =
            left.iter().map(|t| (needs(t, &left), t.clone())).collect();
        let mut sorted: Vec<Table> = Vec::new();
        while !waiting.is_empty() {
            let known = |name: &String| sorted.iter().any(|t: &Table| t.name == *name);
            let ready = waiting
                .iter()
                .position(|(needs, _)| needs.iter().all(known));
            // A circle of links cannot be sorted; the order left is as good as any.
            sorted.push(waiting.remove(ready.unwrap_or(0)).1);
        }
        Ok(Self(sorted))
    }

    pub fn table(&self, name: &str) -> Option<&Table> {
        self.0.iter().find(|t| t.name == name)
    }

    /// The tables whose rows belong to a head.
    pub fn parts(&self, head: &str) -> impl Iterator<Item = &Table> {
        self.0
            .iter()
            .filter(move |t| t.owner.as_ref().is_some_and(|o| o.table == head))
    }

    /// The columns of a table as they are anywhere: links by identity. Each as
    /// its name in an export and an SQL expression over the row `r` of `schema`.
    pub fn outer(&self, table: &Table, schema: &str) -> Vec<(String, String)> {
        let mut all = Vec::new();
        for column in &table.columns {
            if table.key.as_ref() == Some(column) {
                continue;
            }
            let target = table
                .links
                .iter()
                .find(|l| l.column == *column)
                .and_then(|l| self.table(&l.table));
            match target {
                None => all.push((column.clone(), format!("r.\"{column}\""))),
                Some(target) => {
                    let key = target.key.clone().unwrap_or_default();
                    for part in &target.identity {
                        all.push((
                            outer_name(column, part),
                            format!(
                                "(SELECT \"{part}\" FROM {schema}.\"{}\" WHERE \"{key}\" = r.\"{column}\")",
                                target.name
                            ),
                        ));
                    }
                }
            }
        }
        all
    }
}

/// `person_key` naming a person by `id` is `person_id`; by anything else it has
/// that column's own name.
pub(super) fn outer_name(link: &str, identity: &str) -> String {
    if identity == "id" {
        format!("{}_id", link.trim_end_matches("_key"))
    } else {
        identity.to_owned()
    }
}

fn table(conn: &Connection, name: &str) -> Result<Table> {
    let columns = texts(
        conn,
        "SELECT name FROM pragma_table_info(?1) ORDER BY cid",
        name,
    )?;
    let primary = texts(
        conn,
        "SELECT name FROM pragma_table_info(?1) WHERE pk > 0 ORDER BY pk",
        name,
    )?;
    // Links over several columns stay within a document: they hold by themselves.
    let mut statement = conn.prepare(
        "SELECT min(\"from\"), min(\"table\") FROM pragma_foreign_key_list(?1)
         GROUP BY id HAVING count(*) = 1 ORDER BY id",
    )?;
    let links: Vec<Link> = statement
        .query_map([name], |row| {
            Ok(Link {
                column: row.get(0)?,
                table: row.get(1)?,
            })
        })?
        .collect::<Result<_>>()?;
    let owner = primary
        .first()
        .and_then(|first| links.iter().find(|l| l.column == *first))
        .cloned();
    let key = match (&owner, primary.as_slice()) {
        (None, [only]) => Some(only.clone()),
        _ => None,
    };
    let identity = if key.is_some() {
        texts(
            conn,
            "SELECT i.name FROM pragma_index_list(?1) AS l, pragma_index_info(l.name) AS i
             WHERE l.origin = 'u' AND l.seq =
                 (SELECT max(seq) FROM pragma_index_list(?1) WHERE origin = 'u')
             ORDER BY i.seqno",
            name,
        )?
    } else {
        Vec::new()
    };
    Ok(Table {
        name: name.to_owned(),
        columns,
        key,
        identity,
        owner,
        links,
    })
}

fn texts(conn: &Connection, sql: &str, name: &str) -> Result<Vec<String>> {
    let mut statement = conn.prepare(sql)?;
    if statement.parameter_count() == 0 {
        return statement.query_map([], |row| row.get(0))?.collect();
    }
    statement
        .query_map(params![name], |row| row.get(0))?
        .collect()
}

/// A value as text that differs whenever the values differ, and sorts alike
/// everywhere.
pub(super) fn exact(value: &Value) -> String {
    match value {
        Value::Null => "-".to_owned(),
        Value::Integer(number) => format!("i{number}"),
        Value::Real(number) => format!("r{:016x}", number.to_bits()),
        Value::Text(text) => format!("t{}", serde_json::Value::from(text.as_str())),
        Value::Blob(bytes) => format!("b{bytes:02x?}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::Journal;

    #[test]
    fn the_schema_is_understood() {
        let scratch = tempfile::tempdir().unwrap();
        let journal = Journal::open(&scratch.path().join("j")).unwrap();
        let shape = Shape::of(&journal.conn).unwrap();
        let bout = shape.table("bout").unwrap();
        assert_eq!(bout.key.as_deref(), Some("bout_key"));
        assert_eq!(bout.identity, ["id"]);
        let profile = shape.table("profile").unwrap();
        assert_eq!(profile.identity, ["name", "sha256"]);
        let names: Vec<&str> = shape.parts("bout").map(|t| t.name.as_str()).collect();
        for part in ["pair", "sound", "moment", "note", "bout_profile", "session"] {
            assert!(names.contains(&part), "{part} in {names:?}");
        }
        // A bout comes after the plans and profiles that its parts name.
        let place = |name: &str| shape.0.iter().position(|t| t.name == name).unwrap();
        for name in ["profile", "plan", "animal", "person"] {
            assert!(place(name) < place("bout"), "{name}");
        }
        assert!(place("behaviour") < place("plan") && place("bout") < place("session"));
        // Every table is a head with an identity, or belongs to one.
        for table in &shape.0 {
            assert_eq!(
                table.owner.is_some(),
                table.identity.is_empty(),
                "{table:?}"
            );
        }
        let outer: Vec<String> = shape
            .outer(shape.table("bout_profile").unwrap(), "main")
            .into_iter()
            .map(|c| c.0)
            .collect();
        assert_eq!(outer, ["bout_id", "name", "sha256"]);
    }
}
