//! Opening a file or standard input, and looking at its first bytes.

use std::fs::File;
use std::io::{self, Cursor, Read, Seek, SeekFrom};
use std::path::Path;

use symphonia::core::io::{MediaSource, ReadOnlySource};

use super::error::{RecordingError, STDIN_NAME};
use super::sniff::HEAD_LEN;
use crate::sound::riff::read_as_much;

/// Where the bytes come from.
pub enum Source {
    /// A file on a disk, at its start: it can be read backwards.
    File(File),
    /// A file that was cut, with the length it had.
    CutFile(CutFile),
    /// Standard input or another pipe: read once, forwards.
    Pipe(Box<dyn Read + Send + Sync>),
}

/// An opened source with its first bytes.
pub struct Opened {
    /// The source, at its first byte.
    pub source: Source,
    /// Its first bytes.
    pub head: Vec<u8>,
    /// How it is named in messages.
    pub name: String,
}

/// Opens a path; `-` is standard input.
pub fn open(path: &Path) -> Result<Opened, RecordingError> {
    if path.as_os_str() == "-" {
        return peek_pipe(Box::new(io::stdin()), STDIN_NAME.to_owned());
    }
    let name = path.to_string_lossy().into_owned();
    let failed = |source: io::Error| match source.kind() {
        io::ErrorKind::NotFound => RecordingError::NotFound { path: name.clone() },
        io::ErrorKind::PermissionDenied => RecordingError::NoPermission { path: name.clone() },
        io::ErrorKind::IsADirectory => RecordingError::Folder { path: name.clone() },
        _ => RecordingError::Io {
            path: name.clone(),
            source,
        },
    };
    let about = std::fs::metadata(path).map_err(failed)?;
    if about.is_dir() {
        return Err(RecordingError::Folder { path: name });
    }
    let mut file = File::open(path).map_err(failed)?;
    if !about.is_file() {
        return peek_pipe(Box::new(file), name);
    }
    let mut head = vec![0; HEAD_LEN];
    let got = read_as_much(&mut file, &mut head).map_err(failed)?;
    head.truncate(got);
    file.seek(SeekFrom::Start(0)).map_err(failed)?;
    not_empty(Opened {
        source: Source::File(file),
        head,
        name,
    })
}

/// Looks at the first bytes of a pipe and puts them back in front.
pub fn peek_pipe(
    mut pipe: Box<dyn Read + Send + Sync>,
    name: String,
) -> Result<Opened, RecordingError> {
    let mut head = vec![0; HEAD_LEN];
    let got = read_as_much(&mut pipe, &mut head).map_err(|source| RecordingError::Io {
        path: name.clone(),
        source,
    })?;
    head.truncate(got);
    not_empty(Opened {
        source: Source::Pipe(Box::new(Cursor::new(head.clone()).chain(pipe))),
        head,
        name,
    })
}

fn not_empty(opened: Opened) -> Result<Opened, RecordingError> {
    if opened.head.is_empty() {
        return Err(RecordingError::Empty { path: opened.name });
    }
    Ok(opened)
}

impl Source {
    /// A file as one of the length that it had before it was cut.
    pub fn with_len(self, len_bytes: u64) -> Self {
        match self {
            Self::File(file) => Self::CutFile(CutFile { file, len_bytes }),
            other => other,
        }
    }

    /// The source as a stream that is read forwards.
    pub fn into_read(self) -> Box<dyn Read + Send + Sync> {
        match self {
            Self::File(file) => Box::new(file),
            Self::CutFile(file) => Box::new(file),
            Self::Pipe(pipe) => pipe,
        }
    }

    /// The source as the decoders take it.
    pub fn into_media_source(self) -> Box<dyn MediaSource> {
        match self {
            Self::File(file) => Box::new(file),
            Self::CutFile(file) => Box::new(file),
            Self::Pipe(pipe) => Box::new(ReadOnlySource::new(pipe)),
        }
    }
}

/// A cut file that tells its former length. The MP4 demuxer passes over a box
/// that reaches beyond the end; so it reads the box up to the cut.
pub struct CutFile {
    file: File,
    len_bytes: u64,
}

impl Read for CutFile {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        self.file.read(buffer)
    }
}

impl Seek for CutFile {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        match to {
            SeekFrom::End(back) => match self.len_bytes.checked_add_signed(back) {
                Some(at) => self.file.seek(SeekFrom::Start(at)),
                None => Err(io::ErrorKind::InvalidInput.into()),
            },
            other => self.file.seek(other),
        }
    }
}

impl MediaSource for CutFile {
    fn is_seekable(&self) -> bool {
        true
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.len_bytes)
    }
}
