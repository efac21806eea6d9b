//! What a bout's pairs come to, kept beside them so that years are read at once.
//! Worked out anew for a bout whose pairs have changed.

use rusqlite::{Connection, Transaction, TransactionBehavior, params};

use super::error::JournalError;
use super::open::{Access, Journal};

/// Bouts worked out in one transaction.
const AT_ONCE: usize = 2_000;

/// Moments of one kind and label that were marked with one bridge, or missed;
/// or the bout's strays (no kind).
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Part {
    pub moment_kind: Option<String>,
    pub label: String,
    pub mark_kind: Option<String>,
    pub mark_name: Option<String>,
    pub missed: u32,
    pub strays: u32,
    pub lags_ms: Vec<f64>,
}

impl Part {
    /// The lags as they are kept: little-endian f64, bit for bit.
    fn bytes(&self) -> Vec<u8> {
        self.lags_ms.iter().flat_map(|l| l.to_le_bytes()).collect()
    }
}

/// Lags from their bytes.
pub(super) fn lags_from(bytes: &[u8]) -> Vec<f64> {
    let (eights, _) = bytes.as_chunks::<8>();
    eights.iter().map(|b| f64::from_le_bytes(*b)).collect()
}

/// The parts of a bout, worked out from its pairs that count; the first is
/// always the strays, even when there are none.
pub(super) fn parts_of(conn: &Connection, bout_key: i64) -> rusqlite::Result<Vec<Part>> {
    let mut parts = vec![Part {
        moment_kind: None,
        label: String::new(),
        mark_kind: None,
        mark_name: None,
        missed: 0,
        strays: 0,
        lags_ms: Vec::new(),
    }];
    let mut statement = conn.prepare_cached(
        "SELECT p.moment_kind,
                CASE p.moment_kind WHEN 'behaviour' THEN m.label ELSE '' END,
                s.kind, s.name, p.lag_ms
         FROM pair_counted AS p
         LEFT JOIN moment AS m ON m.bout_key = p.bout_key AND m.seq = p.moment_seq
         LEFT JOIN sound AS s ON s.bout_key = p.bout_key AND s.seq = p.mark_seq
         WHERE p.bout_key = ?1 ORDER BY p.seq",
    )?;
    let mut rows = statement.query([bout_key])?;
    while let Some(row) = rows.next()? {
        let moment_kind: Option<String> = row.get(0)?;
        if moment_kind.is_none() {
            parts[0].strays += 1;
            continue;
        }
        let label: String = row.get::<_, Option<String>>(1)?.unwrap_or_default();
        let mark_kind: Option<String> = row.get(2)?;
        let mark_name: Option<String> = row.get(3)?;
        let lag_ms: Option<f64> = row.get(4)?;
        let known = parts.iter().position(|p| {
            p.moment_kind == moment_kind
                && p.label == label
                && p.mark_kind == mark_kind
                && p.mark_name == mark_name
        });
        let at = known.unwrap_or(parts.len());
        if known.is_none() {
            parts.push(Part {
                moment_kind,
                label,
                mark_kind,
                mark_name,
                missed: 0,
                strays: 0,
                lags_ms: Vec::new(),
            });
        }
        match lag_ms {
            Some(lag_ms) => parts[at].lags_ms.push(lag_ms),
            None => parts[at].missed += 1,
        }
    }
    Ok(parts)
}

/// Works a bout out and keeps it.
pub(super) fn keep(conn: &Connection, bout_key: i64) -> rusqlite::Result<()> {
    let mut insert =
        conn.prepare_cached("INSERT INTO digest VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)")?;
    for (number, part) in (0_i64..).zip(&parts_of(conn, bout_key)?) {
        insert.execute(params![
            bout_key,
            number,
            part.moment_kind,
            part.label,
            part.mark_kind,
            part.mark_name,
            part.missed,
            part.strays,
            part.bytes()
        ])?;
    }
    Ok(())
}

impl Journal {
    /// Works out what is missing, where the journal can be written. Reading does
    /// not depend on it: what it could not keep is worked out while reading.
    pub(super) fn digest_missing(&self) -> Result<(), JournalError> {
        if self.access() != Access::Full {
            return Ok(());
        }
        let missing = || -> rusqlite::Result<Vec<i64>> {
            self.conn
                .prepare(
                    "SELECT bout_key FROM bout AS b WHERE ended_at IS NOT NULL
                     AND NOT EXISTS (SELECT 1 FROM digest AS d WHERE d.bout_key = b.bout_key)",
                )?
                .query_map([], |row| row.get(0))?
                .collect()
        };
        for some in missing().map_err(|e| self.told(e))?.chunks(AT_ONCE) {
            let kept = || -> rusqlite::Result<()> {
                let tx = Transaction::new_unchecked(&self.conn, TransactionBehavior::Immediate)?;
                for key in some {
                    // Another program may have been quicker.
                    tx.execute("DELETE FROM digest WHERE bout_key = ?1", [key])?;
                    keep(&tx, *key)?;
                }
                tx.commit()
            };
            if kept().is_err() {
                // Locked or full: reading goes on without.
                return Ok(());
            }
        }
        Ok(())
    }
}
