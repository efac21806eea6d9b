//! Starts and stops the parts of a live test: server, paced microphone, listener.

use crate::heard::Heard;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::thread::sleep;
use std::time::{Duration, Instant};
use tempfile::TempDir;

static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());

/// The tests measure time, so only one of them runs.
pub fn alone() -> MutexGuard<'static, ()> {
    ONE_AT_A_TIME.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A child that is ended with its owner.
pub struct Process(pub Child);

impl Drop for Process {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn example(name: &str) -> PathBuf {
    let deps = std::env::current_exe().unwrap();
    let path = deps
        .parent()
        .unwrap()
        .parent()
        .unwrap()
        .join("examples")
        .join(name);
    assert!(
        path.exists(),
        "run `cargo build --examples` first: {path:?} is not there"
    );
    path
}

fn script(name: &str) -> Command {
    let mut c = Command::new("bash");
    c.arg(
        Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("tests/live")
            .join(name),
    );
    c
}

/// A pipe source as the microphone.
#[derive(Clone, Copy)]
pub struct Source {
    pub rate: u32,
    pub channels: u16,
    pub format: &'static str,
}

pub const PLAIN: Source = Source {
    rate: 48_000,
    channels: 1,
    format: "s16le",
};

impl Source {
    /// The server module for a source called `name`.
    pub fn module(self, dir: &Path, name: &str) -> String {
        let Self {
            rate,
            channels,
            format,
        } = self;
        format!(
            "module-pipe-source source_name={name} file={}/{name}.fifo format={format} rate={rate} \
             channels={channels} source_properties=device.description=The_{name}",
            dir.display()
        )
    }
}

/// A sound server in a folder of its own.
pub struct Server {
    pub dir: TempDir,
    modules: Vec<String>,
}

impl Server {
    /// Starts a server with one pipe source called "mic".
    pub fn with_pipe(source: Source) -> Self {
        let dir = tempfile::tempdir().unwrap();
        let modules = vec![source.module(dir.path(), "mic")];
        Self::start(dir, modules)
    }

    pub fn start(dir: TempDir, modules: Vec<String>) -> Self {
        let server = Self { dir, modules };
        server.up();
        server
    }

    pub fn up(&self) {
        let done = script("start-server.sh")
            .arg(self.dir.path())
            .args(&self.modules)
            .status();
        assert!(done.unwrap().success());
    }

    pub fn down(&self, signal: &str) {
        script("stop-server.sh")
            .arg(self.dir.path())
            .arg(signal)
            .status()
            .unwrap();
    }

    pub fn socket(&self) -> String {
        format!("unix:{}/pulse.sock", self.dir.path().display())
    }

    pub fn pactl(&self, args: &[&str]) {
        let done = Command::new("pactl")
            .args(args)
            .env("PULSE_SERVER", self.socket())
            .status();
        assert!(done.unwrap().success(), "pactl {args:?}");
    }

    /// Feeds a pipe source; gives t0 in ns too.
    pub fn feed(&self, name: &str, source: Source, options: &[String]) -> (Process, i64) {
        feed_into(
            &self.dir.path().join(format!("{name}.fifo")),
            source,
            options,
        )
    }

    pub fn tap(&self, options: &[String]) -> Tap {
        Tap::start(
            self.dir.path(),
            &[("PULSE_SERVER", &self.socket())],
            options,
        )
    }

