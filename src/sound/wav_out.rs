//! Writing a WAV in a stream, readable after a kill: the header is brought up to
//! date every second of sound.

use std::fs::File;
use std::io::{self, BufWriter};
use std::path::Path;

use hound::{SampleFormat, WavSpec, WavWriter};
use thiserror::Error;

/// The kind of samples in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Depth {
    /// 16-bit integers.
    #[default]
    Int16,
    /// 24-bit integers.
    Int24,
    /// 32-bit floats.
    Float32,
}

/// The shape of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WavShape {
    /// Samples a second of each channel, in Hz; at least 1.
    pub sample_rate_hz: u32,
    /// Channels; at least 1.
    pub channels: u16,
    /// The kind of samples.
    pub depth: Depth,
}

/// Why sound cannot be kept.
#[derive(Debug, Error)]
pub enum WavOutError {
    /// The disk is full.
    #[error("{path}: the disk is full; the sound up to now is kept. Free some room.")]
    DiskFull {
        /// The file.
        path: String,
    },
    /// The format's end.
    #[error("{path}: a WAV file ends at 4 GB; the sound up to now is kept. Begin another file.")]
    TooLong {
        /// The file.
        path: String,
    },
    /// Anything else the system says.
    #[error("{path}: writing failed ({source}).")]
    Io {
        /// The file.
        path: String,
        /// What the system says.
        source: io::Error,
    },
    /// A shape no file can have.
    #[error("{path}: sound of {channels} channels at {sample_rate_hz} Hz cannot be written.")]
    Shape {
        /// The file.
        path: String,
        /// The asked channels.
        channels: u16,
        /// The asked rate, in Hz.
        sample_rate_hz: u32,
    },
}

/// A WAV that is being written.
pub struct WavOut {
    writer: WavWriter<BufWriter<File>>,
    path: String,
    shape: WavShape,
    /// Samples (of all channels) until the header is brought up to date.
    until_refresh: u64,
    /// Samples (of all channels) until the format's end.
    room: u64,
}

/// Room for the header, of whatever kind, below the 4 GB.
const HEADER_ROOM_BYTES: u64 = 1024;

impl WavOut {
    /// Begins a file; one that is there is replaced.
    pub fn create(path: &Path, shape: WavShape) -> Result<Self, WavOutError> {
        let path_name = path.to_string_lossy().into_owned();
        if shape.channels == 0 || shape.sample_rate_hz == 0 {
            return Err(WavOutError::Shape {
                path: path_name,
                channels: shape.channels,
                sample_rate_hz: shape.sample_rate_hz,
            });
        }
        let (bits_per_sample, sample_format) = match shape.depth {
            Depth::Int16 => (16, SampleFormat::Int),
            Depth::Int24 => (24, SampleFormat::Int),
            Depth::Float32 => (32, SampleFormat::Float),
        };
        let spec = WavSpec {
            channels: shape.channels,
            sample_rate: shape.sample_rate_hz,
            bits_per_sample,
            sample_format,
        };
        let writer = WavWriter::create(path, spec).map_err(|e| failed(&path_name, e))?;
        Ok(Self {
            writer,
            path: path_name,
            shape,
            until_refresh: samples_a_second(shape),
            room: (u64::from(u32::MAX) - HEADER_ROOM_BYTES) / u64::from(bits_per_sample / 8),
        })
    }

    /// Writes samples, −1 to 1 for full scale, the channels interleaved. Beyond
    /// full scale integers are clipped; NaN is written as 0.
    pub fn write(&mut self, samples: &[f32]) -> Result<(), WavOutError> {
        if samples.len() as u64 > self.room {
            return Err(WavOutError::TooLong {
                path: self.path.clone(),
            });
        }
        for &sample in samples {
            // Full scale is 2^(bits−1), as the readers take it; `as` clips and
            // turns NaN into 0.
            let written = match self.shape.depth {
                Depth::Int16 => self.writer.write_sample((sample * 32_768.0).round() as i16),
                Depth::Int24 => {
                    let whole = (sample * 8_388_608.0).round() as i32;
                    self.writer.write_sample(whole.clamp(-8_388_608, 8_388_607))
                }
                Depth::Float32 => {
                    self.writer
                        .write_sample(if sample.is_nan() { 0.0 } else { sample })
                }
            };
            written.map_err(|e| failed(&self.path, e))?;
        }
        self.room -= samples.len() as u64;
        self.until_refresh = self.until_refresh.saturating_sub(samples.len() as u64);
        if self.until_refresh == 0 {
            self.until_refresh = samples_a_second(self.shape);
            self.refresh()?;
        }
        Ok(())
    }

    /// Brings the header up to date and hands everything to the system: after
    /// this a kill loses nothing written before.
    pub fn refresh(&mut self) -> Result<(), WavOutError> {
        self.writer.flush().map_err(|e| failed(&self.path, e))
    }

    /// Samples of each channel written so far.
    pub fn len_samples(&self) -> u64 {
        u64::from(self.writer.duration())
    }

    /// Ends the file.
    pub fn finish(self) -> Result<(), WavOutError> {
        let Self { writer, path, .. } = self;
        writer.finalize().map_err(|e| failed(&path, e))
    }
}

fn samples_a_second(shape: WavShape) -> u64 {
    u64::from(shape.sample_rate_hz) * u64::from(shape.channels)
}

fn failed(path: &str, error: hound::Error) -> WavOutError {
    let path = path.to_owned();
    match error {
        hound::Error::IoError(e) if e.kind() == io::ErrorKind::StorageFull => {
            WavOutError::DiskFull { path }
        }
        hound::Error::IoError(source) => WavOutError::Io { path, source },
        other => WavOutError::Io {
            path,
            source: io::Error::other(other),
        },
    }
}
