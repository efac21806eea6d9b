//! A copy of a WAV with cue points, the standard markers that sound editors
//! show: the chunks `cue ` and `LIST adtl` with `labl` (IBM/Microsoft,
//! Multimedia Programming Interface and Data Specifications 1.0, 1991, chapter
//! 3, "WAVE").
//!
//! The sound is copied byte for byte, every other chunk too. Cue points that are
//! there already stay, with their labels, and the new ones follow: nobody's own
//! markers are lost. A point that is there already with the same label is not
//! written again.

use std::fs::{self, File};
use std::io::{self, BufWriter, Read, Seek, SeekFrom, Write};
use std::path::Path;

use thiserror::Error;

use super::riff::{ChunkHeader, LEN_UNKNOWN, read_as_much, u32_at};
use crate::system::files::{is_same_file, part_beside};

/// One cue point to write.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cue {
    /// Its place: samples (of each channel) from the first one.
    pub sample: u64,
    /// What a sound editor shows beside it.
    pub label: String,
}

/// Why a copy with cue points cannot be written.
#[derive(Debug, Error)]
pub enum CuesError {
    /// The source cannot be read.
    #[error("{path}: reading failed ({source}).")]
    Read {
        /// The recording.
        path: String,
        /// What the system says.
        source: io::Error,
    },
    /// The copy cannot be written.
    #[error("{path}: writing failed ({source}); nothing was left there.")]
    Write {
        /// The copy.
        path: String,
        /// What the system says.
        source: io::Error,
    },
    /// No room for the copy.
    #[error(
        "{path}: the disk is full; nothing was left there. Free as much room as the recording \
         takes, or choose another disk."
    )]
    DiskFull {
        /// The copy.
        path: String,
    },
    /// The source is no WAV.
    #[error(
        "{path} is not a WAV file, and only WAV files can hold cue points. Convert it to WAV \
         first, or write captions instead."
    )]
    NotWav {
        /// The recording.
        path: String,
    },
    /// More than a WAV with 32-bit lengths can hold.
    #[error(
        "{path} is too long for cue points: they are written into plain WAV files, which end at \
         4 GB. Split the recording first."
    )]
    TooLarge {
        /// The recording.
        path: String,
    },
    /// The copy would overwrite the recording.
    #[error("{path} is the recording itself. Give the copy with cue points another name.")]
    SameFile {
        /// The copy.
        path: String,
    },
}

/// Whether `src` is a WAV that can be copied to `dst` with cue points; to be told
/// before the work that finds them. Writes nothing.
pub fn check_copy(src: &Path, dst: &Path) -> Result<(), CuesError> {
    if is_same_file(src, dst) {
        let path = dst.to_string_lossy().into_owned();
        return Err(CuesError::SameFile { path });
    }
    if fs::metadata(dst).is_ok_and(|there| !there.is_file()) {
        // A rename would put a file in place of the device.
        return Err(CuesError::Write {
            path: dst.to_string_lossy().into_owned(),
            source: io::Error::other("it is no plain file"),
        });
    }
    Plan::read(src, &[]).map(|_| ())
}

/// Writes a copy of the WAV `src` with `cues` to `dst`, which is replaced if it
/// is there. The copy appears under its name only when it is whole.
pub fn write_cues(src: &Path, dst: &Path, cues: &[Cue]) -> Result<(), CuesError> {
    check_copy(src, dst)?;
    let dst_name = dst.to_string_lossy().into_owned();
    let write_failed = |source: io::Error| match source.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded | io::ErrorKind::FileTooLarge => {
            CuesError::DiskFull {
                path: dst_name.clone(),
            }
        }
        _ => CuesError::Write {
            path: dst_name.clone(),
            source,
        },
    };
    let mut from = Plan::read(src, cues)?;
    let part = part_beside(dst).map_err(write_failed)?;
    let mut file = BufWriter::new(part.as_file());
    from.write(&mut file).map_err(|e| match e {
        CopyError::Read(source) => read_failed(src, source),
        CopyError::Write(source) => write_failed(source),
    })?;
    file.flush().map_err(write_failed)?;
    drop(file);
    part.as_file().sync_all().map_err(write_failed)?;
    part.persist(dst).map_err(|e| write_failed(e.error))?;
    Ok(())
}

fn read_failed(src: &Path, source: io::Error) -> CuesError {
    CuesError::Read {
        path: src.to_string_lossy().into_owned(),
        source,
    }
}

/// More bytes of markers than this are no markers.
const MAX_MARKER_BYTES: u32 = 16 * 1024 * 1024;

