//! A second process of this very test program: one of its ignored tests, run
//! alone, told by the environment what to do.

use std::path::Path;
use std::process::{Command, Stdio};

pub const JOB: &str = "MARKLAG_TEST_JOB";
pub const FILE: &str = "MARKLAG_TEST_FILE";

/// A command that runs the ignored test `name` of this program.
pub fn command(name: &str, file: &Path) -> Command {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command
        .args([
            "--ignored",
            "--exact",
            name,
            "--nocapture",
            "--test-threads=1",
        ])
        .env(JOB, name)
        .env(FILE, file)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

/// The file to work on, when this process is such a child.
pub fn file_for(name: &str) -> Option<std::path::PathBuf> {
    let job = std::env::var(JOB).ok()?;
    (job == name).then(|| std::env::var_os(FILE).unwrap().into())
}
