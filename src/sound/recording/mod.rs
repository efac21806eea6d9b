//! A recording as a stream of mono blocks at the file's own rate, in bounded
//! memory, whatever its format.
//!
//! Time is the count of samples: a stretch that cannot be decoded is kept as
//! silence of its length, and an encoder's lead-in that the file declares is
//! dropped, as players drop it.

mod aac;
mod compression;
mod container;
mod downmix;
mod error;
mod guard;
mod info;
mod mkv;
mod mp4;
mod names;
mod ogg_opus;
mod opening;
mod opus;
mod packets;
mod sniff;
mod source;
mod track;
mod tracks;
mod wav;

use std::io::Read;
use std::ops::Range;
use std::path::Path;

use symphonia::core::codecs::audio::AudioDecoder;
use symphonia::core::errors::Error;
use symphonia::core::packet::Packet;

pub use compression::Compression;
use downmix::Downmix;
pub use error::{RATE_RANGE_HZ, RecordingError};
use guard::guarded;
pub use info::{ChannelChoice, Gap, Listen, RecordingInfo, SoundTrack, Warnings};
use packets::{Next, Packets};

/// Silence in place of lost sound is given in blocks of at most this many
/// samples.
const SILENCE: [f32; 4_096] = [0.0; 4_096];

/// An opened recording.
pub struct Recording {
    info: RecordingInfo,
    channel: ChannelChoice,
    packets: Packets,
    decoder: Box<dyn AudioDecoder>,
    downmix: Downmix,
    /// Lost samples to be given as silence before the waiting block.
    silence_samples: u64,
    /// A decoded block waits to be given.
    block_waits: bool,
    ended: bool,
    /// Samples at the start that are encoder lead-in.
    lead_in_samples: u64,
    /// Samples given or dropped so far, with the lead-in.
    passed_samples: u64,
    /// Samples decoded or lost so far, with the lead-in.
    raw_samples: u64,
    /// Samples the file promises, in the same count.
    promised_samples: Option<u64>,
    /// How many fewer are no sign of a cut: the promise is rounded so far up.
    promise_slack: u64,
    /// The end of the sound, in the same count: what follows is padding.
    end_samples: Option<u64>,
    /// Bytes of the packets decoded or lost so far.
    packet_bytes: u64,
    cut_short: Option<String>,
    warnings: Warnings,
}

impl Recording {
    /// Opens a recording and decodes its first block; `-` is standard input. Of
    /// several sound tracks in a file the first with sound is taken, unless one is
    /// asked for; a pipe, which cannot be read twice, gives the first.
    pub fn open(path: &Path, listen: impl Into<Listen>) -> Result<Self, RecordingError> {
        let listen = listen.into();
        let open = |listen| opening::open(source::open(path)?, listen);
        let recording = open(listen)?;
        if listen.track.is_some() || recording.info.tracks.len() < 2 || !path.is_file() {
            return Ok(recording);
        }
        tracks::first_with_sound(recording, listen.channel, open)
    }

    /// Reads a recording from a pipe, under a name for messages.
    pub fn from_reader(
        pipe: impl Read + Send + Sync + 'static,
        name: &str,
        listen: impl Into<Listen>,
    ) -> Result<Self, RecordingError> {
        let opened = source::peek_pipe(Box::new(pipe), name.to_owned())?;
        opening::open(opened, listen.into())
    }

    /// The recording's description.
    pub fn info(&self) -> &RecordingInfo {
        &self.info
    }

    /// The next mono samples, −1 to 1 for full scale (floats may exceed it);
    /// `None` at the end. Blocks have the codec's length, never 0; the time of
    /// a sample is its count from the first one given over the rate.
    pub fn next_block(&mut self) -> Result<Option<&[f32]>, RecordingError> {
        loop {
            if self.silence_samples > 0 {
                let len = self.silence_samples.min(SILENCE.len() as u64);
                self.silence_samples -= len;
                let kept = self.pass(len);
                if !kept.is_empty() {
                    return Ok(Some(&SILENCE[kept]));
                }
            } else if self.block_waits {
                self.block_waits = false;
                let len = self.downmix.mono().len() as u64;
                let kept = self.pass(len);
                if !kept.is_empty() {
                    return Ok(Some(&self.downmix.mono()[kept]));
                }
            } else if self.ended {
                return Ok(None);
            } else if let Err(error) = self.decode_next() {
                // Nothing comes after an error.
                self.ended = true;
                self.silence_samples = 0;
                self.block_waits = false;
                return Err(error);
            }
        }
    }

    /// After the end: the sentence that says that the file was cut short, and
    /// up to where it was read; `None` for a whole file.
    pub fn cut_short(&self) -> Option<&str> {
        self.cut_short.as_deref()
    }

    /// What was mended so far; complete after the end.
    pub fn warnings(&self) -> &Warnings {
        &self.warnings
    }

    /// How the recording is compressed, with the mean bit rate of what was read so
    /// far; `None` for plain samples.
    pub fn compression(&self) -> Option<Compression> {
        let seconds = self.raw_samples as f64 / f64::from(self.info.sample_rate_hz.max(1));
        Compression::of(
            self.packets.params().codec,
            &self.info.codec,
            self.packet_bytes,
            seconds,
        )
    }