/// A chunk to copy as it is.
struct Kept {
    header: ChunkHeader,
    at_byte: u64,
}

/// What the copy will hold, from a first walk over the source.
struct Plan {
    from: File,
    riff_len: u32,
    kept: Vec<Kept>,
    /// Content of the `cue ` chunk.
    cue: Vec<u8>,
    /// Content of the `LIST adtl` chunk, with its type.
    adtl: Vec<u8>,
}

enum CopyError {
    Read(io::Error),
    Write(io::Error),
}

impl Plan {
    fn read(src: &Path, cues: &[Cue]) -> Result<Self, CuesError> {
        let path = || src.to_string_lossy().into_owned();
        let io = |e| read_failed(src, e);
        let mut from = File::open(src).map_err(io)?;
        let file_len = from.metadata().map_err(io)?.len();
        let riff = ChunkHeader::read(&mut from).map_err(io)?;
        let mut form = [0_u8; 4];
        read_as_much(&mut from, &mut form).map_err(io)?;
        match riff.map(|r| r.id) {
            Some(id) if &form == b"WAVE" && &id == b"RIFF" => {}
            Some(id) if &form == b"WAVE" && (&id == b"RF64" || &id == b"BW64") => {
                return Err(CuesError::TooLarge { path: path() });
            }
            _ => return Err(CuesError::NotWav { path: path() }),
        }

        let mut kept = Vec::new();
        let mut markers = Markers::default();
        let mut at_byte = 12;
        while let Some(mut header) = ChunkHeader::read(&mut from).map_err(io)? {
            at_byte += 8;
            let left = file_len.saturating_sub(at_byte);
            let is_unfinished = &header.id == b"data" && matches!(header.len, 0 | LEN_UNKNOWN);
            if is_unfinished || u64::from(header.len) > left {
                // A recorder that was killed, a stream or a cut file: the copy
                // gets the true length.
                header.len =
                    u32::try_from(left).map_err(|_| CuesError::TooLarge { path: path() })?;
            }
            let is_marker = markers.take(header, &mut from).map_err(io)?;
            if !is_marker {
                kept.push(Kept { header, at_byte });
            }
            at_byte += header.padded_len();
            from.seek(SeekFrom::Start(at_byte)).map_err(io)?;
        }
        if !kept.iter().any(|k| &k.header.id == b"data") {
            return Err(CuesError::NotWav { path: path() });
        }
        let too_large = || CuesError::TooLarge { path: path() };
        markers.add(cues).ok_or_else(too_large)?;
        let (cue, adtl) = markers.into_chunks().ok_or_else(too_large)?;
        let chunk_len = |len: usize| 8 + len as u64 + (len % 2) as u64;
        let riff_len = 4
            + kept.iter().map(|k| 8 + k.header.padded_len()).sum::<u64>()
            + chunk_len(cue.len())
            + chunk_len(adtl.len());
        Ok(Self {
            from,
            riff_len: u32::try_from(riff_len).map_err(|_| too_large())?,
            kept,
            cue,
            adtl,
        })
    }

    fn write(&mut self, to: &mut impl Write) -> Result<(), CopyError> {
        let riff = ChunkHeader {
            id: *b"RIFF",
            len: self.riff_len,
        };
        to.write_all(&riff.to_bytes()).map_err(CopyError::Write)?;
        to.write_all(b"WAVE").map_err(CopyError::Write)?;
        let mut buffer = vec![0; 64 * 1024];
        for chunk in &self.kept {
            to.write_all(&chunk.header.to_bytes())
                .map_err(CopyError::Write)?;
            self.from
                .seek(SeekFrom::Start(chunk.at_byte))
                .map_err(CopyError::Read)?;
            let mut left = u64::from(chunk.header.len);
            while left > 0 {
                let want = usize::try_from(left).map_or(buffer.len(), |l| l.min(buffer.len()));
                let got =
                    read_as_much(&mut self.from, &mut buffer[..want]).map_err(CopyError::Read)?;
                if got == 0 {
                    // The file shrank since the first walk.
                    return Err(CopyError::Read(io::ErrorKind::UnexpectedEof.into()));
                }
                to.write_all(&buffer[..got]).map_err(CopyError::Write)?;
                left -= got as u64;
            }
            pad(chunk.header.len as usize, to)?;
        }
        for (id, content) in [(*b"cue ", &self.cue), (*b"LIST", &self.adtl)] {
            let len = content.len() as u32; // fits: the whole file's length does
            to.write_all(&ChunkHeader { id, len }.to_bytes())
                .map_err(CopyError::Write)?;
            to.write_all(content).map_err(CopyError::Write)?;
            pad(content.len(), to)?;
        }
        to.flush().map_err(CopyError::Write)
    }
}

