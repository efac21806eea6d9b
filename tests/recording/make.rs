//! Recordings made for the tests: a hiss with one impulse, written as WAV by
//! hound and turned into other formats by ffmpeg.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use marklag::sound::recording::{ChannelChoice, Recording, RecordingError};

/// A recording with one sample at 0.9 in silence.
pub struct Impulse {
    pub rate_hz: u32,
    pub channels: u16,
    pub len: usize,
    pub at: usize,
}

impl Impulse {
    /// Two seconds, the impulse at an odd place past the middle.
    pub fn new(rate_hz: u32, channels: u16) -> Self {
        Self {
            rate_hz,
            channels,
            len: rate_hz as usize * 2,
            at: rate_hz as usize + rate_hz as usize / 7 + 13,
        }
    }

    /// Writes it in every channel as a 16-bit WAV.
    pub fn write(&self, path: &Path) {
        let spec = hound::WavSpec {
            channels: self.channels,
            sample_rate: self.rate_hz,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut wav = hound::WavWriter::create(path, spec).unwrap();
        for n in 0..self.len {
            for _ in 0..self.channels {
                let sample = if n == self.at { 29_491_i16 } else { 0 };
                wav.write_sample(sample).unwrap();
            }
        }
        wav.finalize().unwrap();
    }
}

/// A hiss that rises and falls, with sharp clicks: something a codec keeps in
/// place and a cross-correlation finds. Deterministic.
pub fn clicks(rate_hz: u32, seconds: f64) -> Vec<f32> {
    let len = (f64::from(rate_hz) * seconds) as usize;
    let mut state = 12_345_u32;
    let mut out = Vec::with_capacity(len);
    for n in 0..len {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let noise = (state >> 8) as f32 / 8_388_608.0 - 1.0;
        let since_click = n % (rate_hz as usize / 3 + 7);
        let decay = (-(since_click as f32) / (rate_hz as f32 * 0.004)).exp();
        out.push(noise * (0.002 + 0.6 * decay));
    }
    out
}

pub fn write_mono(path: &Path, rate_hz: u32, samples: &[f32]) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate_hz,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(path, spec).unwrap();
    for &s in samples {
        wav.write_sample((s * 32_767.0) as i16).unwrap();
    }
    wav.finalize().unwrap();
}

/// Runs ffmpeg; fails the test with the way out where it is not installed.
pub fn ffmpeg(args: &[&str]) {
    let out = Command::new("ffmpeg")
        .args(["-hide_banner", "-loglevel", "error", "-y"])
        .args(args)
        .stdin(Stdio::null())
        .output()
        .expect("these tests make their recordings with ffmpeg: apt-get install ffmpeg");
    assert!(
        out.status.success(),
        "ffmpeg {args:?}: {}",
        String::from_utf8_lossy(&out.stderr)
    );
}

/// Converts with ffmpeg; gives the new file.
pub fn convert(from: &Path, to: PathBuf, args: &[&str]) -> PathBuf {
    let mut all = vec!["-i", from.to_str().unwrap()];
    all.extend_from_slice(args);
    all.push(to.to_str().unwrap());
    ffmpeg(&all);
    to
}

/// Reads all of a recording.
pub fn read(path: &Path, channel: ChannelChoice) -> Result<(Recording, Vec<f32>), RecordingError> {
    let mut recording = Recording::open(path, channel)?;
    let samples = drain(&mut recording)?;
    Ok((recording, samples))
}

pub fn drain(recording: &mut Recording) -> Result<Vec<f32>, RecordingError> {
    let mut samples = Vec::new();
    while let Some(block) = recording.next_block()? {
        assert!(!block.is_empty());
        samples.extend_from_slice(block);
    }
    Ok(samples)
}

pub fn error_of(path: &Path) -> RecordingError {
    match read(path, ChannelChoice::Mix) {
        Err(error) => error,
        Ok((recording, samples)) => panic!(
            "{}: read {} samples of {}",
            path.display(),
            samples.len(),
            recording.info().codec
        ),
    }
}

/// Where the largest magnitude lies.
pub fn peak_at(samples: &[f32]) -> usize {
    let mut best = 0;
    for (n, s) in samples.iter().enumerate() {
        if s.abs() > samples[best].abs() {
            best = n;
        }
    }
    best
}

/// The shift of `heard` against `truth` in samples (positive: later) with the
/// largest cross-correlation, within ±`reach`.
pub fn shift(truth: &[f32], heard: &[f32], reach: i64) -> i64 {
    let mut best = (f64::NEG_INFINITY, 0);
    for lag in -reach..=reach {
        let mut sum = 0.0;
        for (n, &t) in truth.iter().enumerate() {
            let Ok(at) = usize::try_from(n as i64 + lag) else {
                continue;
            };
            let Some(&h) = heard.get(at) else { break };
            sum += f64::from(t) * f64::from(h);
        }
        if sum > best.0 {
            best = (sum, lag);
        }
    }
    best.1
}
