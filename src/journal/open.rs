//! Opening a journal: made when missing, never touched when it is not ours.

use std::fs::{self, File};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use rusqlite::config::DbConfig;
use rusqlite::{Connection, ErrorCode, OpenFlags};

use super::error::JournalError;
use super::migrate::{application_id, migrate, version};
use super::schema::{APPLICATION_ID, MIGRATIONS, SCHEMA_VERSION};
use crate::system::files::create_new_private_file;

/// How long to wait for another program that is writing.
const PATIENCE: Duration = Duration::from_secs(5);

/// The first bytes of every SQLite 3 file, and where its application id stands
/// (sqlite.org/fileformat2.html, 1.3).
const MAGIC: &[u8; 16] = b"SQLite format 3\0";
const APPLICATION_ID_AT: usize = 68;

/// What may be done with an open journal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// Read and write.
    Full,
    /// Read: the file or its folder cannot be written.
    ReadOnly,
    /// Read: the journal was written by a newer program.
    Newer {
        /// Its schema version.
        found: usize,
    },
}

/// An open journal.
#[derive(Debug)]
pub struct Journal {
    pub(super) conn: Connection,
    path: PathBuf,
    access: Access,
}

impl Journal {
    /// Opens the journal at `path`, makes it (readable by its owner alone) when
    /// it is missing, and brings an older one up to date. A journal that a newer
    /// program wrote, or that cannot be written, is opened for reading:
    /// see [`Journal::notice`].
    ///
    /// # Errors
    /// The file is something else, damaged, locked, or cannot be opened.
    pub fn open(path: &Path) -> Result<Self, JournalError> {
        Self::open_patiently(path, PATIENCE)
    }

    /// [`Journal::open`], waiting at most `patience` for another program.
    ///
    /// # Errors
    /// As [`Journal::open`].
    pub fn open_patiently(path: &Path, patience: Duration) -> Result<Self, JournalError> {
        match create_new_private_file(path) {
            Err(error) if !path.exists() => return Err(JournalError::of_io(path, &error)),
            // It is there already, whatever it is.
            Ok(_) | Err(_) => {}
        }
        open_there(path, patience)
    }

    /// Opens the journal at `path` if there is one, and makes nothing.
    ///
    /// # Errors
    /// As [`Journal::open`].
    pub fn open_existing(path: &Path) -> Result<Option<Self>, JournalError> {
        match path.try_exists() {
            Ok(true) => open_there(path, PATIENCE).map(Some),
            Ok(false) => Ok(None),
            Err(error) => Err(JournalError::of_io(path, &error)),
        }
    }

    /// The journal's file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What may be done with it.
    pub fn access(&self) -> Access {
        self.access
    }

    /// What a reader of the journal should be told before anything else.
    pub fn notice(&self) -> Option<String> {
        self.writable().err().map(|error| error.to_string())
    }

    /// SQLite's own check of the whole file.
    ///
    /// # Errors
    /// [`JournalError::Damaged`] with the first finding.
    pub fn check(&self) -> Result<(), JournalError> {
        let finding: String = self
            .conn
            .pragma_query_value(None, "integrity_check", |row| row.get(0))
            .map_err(|error| self.told(error))?;
        if finding == "ok" {
            Ok(())
        } else {
            Err(JournalError::Damaged {
                path: self.path.clone(),
                detail: finding,
            })
        }
    }

    /// An error unless the journal may be written.
    pub(super) fn writable(&self) -> Result<(), JournalError> {
        let path = self.path.clone();
        match self.access {
            Access::Full => Ok(()),
            Access::ReadOnly => Err(JournalError::ReadOnly { path }),
            Access::Newer { found } => Err(JournalError::Newer {
                path,
                found,
                known: SCHEMA_VERSION,
            }),
        }
    }

    /// What SQLite said, in words.
    pub(super) fn told(&self, error: rusqlite::Error) -> JournalError {
        JournalError::of(&self.path, error)
    }
}

