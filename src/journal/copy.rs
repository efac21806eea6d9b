//! A copy of the journal as it is at one instant.

use std::path::Path;

use super::error::JournalError;
use super::home::create_new_private_file;
use super::open::Journal;

impl Journal {
    /// Writes a whole, compact copy into a new file, readable by its owner
    /// alone, while other programs may go on writing; then checks the copy.
    /// Nothing is ever written over.
    ///
    /// # Errors
    /// The file is there already or cannot be written; the copy is then not left.
    pub fn backup(&self, to: &Path) -> Result<(), JournalError> {
        create_new_private_file(to).map_err(|error| JournalError::of_io(to, &error))?;
        let copied = self
            .conn
            .execute("VACUUM INTO ?1", [to.to_string_lossy()])
            .map_err(|error| JournalError::of(to, error))
            .and_then(|_| match Journal::open_existing(to)? {
                Some(copy) => copy.check(),
                None => Ok(()),
            });
        if copied.is_err() {
            // Half a copy is of no use; the first error is the one to tell.
            let _ = std::fs::remove_file(to);
        }
        copied
    }
}
