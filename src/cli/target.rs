//! A file to be written: its place is tried before the work begins, and it
//! appears under its name only when it is whole. A new one is its owner's alone; one
//! that is replaced keeps its permissions.

use std::fs::{self, File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::bail;

use tempfile::NamedTempFile;

use super::trouble::cannot_write;
use crate::system::files::part_beside;

/// Where a result goes.
pub(super) enum Target {
    /// The terminal, or whatever standard output is.
    Stdout,
    /// A file that is put under its name when it is whole.
    Whole {
        /// The name that was given, with links followed.
        path: PathBuf,
        /// What is written to meanwhile.
        part: NamedTempFile,
    },
    /// A device or a pipe: it cannot be replaced, only written to.
    Stream {
        /// The name that was given.
        path: PathBuf,
        /// It, open.
        file: File,
    },
}

impl Target {
    /// Tries the place; `-` is standard output.
    pub(super) fn open(path: &Path) -> anyhow::Result<Self> {
        if path == Path::new("-") {
            return Ok(Self::Stdout);
        }
        let there = fs::metadata(path).ok();
        if there.as_ref().is_some_and(|m| m.is_dir()) {
            bail!(
                "{} is a folder; give the name of a file in it",
                path.display()
            );
        }
        let mut path = path.to_owned();
        if let Some(there) = &there {
            // Opened for the sake of its permissions; nothing is changed yet.
            let file = OpenOptions::new()
                .write(true)
                .open(&path)
                .map_err(|e| cannot_write(&path, &e))?;
            if !there.is_file() {
                return Ok(Self::Stream { path, file });
            }
            // A link stays a link: the file that it names is replaced.
            path = fs::canonicalize(&path).map_err(|e| cannot_write(&path, &e))?;
        }
        let part = part_beside(&path).map_err(|e| cannot_write(&path, &e))?;
        if let Some(there) = there {
            part.as_file()
                .set_permissions(there.permissions())
                .map_err(|e| cannot_write(&path, &e))?;
        }
        Ok(Self::Whole { path, part })
    }

    /// Whether this is standard output.
    pub(super) fn is_stdout(&self) -> bool {
        matches!(self, Self::Stdout)
    }

    /// Writes all of it; `out` is standard output.
    pub(super) fn write(self, bytes: &[u8], out: &mut dyn Write) -> anyhow::Result<()> {
        match self {
            Self::Stdout => Ok(out.write_all(bytes)?),
            Self::Stream { path, mut file } => {
                file.write_all(bytes).map_err(|e| cannot_write(&path, &e))
            }
            Self::Whole { path, mut part } => {
                let put = part
                    .write_all(bytes)
                    .and_then(|()| part.as_file().sync_all())
                    .and_then(|()| Ok(part.persist(&path)?));
                put.map(drop).map_err(|e| cannot_write(&path, &e))
            }
        }
    }
}
