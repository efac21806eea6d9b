//! Finding the sound track in a container and a decoder for it, or the words
//! for why there is none.

use std::io::{Seek, SeekFrom};
use std::sync::LazyLock;

use symphonia::core::codecs::audio::{
    AudioCodecParameters, AudioDecoder, AudioDecoderOptions, well_known as id,
};
use symphonia::core::codecs::registry::CodecRegistry;
use symphonia::core::errors::Error;
use symphonia::core::formats::{FormatOptions, FormatReader, Track, TrackType};
use symphonia::core::io::{MediaSourceStream, MediaSourceStreamOptions};
use symphonia::core::meta::MetadataOptions;

use super::aac;
use super::error::{RecordingError, convert};
use super::guard::guarded;
use super::info::SoundTrack;
use super::mkv;
use super::mp4;
use super::names;
use super::opus::Opus;
use super::sniff::{self, Kind};
use super::source::{Opened, Source};
use super::tracks;

/// The decoders: the library's, and Opus.
static CODECS: LazyLock<CodecRegistry> = LazyLock::new(|| {
    let mut codecs = CodecRegistry::new();
    symphonia::default::register_enabled_codecs(&mut codecs);
    codecs.register_audio_decoder::<Opus>();
    codecs
});

/// Whether there is a decoder.
pub fn is_decoded(params: &AudioCodecParameters) -> bool {
    CODECS.get_audio_decoder(params.codec).is_some()
}

/// An opened container with the track to listen to.
pub struct Found {
    /// The demuxer.
    pub reader: Box<dyn FormatReader>,
    /// The chosen track.
    pub track: Track,
    /// The codec's parameters.
    pub params: AudioCodecParameters,
    /// The track's number among the sound tracks, and all of them.
    pub number: usize,
    /// All sound tracks.
    pub tracks: Vec<SoundTrack>,
    /// Facts of an MP4 that the demuxer does not pass on.
    pub mp4: Option<mp4::Facts>,
    /// Of an MKV: the padding at the end of each track, in nanoseconds.
    pub mkv_paddings: Vec<(u64, u64)>,
}

/// Opens a container and chooses a sound track: the asked one, or the first that
/// can be decoded.
pub fn find(opened: Opened, kind: Kind, wanted: Option<usize>) -> Result<Found, RecordingError> {
    let Opened {
        mut source,
        head,
        name,
    } = opened;
    let io = |source| RecordingError::Io {
        path: name.clone(),
        source,
    };
    let is_mp4 = kind == Kind::Mp4;
    let from_pipe = matches!(source, Source::Pipe(_));
    let mut facts = None;
    let mut mkv_paddings = Vec::new();
    if kind == Kind::Mkv
        && let Source::File(file) = &mut source
    {
        mkv_paddings = mkv::paddings(file).map_err(io)?;
        file.seek(SeekFrom::Start(0)).map_err(io)?;
    }
    if is_mp4 && let Source::File(file) = &mut source {
        let found = mp4::facts(file).map_err(io)?;
        file.seek(SeekFrom::Start(0)).map_err(io)?;
        refuse_by_facts(&found, &name)?;
        if let Some(len_bytes) = found.cut_from_bytes {
            source = source.with_len(len_bytes);
        }
        facts = Some(found);
    }
    let is_known = is_mp4 || sniff::is_known_container(&head);
    // In a file that can be read backwards some demuxers look behind the sound
    // first, and give up where the file is cut. Read forwards only, they take
    // what there is.
    let second = match &source {
        Source::File(file) if is_known => Some(file.try_clone().map_err(io)?),
        _ => None,
    };
    let mut probed = probe(source);
    if let Some(mut file) = second
        && !matches!(probed, Ok(Ok(_)))
    {
        file.seek(SeekFrom::Start(0)).map_err(io)?;
        let forwards = probe(Source::Pipe(Box::new(file)));
        if matches!(forwards, Ok(Ok(_))) {
            probed = forwards;
        }
    }
    let reader = match probed {
        Ok(Ok(reader)) => reader,
        Ok(Err(error)) => return Err(refuse(error, is_known, is_mp4, from_pipe, &name)),
        Err(Panicked) => return Err(damaged(&name, "its header makes no sense")),
    };
    let all = tracks::list(reader.as_ref(), facts.as_ref());
    let (track, params, number) = choose(&all, reader.as_ref(), wanted, &name)?;
    Ok(Found {
        reader,
        track,
        params,
        number,
        tracks: all.into_iter().map(|sound| sound.words).collect(),
        mp4: facts,
        mkv_paddings,
    })
}

