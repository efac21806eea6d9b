//! The rows of a list: each bout with its simple measures, and finding one by
//! the beginning of its id.

use jiff::Timestamp;
use rusqlite::{Row, params};

use super::error::JournalError;
use super::open::Journal;
use super::read::{instant_from, maybe_instant_from};
use super::record::{BoutId, BoutKind};
use super::words::Word;

/// How many ids an error shows when several fit.
const AMBIGUOUS_SHOWN: u32 = 5;

/// One bout in a list. Pairs set aside are not counted; what has no value
/// (a mean of no lags) is `None`.
#[derive(Debug, Clone, PartialEq)]
pub struct BoutRow {
    /// Its id.
    pub id: BoutId,
    /// What kind it is.
    pub kind: BoutKind,
    /// When it started.
    pub started_at: Timestamp,
    /// When it ended; `None` when it never did.
    pub ended_at: Option<Timestamp>,
    /// The user's time zone, an IANA name.
    pub time_zone: Option<String>,
    /// Who marked.
    pub person: Option<String>,
    /// Where the sound came from.
    pub source: Option<String>,
    /// Length in seconds.
    pub duration_s: Option<f64>,
    /// Moments, missed ones among them.
    pub moments: u32,
    /// Moments with a mark.
    pub lags: u32,
    /// Lags inside the aim.
    pub on_time: u32,
    /// Lags below the aim.
    pub early: u32,
    /// Lags above the aim.
    pub late: u32,
    /// Moments without a mark.
    pub missed: u32,
    /// Marks without a moment.
    pub stray: u32,
    /// Mean lag (constant error) in milliseconds; negative is early.
    pub mean_lag_ms: Option<f64>,
    /// Mean of the lags without their signs (absolute error) in milliseconds.
    pub mean_abs_lag_ms: Option<f64>,
}

impl Journal {
    /// The bouts, newest first; at most `limit` of them.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn list(&self, limit: Option<u32>) -> Result<Vec<BoutRow>, JournalError> {
        // SQLite takes a limit below zero for none.
        let limit = limit.map_or(-1, i64::from);
        self.rows(
            "SELECT * FROM bout_measure
             WHERE bout_key IN (SELECT bout_key FROM bout
                                ORDER BY started_at DESC, bout_key DESC LIMIT ?1)
             ORDER BY started_at DESC, bout_key DESC",
            params![limit],
        )
    }

    /// One bout's row.
    ///
    /// # Errors
    /// No such bout, or the file cannot be read.
    pub fn row(&self, id: &BoutId) -> Result<BoutRow, JournalError> {
        let sql = "SELECT * FROM bout_measure
                   WHERE bout_key = (SELECT bout_key FROM bout WHERE id = ?1)";
        let rows = self.rows(sql, params![id])?;
        rows.into_iter()
            .next()
            .ok_or_else(|| JournalError::NoSuchBout {
                wanted: id.to_string(),
            })
    }

    /// The bout that `wanted` names: an id, the beginning of one that fits no
    /// other, or "last".
    ///
    /// # Errors
    /// None fits, several fit, or the file cannot be read.
    pub fn find(&self, wanted: &str) -> Result<BoutId, JournalError> {
        let wanted = wanted.trim().to_ascii_lowercase();
        if wanted == "last" {
            let ids = self.ids(
                "SELECT id FROM bout ORDER BY started_at DESC, bout_key DESC LIMIT 1",
                params![],
            )?;
            return ids.into_iter().next().ok_or(JournalError::NoLastBout);
        }
        if wanted.is_empty() {
            return Err(JournalError::NoSuchBout { wanted });
        }
        let mut ids = self.ids(
            "SELECT id FROM bout WHERE substr(id, 1, length(?1)) = ?1 ORDER BY id LIMIT ?2",
            params![wanted, AMBIGUOUS_SHOWN],
        )?;
        match ids.pop() {
            None => Err(JournalError::NoSuchBout { wanted }),
            Some(only) if ids.is_empty() => Ok(only),
            Some(other) => {
                ids.push(other);
                let ids = ids.iter().map(ToString::to_string).collect();
                Err(JournalError::Ambiguous { wanted, ids })
            }
        }
    }

    fn rows(&self, sql: &str, with: &[&dyn rusqlite::ToSql]) -> Result<Vec<BoutRow>, JournalError> {
        let read = || -> rusqlite::Result<Vec<_>> {
            self.conn.prepare(sql)?.query_map(with, bout_row)?.collect()
        };
        read().map_err(|error| self.told(error))
    }

    fn ids(&self, sql: &str, with: &[&dyn rusqlite::ToSql]) -> Result<Vec<BoutId>, JournalError> {
        let read = || -> rusqlite::Result<Vec<_>> {
            self.conn
                .prepare(sql)?
                .query_map(with, |row| row.get(0))?
                .collect()
        };
        read().map_err(|error| self.told(error))
    }
}

fn bout_row(row: &Row<'_>) -> rusqlite::Result<BoutRow> {
    Ok(BoutRow {
        id: row.get("bout_id")?,
        kind: BoutKind::from_column(row.get_ref("kind")?)?,
        started_at: instant_from(row.get_ref("started_at")?)?,
        ended_at: maybe_instant_from(row.get_ref("ended_at")?)?,
        time_zone: row.get("time_zone")?,
        person: row.get("person")?,
        source: row.get("source")?,
        duration_s: row.get("duration_s")?,
        moments: row.get("moments")?,
        lags: row.get("lags")?,
        on_time: row.get("on_time")?,
        early: row.get("early")?,
        late: row.get("late")?,
        missed: row.get("missed")?,
        stray: row.get("stray")?,
        mean_lag_ms: row.get("mean_lag_ms")?,
        mean_abs_lag_ms: row.get("mean_abs_lag_ms")?,
    })
}
