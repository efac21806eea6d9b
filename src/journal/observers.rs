//! How people press a key.

use jiff::Timestamp;
use rusqlite::{OptionalExtension, params};

use super::error::JournalError;
use super::insert::{instant, person};
use super::open::Journal;
use super::record::new_id;
use crate::measure::observer::Observer;

impl Journal {
    /// Keeps how a person presses a key.
    ///
    /// # Errors
    /// A value is not to be kept, or the file cannot be written.
    pub fn keep_observer(
        &mut self,
        name: &str,
        measured_at: Timestamp,
        who: &Observer,
    ) -> Result<(), JournalError> {
        self.write(|tx| {
            tx.execute(
                "INSERT INTO observer (id, person_key, measured_at, n, bias_ms, spread_ms)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                params![
                    new_id(),
                    person(tx, name)?,
                    instant(measured_at),
                    i64::try_from(who.n).unwrap_or(i64::MAX),
                    who.bias_ms,
                    who.spread_ms
                ],
            )?;
            Ok(())
        })
    }

    /// How a person presses a key, as it was last measured.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn observer(&self, name: &str) -> Result<Option<Observer>, JournalError> {
        // However the name is written.
        let name = self.person_known_as(name)?;
        self.conn
            .query_row(
                "SELECT o.n, o.bias_ms, o.spread_ms FROM observer AS o
                 JOIN person AS p USING (person_key) WHERE p.name = ?1
                 ORDER BY o.measured_at DESC, o.observer_key DESC LIMIT 1",
                [name],
                |row| {
                    Ok(Observer {
                        n: row.get::<_, u32>(0)? as usize,
                        bias_ms: row.get(1)?,
                        spread_ms: row.get(2)?,
                    })
                },
            )
            .optional()
            .map_err(|error| self.told(error))
    }
}
