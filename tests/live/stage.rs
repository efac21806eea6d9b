//! The paced microphone plays the fixtures' made-up drill, whose truth is known by
//! construction, to a live command in a terminal.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::thread::sleep;
use std::time::Duration;

use marklag::journal::{Home, Journal, StoredBout, StoredSession};
use marklag::sound::room::{Scene, farm};

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
        Self::of(tempfile::tempdir().unwrap(), &fixture("tilda-drill.wav"))
    }

    /// Plays a made-up scene in the place of the drill.
    pub fn playing(scene: &Scene) -> Self {
        let home = tempfile::tempdir().unwrap();
        let wav = home.path().join("played.wav");
        write(scene, &wav);
        Self::of(home, &wav)
    }

    fn of(home: tempfile::TempDir, wav: &Path) -> Self {
        teach(
            home.path(),
            &["click", "tilda"],
            &fixture("tilda-clicks.wav"),
        );
        let server = Server::with_pipe(PLAIN);
        let options = [format!("wav={}", wav.display()), format!("lead={LEAD_S}")];
        let (mic, t0_ns) = server.feed("mic", PLAIN, &options);
        Self {
            server,
            _mic: mic,
            t0_ns,
            home,
        }
    }

    /// Teaches a word from a made-up lesson.
    pub fn teach_word(&self, name: &str, lesson: &Scene) {
        let wav = self.home.path().join("lesson.wav");
        write(lesson, &wav);
        teach(self.home.path(), &["word", name], &wav);
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

fn teach(home: &Path, what: &[&str], from: &Path) {
    let taught = Command::new(env!("CARGO_BIN_EXE_marklag"))
        .arg("teach")
        .args(what)
        .arg("--from")
        .arg(from)
        .env("MARKLAG_HOME", home)
        .output()
        .unwrap();
    assert!(taught.status.success(), "{taught:?}");
}

/// Writes a scene as a WAV of 16 bits, as the paced microphone reads it.
fn write(scene: &Scene, to: &Path) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: scene.rate_hz,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(to, spec).unwrap();
    for x in &scene.samples {
        let value = (x * 32_768.0).round().clamp(-32_768.0, 32_767.0);
        writer.write_sample(value as i16).unwrap();
    }
    writer.finalize().unwrap();
}

/// Processor time in s and resident memory in MB of a process.
pub fn cost(pid: u32) -> (f64, f64) {
    let stat = std::fs::read_to_string(format!("/proc/{pid}/stat")).unwrap();
    let fields: Vec<&str> = stat
        .rsplit_once(')')
        .unwrap()
        .1
        .split_whitespace()
        .collect();
    let ticks: f64 = fields[11].parse::<f64>().unwrap() + fields[12].parse::<f64>().unwrap();
    let status = std::fs::read_to_string(format!("/proc/{pid}/status")).unwrap();
    let kb = status
        .lines()
        .find_map(|l| l.strip_prefix("VmHWM:"))
        .unwrap();
    let kb: f64 = kb.trim().trim_end_matches(" kB").parse().unwrap();
    // SAFETY: no pointers; always safe.
    (
        ticks / unsafe { libc::sysconf(libc::_SC_CLK_TCK) } as f64,
        kb / 1024.0,
    )
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