struct Panicked;

fn probe(source: Source) -> Result<Result<Box<dyn FormatReader>, Error>, Panicked> {
    let stream = MediaSourceStream::new(
        source.into_media_source(),
        MediaSourceStreamOptions::default(),
    );
    guarded(|| {
        symphonia::default::get_probe().probe(
            &Default::default(),
            stream,
            FormatOptions::default(),
            MetadataOptions::default(),
        )
    })
    .ok_or(Panicked)
}

/// The asked sound track or the first that can be decoded, and its number.
pub fn choose(
    all: &[tracks::Sound],
    reader: &dyn FormatReader,
    wanted: Option<usize>,
    name: &str,
) -> Result<(Track, AudioCodecParameters, usize), RecordingError> {
    let mut numbered = (1..).zip(all);
    let chosen = match wanted {
        Some(wanted) => numbered.find(|(n, sound)| *n == wanted && sound.words.is_decoded),
        None => numbered.find(|(_, sound)| sound.words.is_decoded),
    };
    if let Some((number, sound)) = chosen
        && let Some((track, params)) = &sound.known
    {
        return Ok((track.clone(), params.clone(), number));
    }
    if let Some(wanted) = wanted
        && !all.is_empty()
    {
        let words: Vec<String> = all.iter().map(|s| s.words.words.clone()).collect();
        return Err(tracks::missing(wanted, name, &words));
    }
    let codec = match all.first() {
        Some(sound) => match &sound.known {
            Some((_, params)) => names::codec(params.codec),
            None => sound.words.words.clone(),
        },
        None => {
            let has_sound = reader.first_track(TrackType::Audio).is_some();
            if !has_sound && !reader.tracks().is_empty() {
                return Err(RecordingError::NoSoundTrack {
                    path: name.to_owned(),
                });
            }
            "a codec that is not known here".to_owned()
        }
    };
    Err(unsupported(name, codec))
}

/// Makes the decoder, or says by name what it cannot decode.
pub fn decoder(
    params: &AudioCodecParameters,
    name: &str,
) -> Result<Box<dyn AudioDecoder>, RecordingError> {
    let mut params = params.clone();
    if params.codec == id::CODEC_ID_AAC
        && let Some(config) = params.extra_data.as_deref()
    {
        match aac::config(config) {
            aac::Config::Plain => {}
            aac::Config::BandReplication { core, .. } => {
                params.with_extra_data(Box::new(core));
            }
            aac::Config::Undecoded(what) => return Err(unsupported(name, what)),
        }
    }
    // The decoders allocate what a header claims: a broken one claims gigabytes.
    params.max_frames_per_packet = params
        .max_frames_per_packet
        .map(|claimed| claimed.min(MAX_PACKET_FRAMES));
    if params.codec == id::CODEC_ID_ALAC && alac_frame_len(&params) > MAX_PACKET_FRAMES {
        return Err(damaged(name, "its ALAC header claims impossible frames"));
    }
    // MP3 trims by an estimate of the length where the file has no header that
    // says it, and would drop real sound: its encoder lead-in is dropped by the
    // caller instead.
    let options = AudioDecoderOptions::default().gapless(params.codec != id::CODEC_ID_MP3);
    let made = guarded(|| CODECS.make_audio_decoder(&params, &options));
    match made {
        Some(Ok(decoder)) => Ok(decoder),
        Some(Err(Error::Unsupported(what))) if params.codec == id::CODEC_ID_OPUS => {
            Err(unsupported(name, format!("Opus, but {what}")))
        }
        Some(Err(Error::Unsupported(_))) => Err(unsupported(
            name,
            format!("an unusual kind of {}", names::codec(params.codec)),
        )),
        Some(Err(Error::DecodeError(what))) => Err(damaged(name, what)),
        _ => Err(damaged(name, "its codec header makes no sense")),
    }
}

