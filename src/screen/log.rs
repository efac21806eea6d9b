//! The log: a file in the home folder, since a full screen leaves no room for
//! what goes on behind it.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use crate::sound::monotonic::mono_ns;

/// A log longer than this is begun anew, in bytes.
const LONGEST: u64 = 1_000_000;

/// The log file. Where it cannot be written nothing is logged: a drill does not
/// fail for want of a log.
#[derive(Debug)]
pub struct Log {
    path: PathBuf,
    file: Option<File>,
}

impl Log {
    /// Opens `marklag.log` in a folder, readable by its owner alone.
    pub fn open(folder: &Path) -> Self {
        let path = folder.join("marklag.log");
        let file = open(&path).ok();
        Self { path, file }
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The file, where there is one.
    pub fn file(&self) -> Option<&File> {
        self.file.as_ref()
    }

    /// Adds a line, with the monotonic clock's milliseconds before it.
    pub fn line(&self, words: &str) {
        if let Some(mut file) = self.file.as_ref() {
            let ms = mono_ns() as f64 * 1e-6;
            let _ = writeln!(file, "{ms:.3} {words}");
        }
    }
}

fn open(path: &Path) -> io::Result<File> {
    if fs::metadata(path).is_ok_and(|m| m.len() > LONGEST) {
        fs::remove_file(path)?;
    }
    let mut options = OpenOptions::new();
    options.create(true).append(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_added_and_a_long_log_begins_anew() {
        let scratch = tempfile::tempdir().unwrap();
        for words in ["one", "two"] {
            Log::open(scratch.path()).line(words);
        }
        let path = scratch.path().join("marklag.log");
        let text = fs::read_to_string(&path).unwrap();
        assert_eq!(text.lines().count(), 2, "{text}");
        assert!(text.lines().all(|l| l.split_once(' ').is_some()), "{text}");
        fs::write(&path, vec![b'x'; LONGEST as usize + 1]).unwrap();
        Log::open(scratch.path()).line("three");
        assert!(fs::read_to_string(&path).unwrap().ends_with(" three\n"));
        assert!(fs::metadata(&path).unwrap().len() < 100);
    }

    #[test]
    fn no_folder_is_no_error() {
        let log = Log::open(Path::new("/nowhere/at/all"));
        log.line("unheard");
        assert!(log.file().is_none());
    }
}
