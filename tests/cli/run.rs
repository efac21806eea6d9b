//! Running the program in a home folder of its own.

use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;
use tempfile::TempDir;

/// The drill and the clicks that the project's fixtures hold.
pub fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(name)
}

pub fn drill() -> PathBuf {
    fixture("tilda-drill.wav")
}

pub fn clicks() -> PathBuf {
    fixture("tilda-clicks.wav")
}

/// What a run gave.
#[derive(Debug)]
pub struct Ran {
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
}

impl From<Output> for Ran {
    fn from(output: Output) -> Self {
        Self {
            code: output.status.code(),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }
}

impl Ran {
    /// It went well; gives what it wrote.
    #[track_caller]
    pub fn well(self) -> String {
        assert_eq!(self.code, Some(0), "{self:#?}");
        self.out
    }

    /// It ended with `code`, wrote no result, and one line that holds `parts`,
    /// each word of the system at most once.
    #[track_caller]
    pub fn fails(self, code: i32, parts: &[&str]) {
        assert_eq!(self.code, Some(code), "{self:#?}");
        assert!(!self.err.contains("panicked"), "{self:#?}");
        assert_eq!(self.out, "", "{self:#?}");
        let problems: Vec<&str> = self
            .err
            .lines()
            .filter(|line| line.starts_with("marklag: ") || line.starts_with("error: "))
            .collect();
        assert_eq!(problems.len(), 1, "{self:#?}");
        for part in parts {
            assert!(self.err.contains(part), "no {part:?} in {self:#?}");
        }
        assert!(self.err.matches("(os error").count() <= 1, "{self:#?}");
        for sentence in self.err.split([':', '.', ';']).map(str::trim) {
            if sentence.split_whitespace().count() >= 3 {
                assert_eq!(
                    self.err.matches(sentence).count(),
                    1,
                    "said twice: {sentence:?} in {self:#?}"
                );
            }
        }
    }
}

/// A folder to work in, with a home folder inside it.
pub struct Place {
    pub folder: TempDir,
}

impl Place {
    pub fn new() -> Self {
        Self {
            folder: tempfile::tempdir().unwrap(),
        }
    }

    /// A place where Tilda's clicker is taught.
    pub fn taught() -> Self {
        let place = Self::new();
        place
            .marklag(["teach", "click", "tilda", "--from"])
            .arg(clicks())
            .assert()
            .success();
        place
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn home(&self) -> PathBuf {
        self.path("home")
    }

    pub fn file(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path(name);
        std::fs::write(&path, bytes).unwrap();
        path
    }

    /// The names in the folder, so that nothing half made is left.
    pub fn names(&self) -> Vec<String> {
        let mut names: Vec<String> = std::fs::read_dir(self.folder.path())
            .unwrap()
            .map(|e| e.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    /// The program, at home in this place.
    pub fn marklag<I: IntoIterator<Item = S>, S: AsRef<std::ffi::OsStr>>(
        &self,
        args: I,
    ) -> Command {
        let mut command = bare();
        command
            .env("MARKLAG_HOME", self.home())
            .current_dir(self.folder.path())
            .args(args);
        command
    }

    /// `marklag review FILE …`, run.
    pub fn review(&self, file: &Path, more: &[&str]) -> Ran {
        self.marklag(["review"]).arg(file).args(more).run()
    }
}

/// The program with no home but the user's, no colour, 80 columns.
pub fn bare() -> Command {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("marklag"));
    command.env_remove("MARKLAG_HOME").env("COLUMNS", "80");
    command
}

pub trait Run {
    fn run(&mut self) -> Ran;
}

impl Run for Command {
    fn run(&mut self) -> Ran {
        self.output().unwrap().into()
    }
}

/// Writes a WAV of floats, the channels interleaved.
pub fn write_floats(path: &Path, rate_hz: u32, channels: u16, samples: &[f32]) {
    let spec = hound::WavSpec {
        channels,
        sample_rate: rate_hz,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for sample in samples {
        writer.write_sample(*sample).unwrap();
    }
    writer.finalize().unwrap();
}

/// Writes a WAV of whole numbers of `bits`, full scale for ±1.
pub fn write_ints(path: &Path, rate_hz: u32, bits: u16, samples: &[f32]) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate_hz,
        bits_per_sample: bits,
        sample_format: hound::SampleFormat::Int,
    };
    let full = f64::from(2_u32.pow(u32::from(bits) - 1));
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for sample in samples {
        let value = (f64::from(*sample) * full).round().clamp(-full, full - 1.0);
        writer.write_sample(value as i32).unwrap();
    }
    writer.finalize().unwrap();
}
