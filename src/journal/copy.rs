//! A copy of the journal as it is at one instant.

use std::path::Path;

use super::error::JournalError;
use super::home::create_new_private_file;
use super::open::{Journal, beside};

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
        let part = beside(to, ".part");
        create_new_private_file(&part).map_err(|error| JournalError::of_io(&part, &error))?;
        let copied = self
            .conn
            .execute("VACUUM INTO ?1", [part.to_string_lossy()])
            .map_err(|error| JournalError::of(to, error))
            .and_then(|_| match Journal::open_existing(&part)? {
                Some(copy) => copy.check(),
                None => Ok(()),
            })
            .and_then(|()| {
                // Looking at it leaves nothing beside it; then it gets its name.
                std::fs::rename(&part, to).map_err(|error| JournalError::of_io(to, &error))
            });
        if copied.is_err() {
            // Half a copy is of no use; the first error is the one to tell.
            let _ = std::fs::remove_file(&part);
        }
        copied
    }
}
