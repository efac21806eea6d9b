//! The paced microphone plays the fixtures' made-up drill, whose truth is known by
//! construction, to a live command in a terminal.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::thread::sleep;
use std::time::Duration;

use marklag::journal::{Home, Journal, StoredBout, StoredSession};
use marklag::sound::room::farm;

use crate::pty::Terminal;
use crate::rig::{PLAIN, Process, Server};

/// Seconds of hiss before the drill begins.
pub const LEAD_S: f64 = 3.0;

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(name)
}

pub struct Stage {
    server: Server,
    _mic: Process,
    pub t0_ns: i64,
    pub home: tempfile::TempDir,
}

impl Stage {
    pub fn new() -> Self {
        let home = tempfile::tempdir().unwrap();
        let taught = Command::new(env!("CARGO_BIN_EXE_marklag"))
            .args(["teach", "click", "tilda", "--from"])
            .arg(fixture("tilda-clicks.wav"))
            .env("MARKLAG_HOME", home.path())
            .output();
        assert!(taught.unwrap().status.success());
        let server = Server::with_pipe(PLAIN);
        let drill = fixture("tilda-drill.wav");
        let options = [format!("wav={}", drill.display()), format!("lead={LEAD_S}")];
        let (mic, t0_ns) = server.feed("mic", PLAIN, &options);
        Self {
            server,
            _mic: mic,
            t0_ns,
            home,
        }
    }

    /// A live command in a terminal of 80 by 24.
    pub fn start(&self, what: &str, options: &[&str]) -> Terminal {
        let mut command = Command::new(env!("CARGO_BIN_EXE_marklag"));
        command
            .arg(what)
            .args(options)
            .env("MARKLAG_HOME", self.home.path())
            .env("PULSE_SERVER", self.server.socket())
            .env("XDG_RUNTIME_DIR", self.server.dir.path().join("none"))
            .env("TERM", "xterm-256color")
            .env("LC_ALL", "C.UTF-8");
        Terminal::start(command, 80, 24)
    }

    pub fn kept(&self) -> StoredBout {
        let journal = self.journal();
        journal.read_bout(&journal.find("last").unwrap()).unwrap()
    }

    /// The session that was kept last.
    pub fn session(&self) -> StoredSession {
        let journal = self.journal();
        journal
            .read_session(&journal.find("last").unwrap())
            .unwrap()
    }

    pub fn journal(&self) -> Journal {
        Journal::open(&Home::at(self.home.path()).journal_file()).unwrap()
    }

    /// A command without a terminal, in the same home; gives what it wrote.
    pub fn run(&self, arguments: &[&str]) -> String {
        let output = Command::new(env!("CARGO_BIN_EXE_marklag"))
            .args(arguments)
            .env("MARKLAG_HOME", self.home.path())
            .output()
            .unwrap();
        assert!(output.status.success(), "{output:?}");
        String::from_utf8(output.stdout).unwrap()
    }

    pub fn log(&self) -> String {
        std::fs::read_to_string(self.home.path().join("marklag.log")).unwrap()
    }
}

/// The seconds of the WAV at which the ball hit the floor.
pub fn floors_s() -> Vec<f64> {
    let falls = farm::drill(7, 6).falls;
    falls.iter().map(|fall| fall.impacts_s[0]).collect()
}

/// The samples of the WAV at which the presses were put.
pub fn presses() -> Vec<u64> {
    farm::drill(7, 6).clicks.iter().map(|c| c.press).collect()
}

/// Waits until so many seconds of the microphone's sound were in the air.
pub fn wait_until(t0_ns: i64, seconds: f64) {
    let left_ns = t0_ns + (seconds * 1e9) as i64 - marklag::sound::monotonic::mono_ns();
    sleep(Duration::from_nanos(u64::try_from(left_ns).unwrap_or(0)));
}
