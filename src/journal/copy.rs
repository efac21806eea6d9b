//! A copy of the journal as it is at one instant.

use std::path::Path;

use super::error::JournalError;
use super::open::Journal;
use crate::system::files::part_beside;

impl Journal {
    /// Writes a whole, compact copy into a new file, readable by its owner
    /// alone, while other programs may go on writing; then checks the copy. It
    /// has its name only when it is whole: cut off, it ends in `.part`. Nothing is
    /// ever written over.
    ///
    /// # Errors
    /// The file is there already or cannot be written; the copy is then not left.
    pub fn backup(&self, to: &Path) -> Result<(), JournalError> {
        let there = || std::io::Error::from(std::io::ErrorKind::AlreadyExists);
        if to.exists() {
            return Err(JournalError::of_io(to, &there()));
        }
        let failed = |error: &std::io::Error| JournalError::of_io(to, error);
        let part = part_beside(to).map_err(|error| failed(&error))?;
        self.conn
            .execute("VACUUM INTO ?1", [part.path().to_string_lossy()])
            .map_err(|error| JournalError::of(to, error))?;
        // Looking at it leaves nothing beside it; then it gets its name.
        if let Some(copy) = Journal::open_existing(part.path())? {
            copy.check()?;
        }
        part.persist_noclobber(to)
            .map_err(|error| failed(&error.error))?;
        Ok(())
    }
}