    /// As [`Server::tap`], with ALSA's way to the server hidden.
    pub fn tap_without_plugin(&self, options: &[String]) -> Tap {
        let conf = self.dir.path().join("alsa.conf");
        std::fs::write(&conf, "pcm.hw { type null }\n").unwrap();
        let env = [
            ("PULSE_SERVER", self.socket()),
            ("ALSA_CONFIG_PATH", conf.display().to_string()),
        ];
        let env: Vec<(&str, &str)> = env.iter().map(|(k, v)| (*k, v.as_str())).collect();
        Tap::start(self.dir.path(), &env, options)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.down("TERM");
    }
}

/// Starts a paced microphone into a FIFO; gives t0 in ns too.
pub fn feed_into(fifo: &Path, source: Source, options: &[String]) -> (Process, i64) {
    let out = fifo.with_extension("t0");
    let child = Command::new(example("pipemic"))
        .arg(fifo)
        .arg(format!("rate={}", source.rate))
        .arg(format!("channels={}", source.channels))
        .arg(format!("format={}", source.format))
        .args(options)
        .stdout(std::fs::File::create(&out).unwrap())
        .spawn()
        .unwrap();
    let child = Process(child);
    let end = Instant::now() + Duration::from_secs(5);
    loop {
        if let Ok(t0) = std::fs::read_to_string(&out).unwrap().trim().parse() {
            return (child, t0);
        }
        assert!(Instant::now() < end, "the paced microphone did not start");
        sleep(Duration::from_millis(5));
    }
}

/// A listener at work.
pub struct Tap {
    child: Process,
    dir: PathBuf,
}

impl Tap {
    pub fn start(dir: &Path, env: &[(&str, &str)], options: &[String]) -> Self {
        let file = |name: &str| std::fs::File::create(dir.join(name)).unwrap();
        let child = Command::new(example("mictap"))
            .args(options)
            .arg(format!("out={}", dir.join("heard.f32").display()))
            .env_remove("PULSE_SERVER")
            .env("XDG_RUNTIME_DIR", dir.join("none"))
            .envs(env.iter().copied())
            .stdin(Stdio::null())
            .stdout(file("heard.log"))
            .stderr(file("heard.err"))
            .spawn()
            .unwrap();
        Self {
            child: Process(child),
            dir: dir.to_owned(),
        }
    }

    pub fn signal(&self, signal: libc::c_int) {
        // SAFETY: the process is this test's own child and has not been waited for.
        assert_eq!(
            unsafe { libc::kill(self.child.0.id() as libc::pid_t, signal) },
            0
        );
    }

    /// Processor time used so far, in s (user and system).
    pub fn cpu_s(&self) -> f64 {
        let stat = std::fs::read_to_string(format!("/proc/{}/stat", self.child.0.id())).unwrap();
        let fields: Vec<&str> = stat
            .rsplit_once(')')
            .unwrap()
            .1
            .split_whitespace()
            .collect();
        let ticks: f64 = fields[11].parse::<f64>().unwrap() + fields[12].parse::<f64>().unwrap();
        // SAFETY: no pointers; always safe.
        ticks / unsafe { libc::sysconf(libc::_SC_CLK_TCK) } as f64
    }

    /// Waits for the end, at most `seconds`.
    pub fn finish(mut self, seconds: u64) -> Heard {
        let end = Instant::now() + Duration::from_secs(seconds);
        while self.child.0.try_wait().unwrap().is_none() {
            assert!(Instant::now() < end, "the listener did not end");
            sleep(Duration::from_millis(20));
        }
        Heard::read(&self.dir)
    }
}

/// Threads that do nothing but use processor time, until dropped.
pub struct Busy(std::sync::Arc<std::sync::atomic::AtomicBool>);

impl Busy {
    pub fn loops(count: usize) -> Self {
        let run = std::sync::Arc::new(std::sync::atomic::AtomicBool::new(true));
        for _ in 0..count {
            let run = std::sync::Arc::clone(&run);
            std::thread::spawn(move || {
                while run.load(std::sync::atomic::Ordering::Relaxed) {
                    std::hint::spin_loop();
                }
            });
        }
        Self(run)
    }
}

impl Drop for Busy {
    fn drop(&mut self) {
        self.0.store(false, std::sync::atomic::Ordering::Relaxed);
    }
}

/// Options for a child, as `key=value`.
pub fn with(options: &[(&str, f64)]) -> Vec<String> {
    options.iter().map(|(k, v)| format!("{k}={v}")).collect()
}
