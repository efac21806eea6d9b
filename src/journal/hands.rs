//! What is known of each hand's delay: `hands.json` in the home folder, a JSON
//! object from the device's name to its key path.

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, ErrorKind};
use std::path::PathBuf;

use thiserror::Error;

use super::home::{Home, HomeError};
use crate::hand::{KeyPath, Source};
use crate::system::files::write_private_file;

/// Key paths by [`Source::name`].
pub type KnownHands = BTreeMap<String, KeyPath>;

/// What can be wrong with `hands.json`.
#[derive(Debug, Error)]
pub enum HandsError {
    /// The home folder cannot be made.
    #[error(transparent)]
    Home(#[from] HomeError),
    /// The file cannot be read.
    #[error("{} cannot be read: {source}. Make it readable for yourself, or remove it and measure again: marklag check hands", .path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// The file is no such object.
    #[error("{} is damaged ({why}). Remove it and measure again: marklag check hands", .path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// Where it breaks.
        why: String,
    },
    /// The file cannot be written.
    #[error("{} cannot be written: {source}. The old one is still there", .path.display())]
    Unwritable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
}

/// The key paths that were measured; none when the file is not there.
///
/// # Errors
/// The file, and what is wrong with it.
pub fn read(home: &Home) -> Result<KnownHands, HandsError> {
    let path = home.hands_file();
    let text = match fs::read_to_string(&path) {
        Ok(text) => text,
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(KnownHands::new()),
        Err(source) => return Err(HandsError::Unreadable { path, source }),
    };
    let hands: KnownHands = serde_json::from_str(&text).map_err(|e| HandsError::Damaged {
        path: path.clone(),
        why: e.to_string(),
    })?;
    match hands.iter().find(|(_, hand)| !hand.is_usable()) {
        Some((name, _)) => Err(HandsError::Damaged {
            why: format!("the delay of \"{name}\" cannot be"),
            path,
        }),
        None => Ok(hands),
    }
}

/// The measured path of one device; `None` where it was never measured.
///
/// # Errors
/// As for [`read`].
pub fn of(home: &Home, hand: &Source) -> Result<Option<KeyPath>, HandsError> {
    Ok(read(home)?.get(hand.name()).copied())
}

/// Keeps the key path of one device beside those of the others.
///
/// # Errors
/// As for [`read`], and when it cannot be written; the old file is then there.
pub fn keep(home: &Home, hand: &Source, key_path: KeyPath) -> Result<(), HandsError> {
    let mut hands = read(home)?;
    hands.insert(hand.name().to_owned(), key_path);
    home.create()?;
    let path = home.hands_file();
    serde_json::to_string_pretty(&hands)
        .map_err(io::Error::from)
        .and_then(|text| write_private_file(&path, text.as_bytes()))
        .map_err(|source| HandsError::Unwritable { path, source })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn path(delay_ms: f64) -> KeyPath {
        KeyPath {
            delay_ms,
            jitter_ms: 1.5,
            taps: 19,
        }
    }

    #[test]
    fn each_device_keeps_its_own_and_a_new_one_takes_the_old_ones_place() {
        let folder = tempfile::tempdir().unwrap();
        let home = Home::at(folder.path().join("new"));
        assert!(read(&home).unwrap().is_empty());
        let pedal = Source::Device("Foot pedal".into());
        keep(&home, &Source::Terminal, path(31.25)).unwrap();
        keep(&home, &pedal, path(9.0)).unwrap();
        keep(&home, &pedal, path(8.0)).unwrap();
        let hands = read(&home).unwrap();
        assert_eq!(hands.len(), 2);
        assert_eq!(hands["terminal keys"], path(31.25));
        assert_eq!(hands["Foot pedal"], path(8.0));
        assert_eq!(of(&home, &pedal).unwrap(), Some(path(8.0)));
        assert_eq!(of(&home, &Source::Device("Other".into())).unwrap(), None);
    }

    #[test]
    fn a_damaged_file_is_named_and_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        let home = Home::at(folder.path());
        for text in [
            "{",
            "[]",
            r#"{"terminal keys": {"delay_ms": 3, "jitter_ms": -1, "taps": 20}}"#,
        ] {
            fs::write(home.hands_file(), text).unwrap();
            for error in [
                read(&home).unwrap_err(),
                keep(&home, &Source::Terminal, path(1.0)).unwrap_err(),
            ] {
                let words = error.to_string();
                assert!(words.contains("hands.json is damaged") && words.contains("check hands"));
            }
            assert_eq!(fs::read_to_string(home.hands_file()).unwrap(), text);
        }
    }
}
