//! A file to be written: its place is tried before the work begins, and it
//! appears under its name only when it is whole. A new one is its owner's alone; one
//! that is replaced keeps its permissions.

use std::fs::{self, File, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::bail;

use super::trouble::cannot_write;
use crate::journal::create_new_private_file;

/// Where a result goes.
pub(super) enum Target {
    /// The terminal, or whatever standard output is.
    Stdout,
    /// A file that is put under its name when it is whole.
    Whole {
        /// The name that was given, with links followed.
        path: PathBuf,
        /// What is written to meanwhile.
        partial: Partial,
    },
    /// A device or a pipe: it cannot be replaced, only written to.
    Stream {
        /// The name that was given.
        path: PathBuf,
        /// It, open.
        file: File,
    },
}

/// A folder for results, made where it is not there, for its owner alone.
pub(super) fn results_folder(path: &Path) -> std::io::Result<()> {
    let mut builder = fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(path)
}

/// A file under a temporary name, taken away unless it was renamed.
pub(super) struct Partial {
    path: PathBuf,
    file: Option<File>,
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
        let partial = Partial::beside(&path)?;
        if let (Some(there), Some(file)) = (there, &partial.file) {
            file.set_permissions(there.permissions())
                .map_err(|e| cannot_write(&path, &e))?;
        }
        Ok(Self::Whole { path, partial })
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
            Self::Whole { path, mut partial } => partial
                .put(bytes, &path)
                .map_err(|e| cannot_write(&path, &e)),
        }
    }
}

impl Partial {
    fn beside(path: &Path) -> anyhow::Result<Self> {
        let Some(name) = path.file_name() else {
            bail!("{} is no name of a file", path.display());
        };
        let name = format!(".{}.{}.part", name.to_string_lossy(), std::process::id());
        let beside = path.with_file_name(name);
        let file = create_new_private_file(&beside).map_err(|e| cannot_write(path, &e))?;
        Ok(Self {
            path: beside,
            file: Some(file),
        })
    }

    fn put(&mut self, bytes: &[u8], path: &Path) -> std::io::Result<()> {
        if let Some(mut file) = self.file.take() {
            file.write_all(bytes)?;
            file.sync_all()?;
        }
        fs::rename(&self.path, path)
    }
}

impl Drop for Partial {
    fn drop(&mut self) {
        // After the rename there is nothing under this name.
        let _ = fs::remove_file(&self.path);
    }
}
