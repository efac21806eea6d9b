//! WAV read as it is found in the field: headers never finished by a killed
//! recorder, lengths of 0 or 2³²−1 from streams, RF64/BW64 over 4 GB, more
//! bytes promised than there are.
//!
//! The demuxer of the decoding library takes only well-formed 32-bit files of up to
//! 26 channels, so the chunks are walked here; the samples themselves are decoded
//! by the library.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use symphonia::core::audio::Channels;
use symphonia::core::codecs::audio::AudioCodecParameters;
use symphonia::core::codecs::audio::well_known as id;
use symphonia::core::packet::Packet;
use symphonia::core::units::Duration;

use super::error::{RecordingError, convert};
use super::names;
use super::source::Source;
use crate::sound::riff::{self, ChunkHeader, LEN_UNKNOWN, u16_at, u32_at, u64_at};

/// No packet holds more bytes than this (unless one frame does), whatever the
/// number of channels.
const MAX_PACKET_BYTES: u64 = 64 * 1024;
/// No header chunk of use is longer.
const MAX_FORMAT_BYTES: u32 = 4 * 1024;

/// A WAV whose header has been read; gives its samples in packets.
pub struct WavPackets {
    from: Box<dyn Read + Send + Sync>,
    /// For the decoder.
    pub params: AudioCodecParameters,
    block_bytes: u64,
    frames_per_block: u64,
    blocks_per_packet: u64,
    /// What the header promises; `None` where it does not know.
    promised_bytes: Option<u64>,
    read_bytes: u64,
    next_frame: u64,
}

/// The fields of the `fmt ` chunk that matter.
struct Format {
    params: AudioCodecParameters,
    block_bytes: u64,
    frames_per_block: u64,
}

impl WavPackets {
    /// Reads the chunks up to the samples.
    pub fn open(source: Source, name: &str) -> Result<Self, RecordingError> {
        let io = |source| RecordingError::Io {
            path: name.to_owned(),
            source,
        };
        let mut from: Box<dyn ReadSkip> = match source {
            Source::File(file) => Box::new(io::BufReader::with_capacity(64 * 1024, file)),
            Source::CutFile(file) => Box::new(Box::new(file) as Box<dyn Read + Send + Sync>),
            Source::Pipe(pipe) => Box::new(pipe),
        };
        let riff = ChunkHeader::read(&mut from).map_err(io)?;
        from.skip(4).map_err(io)?; // the form, already known to be WAVE
        let riff_end = riff.map_or(0, |r| match r.len {
            LEN_UNKNOWN => 0,
            len => u64::from(len) + 8,
        });
        let mut at_byte = 12;
        let sizes_in_ds64 = riff.is_some_and(|r| &r.id != b"RIFF");
        let mut data_len_64 = None;
        let mut format = None;
        while let Some(chunk) = ChunkHeader::read(&mut from).map_err(io)? {
            at_byte += 8;
            match &chunk.id {
                b"fmt " => {
                    let body = read_body(&mut from, chunk).map_err(io)?;
                    format = Some(parse_format(&body, name)?);
                }
                b"ds64" => {
                    let body = read_body(&mut from, chunk).map_err(io)?;
                    data_len_64 = u64_at(&body, 8);
                }
                b"data" => {
                    let format = format.ok_or_else(|| no_format(name))?;
                    let promised_bytes = match chunk.len {
                        LEN_UNKNOWN if sizes_in_ds64 => data_len_64.filter(|&len| len > 0),
                        LEN_UNKNOWN => None,
                        // A recorder that was killed wrote no length of the
                        // whole either; else there is no sound indeed.
                        0 if riff_end <= at_byte => None,
                        len => Some(u64::from(len)),
                    };
                    return Ok(Self::new(from.into_read(), format, promised_bytes));
                }
                _ => from.skip(chunk.padded_len()).map_err(io)?,
            }
            at_byte += chunk.padded_len();
        }
        Err(if format.is_some() {
            RecordingError::NoSamples {
                path: name.to_owned(),
                detail: " (the file ends before its sound)".to_owned(),
            }
        } else {
            no_format(name)
        })
    }

    fn new(from: Box<dyn Read + Send + Sync>, format: Format, promised: Option<u64>) -> Self {
        let blocks = (MAX_PACKET_BYTES / format.block_bytes).clamp(1, 4096);
        let mut params = format.params;
        params
            .with_max_frames_per_packet(blocks * format.frames_per_block)
            .with_frames_per_block(format.frames_per_block);
        Self {
            from,
            params,
            block_bytes: format.block_bytes,
            frames_per_block: format.frames_per_block,
            blocks_per_packet: blocks,
            promised_bytes: promised,
            read_bytes: 0,
            next_frame: 0,
        }
    }

    /// Frames the header promises; `None` where it does not know.
    pub fn promised_frames(&self) -> Option<u64> {
        self.promised_bytes
            .map(|bytes| bytes / self.block_bytes * self.frames_per_block)
    }

    /// The next packet; `None` at the end of the sound or of the file. A frame
    /// that is not whole is left out.
    pub fn next_packet(&mut self) -> io::Result<Option<Packet>> {
        let mut want = self.blocks_per_packet * self.block_bytes;
        if let Some(promised) = self.promised_bytes {
            want = want.min((promised - self.read_bytes) / self.block_bytes * self.block_bytes);
        }
        let mut data = vec![0; usize::try_from(want).unwrap_or(0)];
        let got = riff::read_as_much(&mut self.from, &mut data)? as u64;
        let blocks = got / self.block_bytes;
        if blocks == 0 {
            return Ok(None);
        }
        self.read_bytes += got;
        data.truncate(usize::try_from(blocks * self.block_bytes).unwrap_or(0));
        let frames = blocks * self.frames_per_block;
        let at = i64::try_from(self.next_frame).unwrap_or(i64::MAX);
        self.next_frame += frames;
        Ok(Some(Packet::new(
            0,
            at.into(),
            Duration::from(frames),
            data,
        )))
    }
}

