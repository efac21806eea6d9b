//! Files and folders that their owner alone may read, and files that appear under
//! their names only when they are whole.

use std::ffi::OsString;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

/// Makes a file, readable by its owner alone; one that is there is emptied.
///
/// # Errors
/// What the system says.
pub fn create_private_file(path: &Path) -> io::Result<File> {
    private().create(true).truncate(true).open(path)
}

/// Makes a file that must not be there yet, readable by its owner alone.
///
/// # Errors
/// What the system says; `AlreadyExists` when it is there.
pub fn create_new_private_file(path: &Path) -> io::Result<File> {
    private().create_new(true).open(path)
}

/// Makes a folder and those above it where they are not there, for its owner alone.
///
/// # Errors
/// What the system says.
pub fn create_private_folder(path: &Path) -> io::Result<()> {
    let mut builder = fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(path)
}

/// A new file beside `path`, readable by its owner alone, whose name ends in `.part`. It
/// is removed unless it is persisted, which puts it under its name.
///
/// # Errors
/// `path` names no file, or what the system says.
pub fn part_beside(path: &Path) -> io::Result<NamedTempFile> {
    let name = path.file_name();
    let name = name.ok_or_else(|| io::Error::other("it is no name of a file"))?;
    let mut start = OsString::from(".");
    start.push(name);
    start.push(".");
    tempfile::Builder::new()
        .prefix(&start)
        .suffix(".part")
        .tempfile_in(folder_of(path))
}

/// Puts `bytes` in place of the file at `path`, readable by its owner alone.
/// Whatever happens, the file afterwards holds the old bytes or all the new.
///
/// # Errors
/// What the system says; the old file is then still there.
pub fn write_private_file(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut part = part_beside(path)?;
    part.write_all(bytes)?;
    part.as_file().sync_all()?;
    part.persist(path)?;
    Ok(())
}

/// Whether two names are one file, there already or still to be made.
pub fn is_same_file(a: &Path, b: &Path) -> bool {
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        if let (Ok(a), Ok(b)) = (fs::metadata(a), fs::metadata(b)) {
            return a.dev() == b.dev() && a.ino() == b.ino();
        }
    }
    let whole = |path: &Path| -> Option<PathBuf> {
        let there = fs::canonicalize(path).ok();
        there.or_else(|| {
            let folder = fs::canonicalize(folder_of(path)).ok()?;
            Some(folder.join(path.file_name()?))
        })
    };
    a == b || whole(a).is_some_and(|a| whole(b) == Some(a))
}

/// The folder in which `path` lies.
fn folder_of(path: &Path) -> &Path {
    let folder = path.parent().filter(|f| !f.as_os_str().is_empty());
    folder.unwrap_or(Path::new("."))
}

fn private() -> OpenOptions {
    let mut options = OpenOptions::new();
    options.write(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_names_of_one_file() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        fs::write(at("a"), "a").unwrap();
        fs::write(at("b"), "b").unwrap();
        fs::hard_link(at("a"), at("c")).unwrap();
        assert!(is_same_file(&at("a"), &at("c")));
        assert!(is_same_file(&at("new"), &at("./new")));
        assert!(!is_same_file(&at("a"), &at("b")) && !is_same_file(&at("a"), &at("new")));
    }

    #[test]
    fn a_part_is_private_and_leaves_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let part = part_beside(&folder.path().join("table.csv")).unwrap();
        let name = part.path().file_name().unwrap().to_string_lossy();
        assert!(name.starts_with(".table.csv.") && name.ends_with(".part"));
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            let mode = part.as_file().metadata().unwrap().permissions().mode();
            assert_eq!(mode & 0o777, 0o600);
        }
        drop(part);
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
        assert!(part_beside(Path::new("/")).is_err());
    }
}
