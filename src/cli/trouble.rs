//! What went wrong, in one sentence: what the system says becomes what to do,
//! and nothing is said twice.

use std::fmt;
use std::io::{self, ErrorKind};
use std::path::Path;

/// The command line asks for what cannot be; exit code 2.
#[derive(Debug)]
pub(super) struct BadUsage(pub(super) String);

impl fmt::Display for BadUsage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for BadUsage {}

/// The system asked the program to end, by this signal; all is kept and nothing
/// is to be said.
#[derive(Debug)]
pub(super) struct Signalled(pub(super) i32);

impl fmt::Display for Signalled {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "ended by signal {}", self.0)
    }
}

impl std::error::Error for Signalled {}

/// The error and its causes as one sentence. Many errors tell their cause in
/// their own words: such a cause is not told again.
pub(super) fn sentence(error: &anyhow::Error) -> String {
    let mut told = String::new();
    for cause in error.chain() {
        let words = cause.to_string();
        if told.contains(&words) {
            continue;
        }
        if !told.is_empty() {
            told.push_str(": ");
        }
        told.push_str(&words);
    }
    without_numbers(&told)
}

/// The system's words without its numbers ("(os error 20)"), which help nobody here.
fn without_numbers(words: &str) -> String {
    let mut kept = String::new();
    let mut rest = words;
    while let Some((before, after)) = rest.split_once(" (os error ") {
        let number = after.trim_start_matches(|c: char| c.is_ascii_digit());
        kept.push_str(before);
        rest = number.strip_prefix(')').unwrap_or(number);
    }
    kept + rest
}

/// A file that cannot be written.
pub(super) fn cannot_write(path: &Path, error: &io::Error) -> anyhow::Error {
    let what_to_do = match error.kind() {
        ErrorKind::NotFound => {
            "its folder does not exist; make the folder or choose another".to_owned()
        }
        ErrorKind::NotADirectory => {
            "a part of its path is a file, not a folder; check the path".to_owned()
        }
        ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => {
            "you are not allowed to write there; choose another place".to_owned()
        }
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded => {
            "the disk is full; free some room or choose another place".to_owned()
        }
        ErrorKind::FileTooLarge => {
            "it grew larger than files may be here; choose another place".to_owned()
        }
        _ => format!("{error}; choose another place"),
    };
    anyhow::anyhow!("cannot write {}: {what_to_do}", path.display())
}

/// A file that cannot be read; `what` it was to give.
pub(super) fn cannot_read(what: &str, path: &Path, error: &io::Error) -> anyhow::Error {
    let what_to_do = match error.kind() {
        ErrorKind::NotFound => "there is no such file; check the name and the folder".to_owned(),
        ErrorKind::NotADirectory => {
            "a part of its path is a file, not a folder; check the path".to_owned()
        }
        ErrorKind::IsADirectory => "it is a folder; name a file in it".to_owned(),
        ErrorKind::PermissionDenied => {
            "you are not allowed to read it; change its permissions or copy it".to_owned()
        }
        _ => format!("{error}; check the path, or copy it elsewhere first"),
    };
    anyhow::anyhow!("cannot read {what} {}: {what_to_do}", path.display())
}

#[cfg(test)]
mod tests {
    use anyhow::Context;

    use super::*;

    #[derive(Debug, thiserror::Error)]
    #[error("barn.wav: reading failed ({source}).")]
    struct Told {
        source: io::Error,
    }

    #[test]
    fn the_systems_numbers_are_left_out() {
        let error = anyhow::anyhow!("barn.wav: Not a directory (os error 20). Try (again)");
        assert_eq!(sentence(&error), "barn.wav: Not a directory. Try (again)");
    }

    #[test]
    fn a_cause_that_was_told_is_not_told_again() {
        let told = || Told {
            source: io::Error::other("the card is gone"),
        };
        let error = anyhow::Error::from(told());
        assert_eq!(
            sentence(&error),
            "barn.wav: reading failed (the card is gone)."
        );
        let error = Err::<(), _>(told()).context("no drill").unwrap_err();
        assert_eq!(
            sentence(&error),
            "no drill: barn.wav: reading failed (the card is gone)."
        );
    }
}
