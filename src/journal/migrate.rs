//! Brings a journal up to the version this program knows, each step whole or
//! not at all.

use rusqlite::{Connection, Result, Transaction, TransactionBehavior};

use super::schema::APPLICATION_ID;

/// The schema version of an open file; 0 for an empty one.
pub(super) fn version(conn: &Connection) -> Result<usize> {
    conn.pragma_query_value(None, "user_version", |row| row.get::<_, i64>(0))
        // A negative number is nobody's version; too new is the safe reading.
        .map(|version| usize::try_from(version).unwrap_or(usize::MAX))
}

/// The file's `application_id`; 0 when no program has claimed it.
pub(super) fn application_id(conn: &Connection) -> Result<i32> {
    conn.pragma_query_value(None, "application_id", |row| row.get(0))
}

/// Runs the migrations that the file has not had yet. Two programs may do it at
/// once: the second waits, then finds it done.
pub(super) fn migrate(conn: &mut Connection, migrations: &[&str]) -> Result<()> {
    while version(conn)? < migrations.len() {
        let step = Transaction::new_unchecked(conn, TransactionBehavior::Immediate)?;
        // Read again under the lock: another program may have been quicker.
        let had = version(&step)?;
        if let Some(text) = migrations.get(had) {
            step.execute_batch(text)?;
            step.pragma_update(None, "application_id", APPLICATION_ID)?;
            step.pragma_update(
                None,
                "user_version",
                i64::try_from(had + 1).unwrap_or(i64::MAX),
            )?;
            step.commit()?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(conn: &Connection) -> Vec<String> {
        let mut statement = conn
            .prepare("SELECT name FROM sqlite_schema ORDER BY name")
            .unwrap();
        let rows = statement.query_map([], |row| row.get(0)).unwrap();
        rows.map(Result::unwrap).collect()
    }

    #[test]
    fn each_step_is_run_once_and_in_order() {
        let mut conn = Connection::open_in_memory().unwrap();
        let first = "CREATE TABLE a (x);";
        let second = "ALTER TABLE a ADD COLUMN y; INSERT INTO a VALUES (1, 2);";
        migrate(&mut conn, &[first]).unwrap();
        assert_eq!(version(&conn).unwrap(), 1);
        assert_eq!(application_id(&conn).unwrap(), APPLICATION_ID);
        migrate(&mut conn, &[first, second]).unwrap();
        migrate(&mut conn, &[first, second]).unwrap();
        assert_eq!(version(&conn).unwrap(), 2);
        let rows: i64 = conn
            .query_row("SELECT count(*) FROM a", [], |row| row.get(0))
            .unwrap();
        assert_eq!(rows, 1);
    }

    #[test]
    fn a_step_that_fails_leaves_no_trace() {
        let mut conn = Connection::open_in_memory().unwrap();
        let steps = [
            "CREATE TABLE a (x);",
            "CREATE TABLE b (x); CREATE TABLE a (x);",
        ];
        assert!(migrate(&mut conn, &steps).is_err());
        assert_eq!(version(&conn).unwrap(), 1);
        assert_eq!(names(&conn), ["a"]);
    }

    #[test]
    fn a_version_below_zero_counts_as_too_new() {
        let conn = Connection::open_in_memory().unwrap();
        conn.pragma_update(None, "user_version", -1).unwrap();
        assert_eq!(version(&conn).unwrap(), usize::MAX);
    }
}
