//! The home folder: where the journal, the taught sounds, the settings and the
//! kept sound live, and who may read them.

use std::io;
use std::path::{Path, PathBuf};

use thiserror::Error;

use crate::system::files::create_private_folder;

/// The longest name a taught sound may have, in characters.
pub const NAME_MAX_CHARS: usize = 40;

/// What can be wrong with the home folder; each sentence names the path and the
/// way out.
#[derive(Debug, Error)]
pub enum HomeError {
    /// No place is known.
    #[error(
        "there is no place for the home folder: HOME is not set to a full path. Say where with --home FOLDER or MARKLAG_HOME=FOLDER"
    )]
    Nowhere,
    /// The path is a file.
    #[error(
        "{} is not a folder, so it cannot be the home folder. Move it away, or choose another with --home FOLDER", .path.display()
    )]
    NotAFolder {
        /// What was to be the home folder, or a part of it.
        path: PathBuf,
    },
    /// The folder cannot be made or written.
    #[error(
        "{} cannot be written: {source}. Make it writable for yourself (it should belong to you), or choose another with --home FOLDER", .path.display()
    )]
    Unwritable {
        /// The folder or file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// A name that cannot be a file name everywhere.
    #[error("{name:?} cannot be a name: {why}")]
    BadName {
        /// The name as given.
        name: String,
        /// What is wrong with it.
        why: &'static str,
    },
}

/// The home folder. Knowing it touches nothing; [`Home::create`] makes it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Home {
    folder: PathBuf,
}

impl Home {
    /// The home folder for this run: `--home` beats `MARKLAG_HOME` beats
    /// `XDG_DATA_HOME/marklag` beats `~/.local/share/marklag`.
    ///
    /// # Errors
    /// [`HomeError::Nowhere`] when none of them is set.
    pub fn find(flag: Option<&Path>) -> Result<Self, HomeError> {
        Self::choose(flag, |name| std::env::var_os(name).map(PathBuf::from))
    }

    /// [`Home::find`] with the environment as a function.
    ///
    /// # Errors
    /// [`HomeError::Nowhere`] when none of them is set.
    pub fn choose(
        flag: Option<&Path>,
        variable: impl Fn(&str) -> Option<PathBuf>,
    ) -> Result<Self, HomeError> {
        let set = |name: &str| variable(name).filter(|value| !value.as_os_str().is_empty());
        // The XDG Base Directory Specification (0.8): a relative path in its
        // variables is invalid and is to be ignored.
        let full = |name: &str| set(name).filter(|value| value.is_absolute());
        let folder = flag
            .filter(|path| !path.as_os_str().is_empty())
            .map(Path::to_path_buf)
            .or_else(|| set("MARKLAG_HOME"))
            .or_else(|| full("XDG_DATA_HOME").map(|data| data.join("marklag")))
            .or_else(|| {
                full("HOME")
                    .or_else(|| full("USERPROFILE"))
                    .map(|user| user.join(".local/share/marklag"))
            })
            .ok_or(HomeError::Nowhere)?;
        Ok(Self { folder })
    }

    /// A home folder at a known place.
    pub fn at(folder: impl Into<PathBuf>) -> Self {
        Self {
            folder: folder.into(),
        }
    }

    /// The folder itself.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The SQLite file.
    pub fn journal_file(&self) -> PathBuf {
        self.folder.join("journal.sqlite")
    }

    /// The settings, written by the user.
    pub fn settings_file(&self) -> PathBuf {
        self.folder.join("settings.toml")
    }

    /// What is known of each hand's delay.
    pub fn hands_file(&self) -> PathBuf {
        self.folder.join("hands.json")
    }

    /// The profiles of taught sounds.
    pub fn bridges_folder(&self) -> PathBuf {
        self.folder.join("bridges")
    }

    /// The profile of the taught sound `name`.
    ///
    /// # Errors
    /// [`HomeError::BadName`] for a name that is not safe as a file name.
    pub fn bridge_file(&self, name: &str) -> Result<PathBuf, HomeError> {
        check_name(name)?;
        Ok(self.bridges_folder().join(format!("{name}.json")))
    }

    /// Sound kept on request.
    pub fn sounds_folder(&self) -> PathBuf {
        self.folder.join("sounds")
    }

    /// Makes the home folder and the folders in it where they are missing,
    /// readable by their owner alone.
    ///
    /// # Errors
    /// The path that is not a folder or cannot be made.
    pub fn create(&self) -> Result<(), HomeError> {
        create_folder(&self.folder)?;
        create_folder(&self.bridges_folder())?;
        create_folder(&self.sounds_folder())
    }
}

/// Whether `name` may name a taught sound: one line of at most
/// [`NAME_MAX_CHARS`] characters that is a plain file name on every system.
///
/// # Errors
/// [`HomeError::BadName`] saying which rule is broken.
pub fn check_name(name: &str) -> Result<(), HomeError> {
    let why = if name.trim().is_empty() {
        "it is empty"
    } else if name.chars().count() > NAME_MAX_CHARS {
        "it is longer than 40 characters"
    } else if name.chars().any(char::is_control) {
        "it holds a line break or another control character"
    } else if name.contains(['/', '\\', ':', '*', '?', '"', '<', '>', '|']) {
        "it holds one of / \\ : * ? \" < > |"
    } else if name.starts_with(['.', '-']) {
        "it begins with a dot or a dash"
    } else if name.trim() != name || name.ends_with('.') {
        "it begins or ends with a space or ends with a dot"
    } else {
        return Ok(());
    };
    Err(HomeError::BadName {
        name: name.to_owned(),
        why,
    })
}