fn open_there(path: &Path, patience: Duration) -> Result<Journal, JournalError> {
    let told = |error| JournalError::of(path, error);
    look_first(path)?;
    // With URIs, so that another journal can be attached as one that does not change.
    let writing = OpenFlags::SQLITE_OPEN_READ_WRITE
        | OpenFlags::SQLITE_OPEN_NO_MUTEX
        | OpenFlags::SQLITE_OPEN_URI;
    let mut conn = Connection::open_with_flags(no_uri(path), writing).map_err(told)?;
    conn.busy_timeout(patience).map_err(told)?;
    let found = match version(&conn) {
        Ok(found) => found,
        Err(error) if needs_a_writable_folder(&error) => return open_unchanging(path),
        // A full disk has no room for what SQLite puts beside the file.
        Err(error) if needs_room(&error) && !has_log(path) => {
            return open_unchanging(path).map_err(|_| told(error));
        }
        Err(error) => return Err(told(error)),
    };
    // In this order: another marklag that is making the file right now may finish
    // between the two looks, and its claim is then seen.
    let was_empty = is_empty(&conn).map_err(told)?;
    let claimed = application_id(&conn).map_err(told)?;
    if claimed != APPLICATION_ID && !(claimed == 0 && was_empty) {
        return Err(JournalError::Foreign {
            path: path.to_path_buf(),
            application_id: claimed,
        });
    }
    if found > SCHEMA_VERSION {
        // Not even what is left in its write-ahead log is moved about.
        conn.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)
            .map_err(told)?;
        let reading = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let reader = Connection::open_with_flags(path, reading).map_err(told)?;
        reader.busy_timeout(patience).map_err(told)?;
        return finish(reader, path, Access::Newer { found });
    }
    if conn.is_readonly("main").map_err(told)? {
        return finish_reading(conn, path, found);
    }
    migrate(&mut conn, MIGRATIONS).map_err(told)?;
    make_durable(&conn, patience).map_err(told)?;
    finish(conn, path, Access::Full)
}

/// Looks at the file's first bytes before SQLite does: opening another
/// program's database would leave traces beside it.
fn look_first(path: &Path) -> Result<(), JournalError> {
    let not = |what| JournalError::NotAJournal {
        path: path.to_path_buf(),
        what,
    };
    if path.is_dir() {
        return Err(not("it is a folder"));
    }
    let mut head = Vec::new();
    File::open(path)
        .and_then(|file| file.take(100).read_to_end(&mut head))
        .map_err(|error| JournalError::of_io(path, &error))?;
    if head.is_empty() || beside(path, "-journal").exists() {
        // New, or something was cut off in the middle of making it: SQLite will
        // put that right first, and then tells what the file is.
        return Ok(());
    }
    if !head.starts_with(MAGIC) {
        return Err(not("it is not a SQLite file"));
    }
    let claimed = head
        .get(APPLICATION_ID_AT..)
        .and_then(|rest| rest.first_chunk::<4>())
        .map(|bytes| i32::from_be_bytes(*bytes))
        .ok_or_else(|| not("it is cut short"))?;
    if claimed == APPLICATION_ID {
        Ok(())
    } else {
        Err(JournalError::Foreign {
            path: path.to_path_buf(),
            application_id: claimed,
        })
    }
}

/// Whether SQLite says that it would have to write beside the file to read it.
fn needs_a_writable_folder(error: &rusqlite::Error) -> bool {
    matches!(
        error.sqlite_error_code(),
        Some(ErrorCode::CannotOpen | ErrorCode::ReadOnly)
    )
}

fn needs_room(error: &rusqlite::Error) -> bool {
    matches!(
        error.sqlite_error_code(),
        Some(ErrorCode::DiskFull | ErrorCode::SystemIoFailure)
    )
}

/// Opens a journal in a folder that cannot be written, as a file that does not
/// change. That would overlook a write-ahead log, so there must be none.
fn open_unchanging(path: &Path) -> Result<Journal, JournalError> {
    if has_log(path) {
        return Err(JournalError::NeedsWriting {
            path: path.to_path_buf(),
            why: "its folder is read-only, and the last things kept are still in the log beside it",
        });
    }
    let told = |error| JournalError::of(path, error);
    let reading = OpenFlags::SQLITE_OPEN_READ_ONLY
        | OpenFlags::SQLITE_OPEN_NO_MUTEX
        | OpenFlags::SQLITE_OPEN_URI;
    let conn = Connection::open_with_flags(unchanging(path)?, reading).map_err(told)?;
    let found = version(&conn).map_err(told)?;
    finish_reading(conn, path, found)
}

fn has_log(path: &Path) -> bool {
    fs::metadata(beside(path, "-wal")).is_ok_and(|log| log.len() > 0)
}

/// A file that does not change, as SQLite is told of it.
fn unchanging(path: &Path) -> Result<String, JournalError> {
    let full = fs::canonicalize(path).map_err(|error| JournalError::of_io(path, &error))?;
    Ok(format!("file:{}?immutable=1", percent_encoded(&full)))
}

/// A path that SQLite does not take for a URI.
fn no_uri(path: &Path) -> PathBuf {
    if path.is_absolute() {
        path.to_path_buf()
    } else {
        Path::new(".").join(path)
    }
}

