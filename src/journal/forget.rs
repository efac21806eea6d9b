//! Forgetting: a bout goes with everything of it, down to its bytes in the file.

use rusqlite::{Connection, OptionalExtension};

use super::error::JournalError;
use super::open::Journal;
use super::record::BoutId;

impl Journal {
    /// Takes a bout out of the journal with all its rows, and with the profiles
    /// that no other bout needs and the person whom no other bout and no plan
    /// needs. Gives the name of its kept sound, which is the caller's to remove,
    /// unless another bout has it too. Call [`Journal::sweep`] next: only then
    /// are the bytes gone from the file.
    ///
    /// # Errors
    /// No such bout, or the file cannot be written.
    pub fn forget(&mut self, id: &BoutId) -> Result<Option<String>, JournalError> {
        match self.write(|tx| Ok(forget_bout(tx, id)?))? {
            Some(sound_file) => Ok(sound_file),
            None => Err(JournalError::NoSuchBout {
                wanted: id.to_string(),
            }),
        }
    }

    /// Whether anything is kept of somebody of that name: bouts, plans, or how they
    /// press a key.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn knows_person(&self, name: &str) -> Result<bool, JournalError> {
        self.conn
            .query_row(
                "SELECT EXISTS (SELECT 1 FROM person WHERE name = ?1)",
                [name],
                |row| row.get(0),
            )
            .map_err(|error| self.told(error))
    }

    /// Takes everyone of that name out of the journal: their bouts, how they press
    /// a key, and their name where plans and the settings kept with other people's
    /// bouts have it. Words of notes, names of recordings and what animals and plans
    /// are called stay as they were written. Gives the names of kept sounds, which
    /// are the caller's to remove. Call [`Journal::sweep`] next.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn forget_person(&mut self, name: &str) -> Result<Vec<String>, JournalError> {
        let bouts = self.bouts_of(name)?;
        // All or nothing: of rows that are gone nobody can tell any more which sounds
        // were kept.
        self.write(|tx| {
            let mut sounds = Vec::new();
            for id in &bouts {
                sounds.extend(forget_bout(tx, id)?.flatten());
            }
            tx.execute(
                "UPDATE plan SET person_key = NULL
                 WHERE person_key IN (SELECT person_key FROM person WHERE name = ?1)",
                [name],
            )?;
            for path in ["$.session.plan.person", "$.settings.person"] {
                tx.execute(
                    "UPDATE bout SET settings_json = json_remove(settings_json, ?2)
                     WHERE json_extract(settings_json, ?2) = ?1",
                    [name, path],
                )?;
            }
            drop_idle_people(tx)?;
            Ok(sounds)
        })
    }

    /// The ids of all bouts of everyone of that name; nobody gives none.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn bouts_of(&self, person: &str) -> Result<Vec<BoutId>, JournalError> {
        let read = || -> rusqlite::Result<Vec<BoutId>> {
            self.conn
                .prepare(
                    "SELECT id FROM bout WHERE person_key IN
                         (SELECT person_key FROM person WHERE name = ?1) ORDER BY started_at",
                )?
                .query_map([person], |row| row.get(0))?
                .collect()
        };
        read().map_err(|error| self.told(error))
    }

    /// Rewrites the file from what is still in it and empties the log beside it,
    /// so that nothing of what was forgotten can be read from them. Needs free
    /// space as large as the journal.
    ///
    /// # Errors
    /// [`JournalError::NotSwept`]: what was forgotten stays forgotten, and this
    /// may be called again.
    pub fn sweep(&mut self) -> Result<(), JournalError> {
        self.writable()?;
        let rewritten = self.conn.execute_batch("VACUUM").and_then(|()| {
            self.conn
                .query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| {
                    row.get::<_, bool>(0)
                })
        });
        let why = match rewritten {
            Ok(false) => return Ok(()),
            Ok(true) => "another program is reading it".to_owned(),
            Err(error) => self.told(error).to_string(),
        };
        Err(JournalError::NotSwept {
            path: self.path().to_path_buf(),
            why,
        })
    }
}

/// Takes out the people whom no bout and no plan needs any more, with how they
/// press a key.
pub(super) fn drop_idle_people(conn: &Connection) -> rusqlite::Result<()> {
    const IDLE: &str = "SELECT person_key FROM person AS p
         WHERE NOT EXISTS (SELECT 1 FROM bout AS b WHERE b.person_key = p.person_key)
           AND NOT EXISTS (SELECT 1 FROM plan AS l WHERE l.person_key = p.person_key)";
    conn.execute_batch(&format!(
        "DELETE FROM observer WHERE person_key IN ({IDLE});
         DELETE FROM person WHERE person_key IN ({IDLE});"
    ))
}

/// `None` when there is no such bout; otherwise the name of the kept sound that no
/// other bout has.
fn forget_bout(tx: &Connection, id: &BoutId) -> rusqlite::Result<Option<Option<String>>> {
    let found: Option<(i64, Option<String>)> = tx
        .query_row(
            "SELECT bout_key,
                    iif(EXISTS (SELECT 1 FROM bout AS other
                                WHERE other.sound_file = bout.sound_file
                                  AND other.bout_key <> bout.bout_key),
                        NULL, sound_file)
             FROM bout WHERE id = ?1",
            [id],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )
        .optional()?;
    let Some((key, sound_file)) = found else {
        return Ok(None);
    };
    // Pairs first: they point at moments and sounds.
    tx.execute("DELETE FROM pair WHERE bout_key = ?1", [key])?;
    tx.execute("DELETE FROM bout WHERE bout_key = ?1", [key])?;
    tx.execute_batch(
        "DELETE FROM profile WHERE NOT EXISTS
             (SELECT 1 FROM bout_profile AS b WHERE b.profile_key = profile.profile_key);",
    )?;
    drop_idle_people(tx)?;
    Ok(Some(sound_file))
}