fn create_folder(path: &Path) -> Result<(), HomeError> {
    if path.is_dir() {
        return Ok(());
    }
    create_private_folder(path).map_err(|source| {
        let file = path
            .ancestors()
            .find(|part| part.exists() && !part.is_dir());
        match file {
            Some(file) => HomeError::NotAFolder {
                path: file.to_path_buf(),
            },
            None => HomeError::Unwritable {
                path: path.to_path_buf(),
                source,
            },
        }
    })
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;
    use crate::system::files::write_private_file;

    fn chosen(flag: Option<&str>, variables: &[(&str, &str)]) -> Option<String> {
        Home::choose(flag.map(Path::new), |name| {
            let found = variables.iter().find(|(known, _)| *known == name);
            found.map(|(_, value)| PathBuf::from(value))
        })
        .ok()
        .map(|home| home.folder().to_str().unwrap().to_owned())
    }

    #[test]
    fn the_nearer_word_wins() {
        let all = [
            ("MARKLAG_HOME", "/m"),
            ("XDG_DATA_HOME", "/x"),
            ("HOME", "/h"),
        ];
        assert_eq!(chosen(Some("/f"), &all).unwrap(), "/f");
        assert_eq!(chosen(None, &all).unwrap(), "/m");
        assert_eq!(chosen(None, &all[1..]).unwrap(), "/x/marklag");
        assert_eq!(chosen(None, &all[2..]).unwrap(), "/h/.local/share/marklag");
        assert_eq!(chosen(None, &[]), None);
    }

    #[test]
    fn empty_and_relative_variables_do_not_count() {
        let user = ("HOME", "/h");
        let expected = "/h/.local/share/marklag";
        for odd in [
            ("XDG_DATA_HOME", ""),
            ("XDG_DATA_HOME", "data"),
            ("MARKLAG_HOME", ""),
        ] {
            assert_eq!(chosen(None, &[odd, user]).unwrap(), expected, "{odd:?}");
        }
        assert_eq!(chosen(None, &[("HOME", "here")]), None);
        assert_eq!(chosen(Some("rel"), &[user]).unwrap(), "rel");
    }

    #[test]
    fn names_are_plain_file_names() {
        let longest = "é".repeat(NAME_MAX_CHARS);
        for good in ["box", "my clicker", "klick-2", "звук", "a.b", &longest] {
            assert!(check_name(good).is_ok(), "{good:?}");
        }
        let long = "é".repeat(NAME_MAX_CHARS + 1);
        for bad in [
            "", " ", "a/b", "a\\b", "..", ".hidden", "-x", "a ", " a", "a.", "a\nb", "a\0b", "c:d",
            &long,
        ] {
            let error = check_name(bad).unwrap_err().to_string();
            assert!(error.contains("cannot be a name"), "{error}");
        }
        let home = Home::at("/h");
        assert!(home.bridge_file("../../etc/passwd").is_err());
        let file = home.bridge_file("box").unwrap();
        assert_eq!(file, Path::new("/h/bridges/box.json"));
    }

    #[test]
    fn a_file_in_the_way_is_named() {
        let scratch = tempfile::tempdir().unwrap();
        let file = scratch.path().join("letter");
        fs::write(&file, "hello").unwrap();
        for place in [file.clone(), file.join("below")] {
            let error = Home::at(place).create().unwrap_err();
            assert!(
                matches!(&error, HomeError::NotAFolder { path } if *path == file),
                "{error}"
            );
            assert!(error.to_string().contains("--home"), "{error}");
        }
        assert_eq!(fs::read_to_string(&file).unwrap(), "hello");
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn a_place_that_cannot_be_written_is_named() {
        // Not even root can make a folder in /proc.
        let error = Home::at("/proc/marklag").create().unwrap_err();
        assert!(matches!(error, HomeError::Unwritable { .. }), "{error}");
        let words = error.to_string();
        assert!(
            words.contains("/proc/marklag") && words.contains("--home"),
            "{words}"
        );
    }

    #[cfg(unix)]
    #[test]
    fn other_users_can_read_nothing() {
        use std::os::unix::fs::PermissionsExt;
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
        let scratch = tempfile::tempdir().unwrap();
        let home = Home::at(scratch.path().join("a/b"));
        home.create().unwrap();
        home.create().unwrap();
        for folder in [home.folder(), &home.bridges_folder(), &home.sounds_folder()] {
            assert_eq!(mode(folder), 0o700, "{}", folder.display());
        }
        let profile = home.bridge_file("box").unwrap();
        write_private_file(&profile, b"one").unwrap();
        write_private_file(&profile, b"two").unwrap();
        assert_eq!(fs::read(&profile).unwrap(), b"two");
        assert_eq!(mode(&profile), 0o600);
        let names = fs::read_dir(home.bridges_folder()).unwrap().count();
        assert_eq!(names, 1, "no part file is left");
    }

    #[test]
    fn a_write_that_fails_leaves_the_old_file() {
        let scratch = tempfile::tempdir().unwrap();
        let folder = scratch.path().join("in the way");
        fs::create_dir_all(folder.join("full")).unwrap();
        assert!(write_private_file(&folder, b"x").is_err());
        assert_eq!(fs::read_dir(scratch.path()).unwrap().count(), 1);
    }
}