/// How another journal, opened with this access a moment ago, is attached.
pub(super) fn to_attach(path: &Path, access: Access) -> Result<String, JournalError> {
    if access == Access::ReadOnly && !has_log(path) {
        return unchanging(path);
    }
    Ok(no_uri(path).to_string_lossy().into_owned())
}

fn finish_reading(conn: Connection, path: &Path, found: usize) -> Result<Journal, JournalError> {
    if found < SCHEMA_VERSION {
        return Err(JournalError::NeedsWriting {
            path: path.to_path_buf(),
            why: "an older marklag wrote it, so it must first be brought up to date, and it is read-only",
        });
    }
    let access = if found > SCHEMA_VERSION {
        Access::Newer { found }
    } else {
        Access::ReadOnly
    };
    finish(conn, path, access)
}

fn finish(conn: Connection, path: &Path, access: Access) -> Result<Journal, JournalError> {
    let careful = || -> rusqlite::Result<()> {
        // A damaged file, or one made to do harm, is met with an error.
        conn.pragma_update(None, "trusted_schema", false)?;
        conn.pragma_update(None, "cell_size_check", true)?;
        conn.set_db_config(DbConfig::SQLITE_DBCONFIG_DEFENSIVE, true)?;
        conn.pragma_update(None, "foreign_keys", true)
    };
    careful().map_err(|error| JournalError::of(path, error))?;
    Ok(Journal {
        conn,
        path: path.to_path_buf(),
        access,
    })
}

/// From here on, a transaction that has returned outlives the program, and a
/// power cut as far as the disk does what it says.
fn make_durable(conn: &Connection, patience: Duration) -> rusqlite::Result<()> {
    // Where a write-ahead log cannot be had (some network folders) the rollback
    // journal stays, with the strictest syncing.
    let level = if use_write_ahead_log(conn, patience)? {
        "FULL"
    } else {
        "EXTRA"
    };
    conn.pragma_update(None, "synchronous", level)?;
    // On macOS a plain fsync does not reach the disk.
    conn.pragma_update(None, "fullfsync", true)?;
    conn.pragma_update(None, "checkpoint_fullfsync", true)?;
    // What is deleted is overwritten with zeros.
    conn.pragma_update_and_check(None, "secure_delete", true, |_| Ok(()))
}

/// Whether the log is in use. Switching to it needs the file alone for an
/// instant, and SQLite does not wait for that by itself.
fn use_write_ahead_log(conn: &Connection, patience: Duration) -> rusqlite::Result<bool> {
    let start = Instant::now();
    loop {
        let mode = conn
            .pragma_update_and_check(None, "journal_mode", "wal", |row| row.get::<_, String>(0));
        match mode {
            Ok(mode) => return Ok(mode == "wal"),
            Err(error)
                if error.sqlite_error_code() == Some(ErrorCode::DatabaseBusy)
                    && start.elapsed() < patience =>
            {
                std::thread::sleep(Duration::from_millis(10));
            }
            Err(error) => return Err(error),
        }
    }
}

fn is_empty(conn: &Connection) -> rusqlite::Result<bool> {
    conn.query_row(
        "SELECT NOT EXISTS (SELECT 1 FROM sqlite_schema)",
        [],
        |row| row.get(0),
    )
}

/// The path with `suffix` after its name.
pub(super) fn beside(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(suffix);
    PathBuf::from(name)
}

fn percent_encoded(path: &Path) -> String {
    let mut text = String::new();
    for byte in path.as_os_str().as_encoded_bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'/' | b'-' | b'_' | b'.' => {
                text.push(char::from(*byte));
            }
            _ => text.push_str(&format!("%{byte:02X}")),
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    /// SQLite passes over a pragma it does not know without a word; so each is
    /// read back. The numbers are SQLite's (sqlite.org/pragma.html).
    #[test]
    fn the_promises_are_in_force() {
        let scratch = tempfile::tempdir().unwrap();
        let journal = Journal::open(&scratch.path().join("j")).unwrap();
        let in_force = |name: &str| -> i64 {
            let read = journal
                .conn
                .pragma_query_value(None, name, |row| row.get(0));
            read.unwrap()
        };
        assert_eq!(in_force("synchronous"), 2, "FULL");
        for (name, value) in [
            ("secure_delete", 1),
            ("foreign_keys", 1),
            ("fullfsync", 1),
            ("checkpoint_fullfsync", 1),
            ("cell_size_check", 1),
            ("trusted_schema", 0),
        ] {
            assert_eq!(in_force(name), value, "{name}");
        }
    }

    #[test]
    fn any_path_can_stand_in_a_uri() {
        let path = Path::new("/a b/100%/what?#é.sqlite");
        let expected = "/a%20b/100%25/what%3F%23%C3%A9.sqlite";
        assert_eq!(percent_encoded(path), expected);
    }
}
