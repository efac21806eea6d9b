//! What can be wrong with a recording, in words that name the file, the fault
//! and the way out.

use std::io;

use thiserror::Error;

/// The rates the ear works at, in Hz.
pub const RATE_RANGE_HZ: std::ops::RangeInclusive<u32> = 8_000..=192_000;

/// Why a recording cannot be read.
#[derive(Debug, Error)]
pub enum RecordingError {
    /// No file of that name.
    #[error("{path}: there is no such file. Check the name and the folder.")]
    NotFound {
        /// The file as it was named.
        path: String,
    },
    /// A folder was named.
    #[error("{path} is a folder. Name a recording in it, for instance {path}/practice.wav.")]
    Folder {
        /// The file as it was named.
        path: String,
    },
    /// The system does not let this user read the file.
    #[error("{path}: you are not allowed to read this file. Change its permissions or copy it.")]
    NoPermission {
        /// The file as it was named.
        path: String,
    },
    /// The disk, the card or the pipe failed.
    #[error(
        "{path}: reading failed ({source}). If it is on a card or a network disk, copy it first."
    )]
    Io {
        /// The file as it was named.
        path: String,
        /// What the system says.
        source: io::Error,
    },
    /// No bytes at all.
    #[error("{path} is empty (0 bytes). Copy the recording again or record it anew.")]
    Empty {
        /// The file as it was named.
        path: String,
    },
    /// The bytes are no recording that is known.
    #[error("{path} is not a sound recording that can be read{looks_like}. {READABLE}")]
    NotAudio {
        /// The file as it was named.
        path: String,
        /// What it looks like, as the rest of a sentence; may be empty.
        looks_like: String,
    },
    /// A known recording in a code that is not decoded here.
    #[error("{path} holds {codec}, which cannot be decoded here. {way_out}")]
    UnsupportedCodec {
        /// The file as it was named.
        path: String,
        /// The codec's name.
        codec: String,
        /// How to get a file that can be read.
        way_out: String,
    },
    /// Copy protection.
    #[error(
        "{path} is encrypted (copy-protected), so its sound cannot be read. \
         Use a recording of your own, or one without protection."
    )]
    Encrypted {
        /// The file as it was named.
        path: String,
    },
    /// A container without any sound.
    #[error("{path} has no sound track. Record with the microphone on, or choose another file.")]
    NoSoundTrack {
        /// The file as it was named.
        path: String,
    },
    /// A sound track without one sample.
    #[error("{path} has a sound track but not one sample of sound{detail}. Record it anew.")]
    NoSamples {
        /// The file as it was named.
        path: String,
        /// More of the reason; may be empty.
        detail: String,
    },
    /// An MP4 whose index was never written.
    #[error(
        "{path} lacks its index (the MP4 'moov' part): the camera or phone was stopped before it \
         had finished the file, or the copy is incomplete. Copy it again; if that does not help, a \
         video repair program can rebuild the index from another clip of the same camera."
    )]
    NoIndex {
        /// The file as it was named.
        path: String,
    },
    /// A container that has to be read backwards came through a pipe.
    #[error(
        "the recording on standard input keeps its index at its end, so it cannot be read from a \
         pipe. Save it to a file and name the file."
    )]
    NeedsFile,
    /// A rate the ear does not work at.
    #[error(
        "{path} is sampled at {rate_hz} Hz; rates from 8000 to 192000 Hz can be measured. \
         {way_out}"
    )]
    Rate {
        /// The file as it was named.
        path: String,
        /// Its rate, in Hz.
        rate_hz: u32,
        /// How to get a file that can be read.
        way_out: String,
    },
    /// The asked channel is not there.
    #[error("{path} has {}; channel {wanted} does not exist. Channels are counted from 1.", channels_in_words(*.channels))]
    NoSuchChannel {
        /// The file as it was named.
        path: String,
        /// The asked channel, counted from 1.
        wanted: usize,
        /// How many there are.
        channels: usize,
    },
    /// The asked sound track is not there, or not decoded.
    #[error("{path}: {what}. {tracks}")]
    Track {
        /// The file as it was named.
        path: String,
        /// What is wrong with the asked track.
        what: String,
        /// The sound tracks that there are, a sentence.
        tracks: String,
    },
    /// The rate or the number of channels changes on the way.
    #[error(
        "{path} changes at {at_s:.3} s from {before} to {after}. Split it there and review the parts."
    )]
    Changed {
        /// The file as it was named.
        path: String,
        /// Where, in seconds from the first sample.
        at_s: f64,
        /// Rate and channels before.
        before: String,
        /// Rate and channels after.
        after: String,
    },
    /// The file's own structure is broken before the first sample.
    #[error("{path} is damaged: {what}. Copy it again; if that does not help, {way_out}")]
    Damaged {
        /// The file as it was named.
        path: String,
        /// What is broken.
        what: String,
        /// What to try.
        way_out: String,
    },
}

const READABLE: &str = "WAV, FLAC, MP3, Ogg (Vorbis or Opus), AIFF, CAF, and the AAC, Opus \
                        or ALAC sound of MP4, M4A, MOV, MKV and WebM files can be read.";

fn channels_in_words(channels: usize) -> String {
    match channels {
        1 => "one channel".to_owned(),
        n => format!("{n} channels"),
    }
}

/// The way out for a recording that another program can convert.
pub fn convert(path: &str) -> String {
    let (from, to) = if path == "-" || path == STDIN_NAME {
        ("recording".to_owned(), "recording.wav".to_owned())
    } else {
        let stem = std::path::Path::new(path).with_extension("");
        let stem = stem.to_string_lossy();
        // The suggested name must not be the file itself.
        let to = if path.to_ascii_lowercase().ends_with(".wav") {
            format!("{stem}-converted.wav")
        } else {
            format!("{stem}.wav")
        };
        (path.to_owned(), to)
    };
    format!(
        "Export or convert it to WAV or FLAC first, for instance: ffmpeg -i {} -vn {}",
        quoted(&from),
        quoted(&to)
    )
}

/// How standard input is named in messages.
pub const STDIN_NAME: &str = "standard input";

fn quoted(name: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "./_-+,".contains(c);
    if name.chars().all(plain) {
        name.to_owned()
    } else {
        format!("'{}'", name.replace('\'', "'\\''"))
    }
}