fn pad(len: usize, to: &mut impl Write) -> Result<(), CopyError> {
    if len % 2 == 1 {
        to.write_all(&[0]).map_err(CopyError::Write)?;
    }
    Ok(())
}

/// Bytes of one cue point in the `cue ` chunk.
const POINT_BYTES: usize = 24;

/// The markers of the source and the new ones.
#[derive(Default)]
struct Markers {
    /// Cue points, 24 bytes each.
    points: Vec<u8>,
    /// The chunks inside `LIST adtl`.
    texts: Vec<u8>,
}

impl Markers {
    /// Takes a chunk if it holds markers; the reader stands at its content.
    fn take(&mut self, header: ChunkHeader, from: &mut File) -> io::Result<bool> {
        if header.len > MAX_MARKER_BYTES {
            return Ok(false);
        }
        match &header.id {
            b"cue " => {
                let content = content(header, from)?;
                let points = content.get(4..).unwrap_or_default();
                let whole = points.len() / POINT_BYTES * POINT_BYTES;
                self.points.extend_from_slice(&points[..whole]);
                Ok(true)
            }
            b"LIST" => {
                let content = content(header, from)?;
                let Some(texts) = content.strip_prefix(b"adtl") else {
                    return Ok(false);
                };
                self.texts.extend_from_slice(texts);
                if self.texts.len() % 2 == 1 {
                    self.texts.push(0);
                }
                Ok(true)
            }
            _ => Ok(false),
        }
    }

    /// Adds cue points; `None` where a place or their number is beyond 32 bits.
    fn add(&mut self, cues: &[Cue]) -> Option<()> {
        let mut id = self
            .points
            .chunks_exact(POINT_BYTES)
            .filter_map(|p| u32_at(p, 0))
            .max()
            .unwrap_or(0);
        let there: std::collections::HashSet<_> = self.labelled().into_iter().collect();
        for cue in cues {
            let sample = u32::try_from(cue.sample).ok()?;
            let label = clean(&cue.label);
            if there.contains(&(sample, label.clone())) {
                continue;
            }
            id = id.checked_add(1)?;
            for field in [
                id.to_le_bytes(),
                sample.to_le_bytes(), // in the order of play
                *b"data",
                [0; 4], // no wave list, so the chunk starts at 0
                [0; 4], // uncompressed, so the block starts at 0
                sample.to_le_bytes(),
            ] {
                self.points.extend_from_slice(&field);
            }
            let len = u32::try_from(4 + label.len() + 1).ok()?;
            let header = ChunkHeader { id: *b"labl", len };
            self.texts.extend_from_slice(&header.to_bytes());
            self.texts.extend_from_slice(&id.to_le_bytes());
            self.texts.extend_from_slice(&label);
            self.texts.push(0);
            if len % 2 == 1 {
                self.texts.push(0);
            }
        }
        Some(())
    }

    /// Place and label of every point that has a label.
    fn labelled(&self) -> Vec<(u32, Vec<u8>)> {
        let samples: std::collections::HashMap<u32, u32> = self
            .points
            .chunks_exact(POINT_BYTES)
            .filter_map(|p| Some((u32_at(p, 0)?, u32_at(p, 20)?)))
            .collect();
        let mut out = Vec::new();
        let mut rest = self.texts.as_slice();
        while let Ok(Some(header)) = ChunkHeader::read(&mut rest) {
            let len = (header.len as usize).min(rest.len());
            let (body, after) = rest.split_at(len);
            if &header.id == b"labl"
                && let Some(sample) = u32_at(body, 0).and_then(|id| samples.get(&id))
            {
                let text = body[4..].split(|&b| b == 0).next().unwrap_or_default();
                out.push((*sample, text.to_vec()));
            }
            rest = after.get(len % 2..).unwrap_or_default();
        }
        out
    }

    /// The contents of the two chunks.
    fn into_chunks(self) -> Option<(Vec<u8>, Vec<u8>)> {
        let count = u32::try_from(self.points.len() / POINT_BYTES).ok()?;
        let mut cue = count.to_le_bytes().to_vec();
        cue.extend_from_slice(&self.points);
        let mut adtl = b"adtl".to_vec();
        adtl.extend_from_slice(&self.texts);
        Some((cue, adtl))
    }
}

fn content(header: ChunkHeader, from: &mut File) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    from.take(u64::from(header.len)).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// A label as UTF-8 bytes without control characters, which would end it or
/// break its line.
fn clean(label: &str) -> Vec<u8> {
    let text: String = label
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    text.into_bytes()
}