fn no_format(name: &str) -> RecordingError {
    RecordingError::Damaged {
        path: name.to_owned(),
        what: "its WAV header says nothing of the kind of samples (no 'fmt ' part)".to_owned(),
        way_out: "record it anew.".to_owned(),
    }
}

fn read_body(from: &mut Box<dyn ReadSkip>, chunk: ChunkHeader) -> io::Result<Vec<u8>> {
    let keep = chunk.len.min(MAX_FORMAT_BYTES);
    let mut body = vec![0; keep as usize];
    let got = riff::read_as_much(from, &mut body)?;
    body.truncate(got);
    from.skip(chunk.padded_len() - u64::from(keep))?;
    Ok(body)
}

const PCM: u16 = 0x0001;
const MS_ADPCM: u16 = 0x0002;
const IEEE_FLOAT: u16 = 0x0003;
const A_LAW: u16 = 0x0006;
const MU_LAW: u16 = 0x0007;
const IMA_ADPCM: u16 = 0x0011;
const EXTENSIBLE: u16 = 0xfffe;

/// Reads WAVEFORMATEX and WAVEFORMATEXTENSIBLE (Microsoft, "Multiple channel
/// audio data and WAVE files", 2001).
fn parse_format(body: &[u8], name: &str) -> Result<Format, RecordingError> {
    let damaged = |what: &str| RecordingError::Damaged {
        path: name.to_owned(),
        what: what.to_owned(),
        way_out: "record it anew.".to_owned(),
    };
    let short = || damaged("its WAV header is too short");
    let mut tag = u16_at(body, 0).ok_or_else(short)?;
    let channels = u16_at(body, 2).ok_or_else(short)?;
    let rate_hz = u32_at(body, 4).ok_or_else(short)?;
    let block_align = u16_at(body, 12).ok_or_else(short)?;
    let bits = u16_at(body, 14).ok_or_else(short)?;
    if tag == EXTENSIBLE {
        // The first two bytes of the sub-format name the same tags.
        tag = u16_at(body, 24).ok_or_else(short)?;
    }
    if channels == 0 {
        return Err(damaged("its WAV header promises 0 channels"));
    }
    let bytes_per_sample = bits.div_ceil(8);
    let codec = match (tag, bytes_per_sample) {
        (PCM, 1) => id::CODEC_ID_PCM_U8,
        (PCM, 2) => id::CODEC_ID_PCM_S16LE,
        (PCM, 3) => id::CODEC_ID_PCM_S24LE,
        (PCM, 4) => id::CODEC_ID_PCM_S32LE,
        (IEEE_FLOAT, 4) => id::CODEC_ID_PCM_F32LE,
        (IEEE_FLOAT, 8) => id::CODEC_ID_PCM_F64LE,
        (A_LAW, 1) => id::CODEC_ID_PCM_ALAW,
        (MU_LAW, 1) => id::CODEC_ID_PCM_MULAW,
        (MS_ADPCM, _) if bits == 4 => id::CODEC_ID_ADPCM_MS,
        (IMA_ADPCM, _) if bits == 4 => id::CODEC_ID_ADPCM_IMA_WAV,
        (PCM | IEEE_FLOAT, _) => {
            return Err(RecordingError::UnsupportedCodec {
                path: name.to_owned(),
                codec: format!("samples of {bits} bits"),
                way_out: convert(name),
            });
        }
        _ => {
            return Err(RecordingError::UnsupportedCodec {
                path: name.to_owned(),
                codec: names::wav_format_tag(tag),
                way_out: convert(name),
            });
        }
    };
    let wide = u64::from(channels);
    let align = u64::from(block_align);
    // Frames in an ADPCM block: one or two stand in the block's header (7 or 4
    // bytes a channel), the rest take half a byte a channel.
    let (block_bytes, frames_per_block) = match tag {
        MS_ADPCM if align >= 7 * wide => (align, (align - 7 * wide) * 2 / wide + 2),
        IMA_ADPCM if align >= 4 * wide => (align, (align - 4 * wide) * 2 / wide + 1),
        MS_ADPCM | IMA_ADPCM => return Err(damaged("its WAV header gives an impossible block")),
        _ => (u64::from(bytes_per_sample) * wide, 1),
    };
    let mut params = AudioCodecParameters::new();
    params
        .for_codec(codec)
        .with_sample_rate(rate_hz)
        .with_channels(Channels::Discrete(channels));
    Ok(Format {
        params,
        block_bytes,
        frames_per_block,
    })
}

/// A reader that can go forwards without reading, where it is a file.
trait ReadSkip: Read {
    fn skip(&mut self, len: u64) -> io::Result<()>;
    fn into_read(self: Box<Self>) -> Box<dyn Read + Send + Sync>;
}

impl ReadSkip for io::BufReader<File> {
    fn skip(&mut self, len: u64) -> io::Result<()> {
        match i64::try_from(len) {
            Ok(len) => self.seek_relative(len),
            Err(_) => self.seek(SeekFrom::End(0)).map(|_| ()),
        }
    }

    fn into_read(self: Box<Self>) -> Box<dyn Read + Send + Sync> {
        self
    }
}

impl ReadSkip for Box<dyn Read + Send + Sync> {
    fn skip(&mut self, len: u64) -> io::Result<()> {
        riff::skip(self, len).map(|_| ())
    }

    fn into_read(self: Box<Self>) -> Box<dyn Read + Send + Sync> {
        *self
    }
}
