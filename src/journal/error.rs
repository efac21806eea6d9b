//! What can go wrong with a journal, in sentences that name the file and the
//! way out.

use std::io;
use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;
use thiserror::Error;

/// Why the journal could not do what was asked. Unless said otherwise nothing
/// was changed.
#[derive(Debug, Error)]
pub enum JournalError {
    /// The file is not a SQLite database.
    #[error("{} is not a journal: {what}. It was left as it is; move it away, or choose another home with --home FOLDER", .path.display())]
    NotAJournal {
        /// The file.
        path: PathBuf,
        /// What it is instead.
        what: &'static str,
    },
    /// The file is a SQLite database of another program.
    #[error("{} belongs to another program (its application id is {application_id}, not marklag's). It was left as it is; choose another home with --home FOLDER", .path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
        /// What the file says of itself.
        application_id: i32,
    },
    /// The journal was written by a newer program.
    #[error("{} was written by a newer marklag (its schema is version {found}; this program knows {known}). It can be read here, not written: update marklag to go on with it", .path.display())]
    Newer {
        /// The file.
        path: PathBuf,
        /// The version found.
        found: usize,
        /// The newest version this program knows.
        known: usize,
    },
    /// The journal may be read, not written.
    #[error("{} cannot be written: the file or its folder is read-only. Make both writable for yourself, or choose another home with --home FOLDER", .path.display())]
    ReadOnly {
        /// The file.
        path: PathBuf,
    },
    /// The journal cannot even be read without writing beside it.
    #[error("{} cannot be read where it is: {why}. Copy its folder to a place you can write, and open it there with --home FOLDER", .path.display())]
    NeedsWriting {
        /// The file.
        path: PathBuf,
        /// Why reading needs writing.
        why: &'static str,
    },
    /// Another program has it.
    #[error("{} is in use by another program that has not let go of it. Close that program, or wait a moment and try again", .path.display())]
    Locked {
        /// The file.
        path: PathBuf,
    },
    /// No room.
    #[error("{} could not grow: the disk is full. What was kept before is safe; free some space and try again", .path.display())]
    Full {
        /// The file.
        path: PathBuf,
    },
    /// The file is damaged.
    #[error("{} is damaged ({detail}). Make a copy of its folder now, before anything else; `sqlite3 journal.sqlite .recover` may save most of it", .path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What was found.
        detail: String,
    },
    /// The system does not let the file be opened or made.
    #[error("{} cannot be opened: {detail}. Check that its folder exists and belongs to you, or choose another home with --home FOLDER", .path.display())]
    CannotOpen {
        /// The file.
        path: PathBuf,
        /// What the system says.
        detail: String,
    },
    /// Reading or writing failed below SQLite.
    #[error("{} could not be read or written ({detail}): the disk may be full, over its quota, gone or failing. What was kept before is safe as far as the disk is", .path.display())]
    Disk {
        /// The file.
        path: PathBuf,
        /// What SQLite says.
        detail: String,
    },
    /// No bout has such an id.
    #[error(
        "nothing in the journal has an id that begins with {wanted:?}; `marklag journal list` shows the ids"
    )]
    NoSuchBout {
        /// What was asked for.
        wanted: String,
    },
    /// The journal is empty, so there is no last bout.
    #[error("the journal is empty: there is no last one")]
    NoLastBout,
    /// Several bouts begin so.
    #[error("{wanted:?} fits more than one: {}. Give more of the id", .ids.join(", "))]
    Ambiguous {
        /// What was asked for.
        wanted: String,
        /// The first few that fit.
        ids: Vec<String>,
    },
    /// The bout has ended.
    #[error("{id} has ended, so nothing more can be added to it")]
    Ended {
        /// The bout.
        id: String,
    },
    /// A value that the journal does not take.
    #[error("this cannot be kept: {what}")]
    BadValue {
        /// Which value, and why.
        what: String,
    },
    /// Forgotten, but bytes of it are still in the file.
    #[error("it is forgotten and no longer shown, but some of its bytes are still in {}: {why}. Give `marklag journal forget --sweep` once that is mended", .path.display())]
    NotSwept {
        /// The file.
        path: PathBuf,
        /// What was in the way.
        why: String,
    },
    /// The place where rows were to be written failed.
    #[error("writing failed: {0}")]
    Output(#[from] io::Error),
    /// Anything else SQLite may say.
    #[error("{}: {source}", .path.display())]
    Sqlite {
        /// The file.
        path: PathBuf,
        /// What SQLite says.
        source: rusqlite::Error,
    },
}

impl JournalError {
    /// Puts what SQLite says of the file at `path` into words.
    pub(super) fn of(path: &Path, source: rusqlite::Error) -> Self {
        let path = path.to_path_buf();
        let detail = source.to_string();
        match source.sqlite_error_code() {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Locked { path },
            Some(ErrorCode::DiskFull) => Self::Full { path },
            Some(ErrorCode::ReadOnly) => Self::ReadOnly { path },
            Some(ErrorCode::DatabaseCorrupt) => Self::Damaged { path, detail },
            Some(ErrorCode::NotADatabase) => Self::NotAJournal {
                path,
                what: "it is not a SQLite file",
            },
            Some(ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => {
                Self::CannotOpen { path, detail }
            }
            Some(ErrorCode::SystemIoFailure) => Self::Disk { path, detail },
            Some(ErrorCode::ConstraintViolation) => Self::BadValue { what: detail },
            Some(_) => Self::Sqlite { path, source },
            // A value of another type than the schema has: the file was damaged
            // or changed by hand.
            None => match source {
                rusqlite::Error::InvalidColumnType(..)
                | rusqlite::Error::FromSqlConversionFailure(..)
                | rusqlite::Error::IntegralValueOutOfRange(..)
                | rusqlite::Error::Utf8Error(..) => Self::Damaged { path, detail },
                _ => Self::Sqlite { path, source },
            },
        }
    }

    /// Puts what the system says of the file at `path` into words.
    pub(super) fn of_io(path: &Path, source: &io::Error) -> Self {
        let path = path.to_path_buf();
        match source.kind() {
            io::ErrorKind::ReadOnlyFilesystem => Self::ReadOnly { path },
            io::ErrorKind::StorageFull => Self::Full { path },
            _ => Self::CannotOpen {
                path,
                detail: source.to_string(),
            },
        }
    }
}