    /// Counts samples as passed; gives which of them are neither lead-in nor padding.
    fn pass(&mut self, len: u64) -> Range<usize> {
        let passed = self.passed_samples;
        self.passed_samples += len;
        let from = self.lead_in_samples.saturating_sub(passed).min(len);
        let to = self
            .end_samples
            .map_or(len, |end| end.saturating_sub(passed).min(len));
        from as usize..to.max(from) as usize
    }

    /// Takes the next packet: afterwards silence or a block may wait, or the
    /// recording has ended.
    fn decode_next(&mut self) -> Result<(), RecordingError> {
        let next = self.packets.next(self.info.sample_rate_hz);
        match next {
            Next::Packet { packet, lost } => {
                self.lose(lost);
                self.packet_bytes += packet.data.len() as u64;
                self.decode(&packet)?;
            }
            Next::AnotherStream => self.start_another_stream()?,
            Next::End => self.end(None),
            Next::Broken(what) => self.end(Some(what)),
            Next::Failed(source) => {
                return Err(RecordingError::Io {
                    path: self.info.path.clone(),
                    source,
                });
            }
        }
        Ok(())
    }

    fn decode(&mut self, packet: &Packet) -> Result<(), RecordingError> {
        match self.try_decode(packet) {
            Some(Ok((rate_hz, channels))) => {
                self.accept(rate_hz, channels)?;
                let frames = self.downmix.mono().len() as u64;
                self.warnings.nonfinite_samples = self.downmix.nonfinite;
                self.raw_samples += frames;
                self.block_waits = frames > 0;
                self.packets.passed(frames, true);
            }
            failed => {
                if matches!(failed, None | Some(Err(Error::ResetRequired))) {
                    // The old decoder is not to be trusted.
                    self.decoder = track::decoder(self.packets.params(), &self.info.path)?;
                }
                let lost = self
                    .packets
                    .samples_of(packet, self.info.sample_rate_hz)
                    .unwrap_or(0);
                self.packets.passed(lost, false);
                self.lose(lost);
            }
        }
        Ok(())
    }

    /// Decodes a packet into the mono block; gives its rate and channels.
    fn try_decode(&mut self, packet: &Packet) -> Option<Result<(u32, usize), Error>> {
        let Self {
            decoder,
            downmix,
            channel,
            ..
        } = self;
        let mut decode = |decoder: &mut Box<dyn AudioDecoder>| {
            guarded(|| {
                let block = decoder.decode(packet)?;
                downmix.take(&block, *channel);
                let spec = block.spec();
                Ok((spec.rate(), spec.channels().count()))
            })
        };
        match decode(decoder) {
            // The MP3 decoder refuses another rate or number of channels; a new
            // one takes it, and the change is then judged by `accept`.
            Some(Err(Error::DecodeError(what))) if what.contains("signal spec") => {
                *decoder = track::decoder(self.packets.params(), &self.info.path).ok()?;
                decode(decoder)
            }
            result => result,
        }
    }

    /// Judges a block's rate and channels against those of the first block.
    fn accept(&mut self, rate_hz: u32, channels: usize) -> Result<(), RecordingError> {
        let info = &mut self.info;
        if info.channels == 0 {
            info.sample_rate_hz = rate_hz;
            info.channels = channels;
        }
        let missing = matches!(self.channel, ChannelChoice::Only(n) if n == 0 || n > channels);
        if rate_hz == info.sample_rate_hz && (channels == info.channels || !missing) {
            return Ok(());
        }
        let words = |rate_hz: u32, channels: usize| {
            format!(
                "{rate_hz} Hz with {channels} channel{}",
                if channels == 1 { "" } else { "s" }
            )
        };
        Err(RecordingError::Changed {
            path: info.path.clone(),
            at_s: self.raw_samples.saturating_sub(self.lead_in_samples) as f64
                / f64::from(info.sample_rate_hz.max(1)),
            before: words(info.sample_rate_hz, info.channels),
            after: words(rate_hz, channels),
        })
    }

    /// A chained file (Ogg) goes on with another stream.
    fn start_another_stream(&mut self) -> Result<(), RecordingError> {
        self.packets.choose_track_again(&self.info.path)?;
        self.decoder = track::decoder(self.packets.params(), &self.info.path)?;
        self.promised_samples = None;
        Ok(())
    }

    /// Keeps lost sound as silence, so that nothing after it shifts.
    fn lose(&mut self, samples: u64) {
        let start = self.raw_samples.saturating_sub(self.lead_in_samples);
        self.raw_samples += samples;
        let end = self.raw_samples.saturating_sub(self.lead_in_samples);
        self.silence_samples += samples;
        self.warnings.add_gap(start, end - start);
    }

    fn end(&mut self, broken: Option<String>) {
        self.ended = true;
        let rate_hz = f64::from(self.info.sample_rate_hz.max(1));
        let seconds = |samples: u64| samples.saturating_sub(self.lead_in_samples) as f64 / rate_hz;
        let held = self
            .end_samples
            .map_or(self.raw_samples, |end| end.min(self.raw_samples));
        let held_s = seconds(held);
        let path = &self.info.path;
        self.cut_short = match (self.promised_samples, broken) {
            (Some(promised), _) if held + self.promise_slack < promised => Some(format!(
                "{path} is cut short: it promises {:.3} s and holds {held_s:.3} s. It was read \
                 up to there.",
                seconds(promised)
            )),
            (_, Some(what)) => Some(format!(
                "{path} is cut short or damaged at {held_s:.3} s ({what}). It was read up to there."
            )),
            _ => None,
        };
    }
}