/// No codec has longer packets (FLAC: 65535 frames).
const MAX_PACKET_FRAMES: u64 = 65_536;

/// Frames of a packet as the ALAC header (its first number) claims.
fn alac_frame_len(params: &AudioCodecParameters) -> u64 {
    let bytes = params.extra_data.as_deref().and_then(|d| d.first_chunk());
    bytes.map_or(0, |b| u64::from(u32::from_be_bytes(*b)))
}

/// The error for a codec that is not decoded.
pub fn unsupported(name: &str, codec: String) -> RecordingError {
    RecordingError::UnsupportedCodec {
        path: name.to_owned(),
        codec,
        way_out: convert(name),
    }
}

/// The error for a broken structure.
pub fn damaged(name: &str, what: &str) -> RecordingError {
    RecordingError::Damaged {
        path: name.to_owned(),
        what: what.to_owned(),
        way_out: format!("another program may still read it. {}", convert(name)),
    }
}

fn refuse_by_facts(facts: &mp4::Facts, name: &str) -> Result<(), RecordingError> {
    let path = || name.to_owned();
    if !facts.has_index {
        return Err(RecordingError::NoIndex { path: path() });
    }
    let encrypted = |entry: [u8; 4]| {
        matches!(
            &entry,
            b"drms" | b"enca" | b"encs" | b"enct" | b"enc1" | b"enc2" | b"p608"
        )
    };
    match facts.sound.first() {
        None if facts.cut_from_bytes.is_none() => {
            Err(RecordingError::NoSoundTrack { path: path() })
        }
        None => Err(RecordingError::NoIndex { path: path() }),
        Some(_) if facts.sound.iter().all(|t| encrypted(t.entry)) => {
            Err(RecordingError::Encrypted { path: path() })
        }
        Some(_) if !facts.has_file_type => Err(unsupported(
            name,
            "a QuickTime file of the oldest kind (no file-type part)".to_owned(),
        )),
        Some(_) => Ok(()),
    }
}

fn refuse(
    error: Error,
    is_known: bool,
    is_mp4: bool,
    from_pipe: bool,
    name: &str,
) -> RecordingError {
    match error {
        Error::IoError(source) if source.kind() != std::io::ErrorKind::UnexpectedEof => {
            // The end of the probing range is reported as an error of kind Other.
            if source.raw_os_error().is_some() {
                return RecordingError::Io {
                    path: name.to_owned(),
                    source,
                };
            }
            not_audio(name)
        }
        Error::Unsupported(what) if is_mp4 && from_pipe && what.contains("moov") => {
            RecordingError::NeedsFile
        }
        Error::SeekError(_) if from_pipe => RecordingError::NeedsFile,
        _ if is_mp4 && from_pipe => RecordingError::NeedsFile,
        Error::DecodeError(what) | Error::LimitError(what) => damaged(name, what),
        Error::Unsupported(what) if is_mp4 => {
            unsupported(name, format!("an unusual MP4 layout ({what})"))
        }
        Error::IoError(_) if is_known => damaged(name, "it ends inside its header"),
        Error::Unsupported(what) if is_known => damaged(name, what),
        _ => not_audio(name),
    }
}

fn not_audio(name: &str) -> RecordingError {
    RecordingError::NotAudio {
        path: name.to_owned(),
        looks_like: String::new(),
    }
}
