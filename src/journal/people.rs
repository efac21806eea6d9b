//! Who marks: one person under one name, however it is written; bouts given to
//! somebody, a name changed.

use rusqlite::{Connection, params};

use super::error::JournalError;
use super::forget::drop_idle_people;
use super::insert::person;
use super::open::Journal;
use super::record::BoutId;

/// A name as it is compared: capitals and surrounding blanks make no difference.
pub(super) fn folded(name: &str) -> String {
    let words: Vec<&str> = name.split_whitespace().collect();
    words.join(" ").to_lowercase()
}

/// The person of that name: to the letter, or else however it is written.
pub(super) fn known(conn: &Connection, name: &str) -> rusqlite::Result<Option<(i64, String)>> {
    let exact = conn
        .prepare_cached("SELECT min(person_key) FROM person WHERE name = ?1")?
        .query_row([name], |row| row.get::<_, Option<i64>>(0))?;
    if let Some(key) = exact {
        return Ok(Some((key, name.to_owned())));
    }
    let wanted = folded(name);
    let mut people =
        conn.prepare_cached("SELECT person_key, name FROM person ORDER BY person_key")?;
    let mut rows = people.query([])?;
    while let Some(row) = rows.next()? {
        let name: String = row.get(1)?;
        if folded(&name) == wanted {
            return Ok(Some((row.get(0)?, name)));
        }
    }
    Ok(None)
}

impl Journal {
    /// The name under which somebody is known: capitals and surrounding blanks make
    /// no difference, and a name to the letter goes before.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn person_known_as(&self, name: &str) -> Result<Option<String>, JournalError> {
        let found = known(&self.conn, name).map_err(|error| self.told(error))?;
        Ok(found.map(|(_, name)| name))
    }

    /// The ids of all bouts with nobody named, the oldest first.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn bouts_of_nobody(&self) -> Result<Vec<BoutId>, JournalError> {
        let read = || -> rusqlite::Result<Vec<BoutId>> {
            self.conn
                .prepare("SELECT id FROM bout WHERE person_key IS NULL ORDER BY started_at")?
                .query_map([], |row| row.get(0))?
                .collect()
        };
        read().map_err(|error| self.told(error))
    }

    /// Gives bouts to a person, who is made when they are new; those whom nothing is
    /// kept of any more go. All of them are given or none.
    ///
    /// # Errors
    /// No such bout, or the file cannot be written.
    pub fn give(&mut self, ids: &[BoutId], name: &str) -> Result<(), JournalError> {
        let unknown = self.write(|tx| {
            let key = person(tx, name)?;
            for id in ids {
                let changed = tx.execute(
                    "UPDATE bout SET person_key = ?2 WHERE id = ?1",
                    params![id, key],
                )?;
                if changed == 0 {
                    return Ok(Some(id.to_string()));
                }
            }
            drop_idle_people(tx)?;
            Ok(None)
        })?;
        match unknown {
            Some(wanted) => Err(JournalError::NoSuchBout { wanted }),
            None => Ok(()),
        }
    }

    /// Gives everyone called `old` the name `new`, in bouts, plans and the settings
    /// kept with bouts. Where somebody is called `new` already, the two are one
    /// person from then on. Gives whether there was one.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn rename_person(&mut self, old: &str, new: &str) -> Result<bool, JournalError> {
        self.write(|tx| {
            let keys: Vec<i64> = tx
                .prepare("SELECT person_key FROM person WHERE name = ?1 ORDER BY person_key")?
                .query_map([old], |row| row.get(0))?
                .collect::<rusqlite::Result<_>>()?;
            let Some(first) = keys.first().copied() else {
                return Ok(false);
            };
            // Its own name in other capitals is no second person.
            let to = known(tx, new)?
                .map(|(key, _)| key)
                .filter(|key| !keys.contains(key));
            let to = match to {
                Some(key) => key,
                None => {
                    tx.execute(
                        "UPDATE person SET name = ?2 WHERE person_key = ?1",
                        params![first, new],
                    )?;
                    first
                }
            };
            for key in keys.into_iter().filter(|key| *key != to) {
                for table in ["bout", "plan", "observer"] {
                    tx.execute(
                        &format!("UPDATE {table} SET person_key = ?2 WHERE person_key = ?1"),
                        [key, to],
                    )?;
                }
                tx.execute("DELETE FROM person WHERE person_key = ?1", [key])?;
            }
            let name: String = tx.query_row(
                "SELECT name FROM person WHERE person_key = ?1",
                [to],
                |row| row.get(0),
            )?;
            for path in ["$.session.plan.person", "$.settings.person"] {
                tx.execute(
                    "UPDATE bout SET settings_json = json_set(settings_json, ?2, ?3)
                     WHERE json_extract(settings_json, ?2) = ?1",
                    [old, path, &name],
                )?;
            }
            Ok(true)
        })
    }
}
