//! Whether everything in the journal is as it should be: SQLite's own checks,
//! and what this program promises beyond them.

use jiff::tz::TimeZone;

use super::digest::{lags_from, parts_of};
use super::error::JournalError;
use super::open::Journal;
use super::record::sha256_hex;

/// Something that is not as it should be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// Where, and what.
    pub what: String,
}

/// What is looked for, as SQL that gives a text for each finding.
const RULES: [(&str, &str); 7] = [
    (
        "two rows of a bout have the same number",
        "SELECT b.id || ' number ' || seq FROM (
             SELECT bout_key, seq FROM sound UNION ALL SELECT bout_key, seq FROM moment
             UNION ALL SELECT bout_key, seq FROM pair UNION ALL SELECT bout_key, seq FROM event
             UNION ALL SELECT bout_key, seq FROM note
             UNION ALL SELECT bout_key, seq FROM set_aside) JOIN bout AS b USING (bout_key)
         GROUP BY bout_key, seq HAVING count(*) > 1",
    ),
    (
        "a pair tells another time than its moment",
        "SELECT b.id || ' number ' || p.seq FROM pair AS p
         JOIN moment AS m ON m.bout_key = p.bout_key AND m.seq = p.moment_seq
         JOIN bout AS b ON b.bout_key = p.bout_key
         WHERE m.t_s <> p.moment_s OR m.kind <> p.moment_kind",
    ),
    (
        "a pair tells another time than its mark",
        "SELECT b.id || ' number ' || p.seq FROM pair AS p
         JOIN sound AS s ON s.bout_key = p.bout_key AND s.seq = p.mark_seq
         JOIN bout AS b ON b.bout_key = p.bout_key
         WHERE s.t_s <> p.mark_s OR s.kind = 'impact'",
    ),
    (
        "it ended before it began",
        "SELECT id FROM bout WHERE ended_at < started_at",
    ),
    (
        "what was set aside is not there",
        "SELECT b.id || ' number ' || a.seq FROM set_aside AS a JOIN bout AS b USING (bout_key)
         WHERE NOT EXISTS (
             SELECT 1 FROM sound AS r WHERE r.bout_key = a.bout_key AND r.seq = a.target_seq
             UNION ALL SELECT 1 FROM moment AS r WHERE r.bout_key = a.bout_key AND r.seq = a.target_seq
             UNION ALL SELECT 1 FROM pair AS r WHERE r.bout_key = a.bout_key AND r.seq = a.target_seq
             UNION ALL SELECT 1 FROM event AS r WHERE r.bout_key = a.bout_key AND r.seq = a.target_seq
             UNION ALL SELECT 1 FROM note AS r WHERE r.bout_key = a.bout_key AND r.seq = a.target_seq
             UNION ALL SELECT 1 FROM set_aside AS r WHERE r.bout_key = a.bout_key AND r.seq = a.target_seq)",
    ),
    (
        "one moment is in two pairs",
        "SELECT b.id || ' moment ' || moment_seq FROM pair_counted JOIN bout AS b USING (bout_key)
         WHERE moment_seq IS NOT NULL GROUP BY bout_key, moment_seq HAVING count(*) > 1",
    ),
    (
        "one mark is in two pairs",
        "SELECT b.id || ' mark ' || mark_seq FROM pair_counted JOIN bout AS b USING (bout_key)
         WHERE mark_seq IS NOT NULL GROUP BY bout_key, mark_seq HAVING count(*) > 1",
    ),
];

/// Findings told of one rule.
const TOLD: usize = 5;

impl Journal {
    /// Checks everything; an empty list is a journal without fault. Reads all of
    /// it, changes nothing.
    ///
    /// # Errors
    /// [`JournalError::Damaged`] when SQLite cannot vouch for the file itself.
    pub fn check_all(&self) -> Result<Vec<Finding>, JournalError> {
        self.check()?;
        let mut all = Vec::new();
        self.find_all(&mut all).map_err(|error| self.told(error))?;
        Ok(all)
    }

    fn find_all(&self, all: &mut Vec<Finding>) -> rusqlite::Result<()> {
        let texts = |sql: &str| -> rusqlite::Result<Vec<String>> {
            let mut statement = self.conn.prepare(sql)?;
            let rows = statement.query_map([], |row| row.get(0))?;
            rows.collect()
        };
        let mut find = |what: &str, mut found: Vec<String>| {
            let more = found.len().saturating_sub(TOLD);
            found.truncate(TOLD);
            for one in found {
                all.push(Finding {
                    what: format!("{one}: {what}"),
                });
            }
            if more > 0 {
                all.push(Finding {
                    what: format!("and {more} more: {what}"),
                });
            }
        };
        find(
            "it names a row that is not there",
            texts("SELECT DISTINCT \"table\" FROM pragma_foreign_key_check")?,
        );
        for (what, sql) in RULES {
            find(what, texts(sql)?);
        }
        let mut bad_zones = Vec::new();
        for zone in texts("SELECT DISTINCT time_zone FROM bout WHERE time_zone IS NOT NULL")? {
            if TimeZone::get(&zone).is_err() {
                bad_zones.push(zone);
            }
        }
        find("no time zone of that name is known here", bad_zones);
        let mut bad_sums = Vec::new();
        let mut statement = self
            .conn
            .prepare("SELECT name, sha256, profile_json FROM profile")?;
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let (name, sum, text): (String, String, String) =
                (row.get(0)?, row.get(1)?, row.get(2)?);
            if sha256_hex(&text) != sum {
                bad_sums.push(name);
            }
        }
        find(
            "a taught sound does not have the sum it is kept under",
            bad_sums,
        );
        find(
            "its digest is not what its pairs come to",
            self.stale_digests()?,
        );
        Ok(())
    }

    fn stale_digests(&self) -> rusqlite::Result<Vec<String>> {
        let mut stale = Vec::new();
        let mut bouts = self.conn.prepare(
            "SELECT bout_key, id FROM bout WHERE bout_key IN (SELECT bout_key FROM digest)",
        )?;
        let mut digest = self.conn.prepare(
            "SELECT missed, strays, lags_ms FROM digest WHERE bout_key = ?1 ORDER BY part",
        )?;
        let mut rows = bouts.query([])?;
        while let Some(row) = rows.next()? {
            let (key, id): (i64, String) = (row.get(0)?, row.get(1)?);
            let kept: Vec<(u32, u32, Vec<u8>)> = digest
                .query_map([key], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?
                .collect::<rusqlite::Result<_>>()?;
            let parts = parts_of(&self.conn, key)?;
            let same = kept.len() == parts.len()
                && kept.iter().zip(&parts).all(|(kept, part)| {
                    kept.0 == part.missed
                        && kept.1 == part.strays
                        && lags_from(&kept.2) == part.lags_ms
                });
            if !same {
                stale.push(id);
            }
        }
        Ok(stale)
    }
}
