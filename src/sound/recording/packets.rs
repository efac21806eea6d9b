//! The packets of the chosen track in order, and the jumps of the container's
//! own clock, which are lost sound.

use std::io;

use symphonia::core::codecs::audio::AudioCodecParameters;
use symphonia::core::errors::Error;
use symphonia::core::formats::FormatReader;
use symphonia::core::packet::Packet;
use symphonia::core::units::{Duration, TimeBase, Timestamp};

use super::error::RecordingError;
use super::guard::guarded;
use super::ogg_opus::OggOpus;
use super::opus;
use super::track;
use super::tracks;
use super::wav::WavPackets;

/// A jump of the clock longer than this is lost sound; shorter ones are the
/// rounding of containers.
const MIN_JUMP_S: f64 = 0.1;
/// More than this lost in all is a broken clock, not lost sound.
pub const MAX_LOST_S: f64 = 3_600.0;
/// The clocks of containers are rounded to a millisecond.
const CLOCK_ROUNDING_S: f64 = 0.0015;
/// No codec's packet is longer; one that claims to be is broken.
const MAX_PACKET_S: f64 = 10.0;

/// What comes next.
pub enum Next {
    /// A packet of the track.
    Packet {
        /// The packet.
        packet: Packet,
        /// Samples lost before it.
        lost: u64,
    },
    /// A chained file begins another stream.
    AnotherStream,
    /// The end of a whole file.
    End,
    /// The structure breaks off or makes no sense.
    Broken(String),
    /// The disk or pipe failed.
    Failed(io::Error),
}

/// Where packets come from.
pub enum Packets {
    /// A WAV.
    Wav(WavPackets),
    /// Opus in Ogg.
    Ogg(Box<OggOpus>),
    /// A container that the decoding library demuxes.
    Container(Box<Container>),
}

/// A container and its clock.
pub struct Container {
    /// The demuxer.
    pub reader: Box<dyn FormatReader>,
    /// The chosen track.
    pub track_id: u32,
    /// The codec's parameters.
    pub params: AudioCodecParameters,
    /// The seconds of one tick.
    pub time_base: Option<TimeBase>,
    /// Whether packets carry a clock of their own; elsewhere it is made up from
    /// the count of samples.
    pub has_clock: bool,
    /// Whether the file is known to end too early.
    pub known_cut: bool,
    /// Seconds lost by jumps of the clock so far.
    pub lost_s: f64,
    /// The last packet's clock and the samples that came of it.
    pub last: Option<(Timestamp, u64)>,
    /// Samples of the last packet that could be decoded: the codec's usual
    /// length, or 0.
    pub usual_samples: u64,
    /// Opus: how its end is found.
    pub opus: Option<OpusEnd>,
}

/// Opus fills its last packet up: that one is recognised by holding each packet
/// back until the next has come.
pub struct OpusEnd {
    padding: Padding,
    held: Option<(Packet, u64)>,
    after: Option<Next>,
}

/// How a container says what of the last packet is padding.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Padding {
    /// So many samples.
    Samples(u64),
    /// What the packet holds beyond its duration.
    BeyondDuration,
}

impl OpusEnd {
    /// Nothing held back yet.
    pub fn new(padding: Padding) -> Self {
        Self {
            padding,
            held: None,
            after: None,
        }
    }

    /// Takes what comes next; gives what came before, or `None` at first.
    fn take(&mut self, next: Next) -> Option<Next> {
        if let Next::Packet { packet, lost } = next {
            let (packet, lost) = self.held.replace((packet, lost))?;
            return Some(Next::Packet { packet, lost });
        }
        let Some((mut packet, lost)) = self.held.take() else {
            return Some(next);
        };
        if matches!(next, Next::End) {
            let samples = opus::samples(&packet.data).unwrap_or(0);
            let padding = match self.padding {
                Padding::Samples(padding) => padding.min(samples),
                Padding::BeyondDuration if packet.dur.get() == 0 => 0,
                Padding::BeyondDuration => samples.saturating_sub(packet.dur.get()),
            };
            packet.trim_end = Duration::from(padding);
        }
        self.after = Some(next);
        Some(Next::Packet { packet, lost })
    }
}

impl Packets {
    /// The codec's parameters.
    pub fn params(&self) -> &AudioCodecParameters {
        match self {
            Self::Wav(wav) => &wav.params,
            Self::Ogg(ogg) => &ogg.params,
            Self::Container(container) => &container.params,
        }
    }

    /// The next packet; `rate_hz` turns the clock into samples (0 while not
    /// known).
    pub fn next(&mut self, rate_hz: u32) -> Next {
        match self {
            Self::Wav(wav) => match wav.next_packet() {
                Ok(Some(packet)) => Next::Packet { packet, lost: 0 },
                Ok(None) => Next::End,
                Err(source) => Next::Failed(source),
            },
            Self::Ogg(ogg) => ogg.next(),
            Self::Container(container) => container.next(rate_hz),
        }
    }

    /// Tells how many samples came of the last packet, and whether they were
    /// decoded or lost.
    pub fn passed(&mut self, samples: u64, decoded: bool) {
        // What Opus decodes to is known from the packet itself.
        if let Self::Container(container) = self
            && container.opus.is_none()
        {
            if let Some((_, of_last)) = &mut container.last {
                *of_last = samples;
            }
            if decoded {
                container.usual_samples = samples;
            }
        }
    }

    /// The length a packet claims, in samples at a rate in Hz.
    pub fn samples_of(&self, packet: &Packet, rate_hz: u32) -> Option<u64> {
        match self {
            Self::Wav(_) | Self::Ogg(_) => Some(packet.dur.get()),
            Self::Container(container) if container.opus.is_some() => opus::samples(&packet.data),
            Self::Container(container) => {
                let rate_hz = container.rate_hz(rate_hz)?;
                let ticks = i64::try_from(packet.dur.get()).ok()?;
                let seconds = container.seconds(Timestamp::new(ticks))?;
                (0.0..=MAX_PACKET_S)
                    .contains(&seconds)
                    .then(|| container.whole_packets((seconds * rate_hz).round(), rate_hz))
            }
        }
    }

    /// Chooses the sound track anew after the tracks have changed.
    pub fn choose_track_again(&mut self, name: &str) -> Result<(), RecordingError> {
        if let Self::Container(container) = self {
            let reader = container.reader.as_ref();
            let all = tracks::list(reader, None);
            let (track, params, _) = track::choose(&all, reader, None, name)?;
            container.track_id = track.id;
            container.time_base = track.time_base;
            container.params = params;
            container.last = None;
        }
        Ok(())
    }
}

impl Container {
    fn next(&mut self, rate_hz: u32) -> Next {
        loop {
            if let Some(after) = self.opus.as_mut().and_then(|end| end.after.take()) {
                return after;
            }
            let next = self.next_read(rate_hz);
            let Some(end) = &mut self.opus else {
                return next;
            };
            if let Next::Packet { packet, .. } = &next {
                let samples = opus::samples(&packet.data).unwrap_or(0);
                self.last = Some((packet.pts, samples));
                self.usual_samples = samples;
            }
            if let Some(next) = end.take(next) {
                return next;
            }
        }
    }

    fn next_read(&mut self, rate_hz: u32) -> Next {
        loop {
            match guarded(|| self.reader.next_packet()) {
                Some(Ok(Some(packet))) if packet.track_id == self.track_id => {
                    let lost = self.jump(packet.pts, rate_hz);
                    self.last = Some((packet.pts, 0));
                    return Next::Packet { packet, lost };
                }
                Some(Ok(Some(_other_track))) => {}
                Some(Ok(None)) if self.known_cut => {
                    return Next::Broken("the last part of the file is missing".to_owned());
                }
                Some(Ok(None)) => return Next::End,
                Some(Err(Error::ResetRequired)) => return Next::AnotherStream,
                Some(Err(Error::IoError(e))) if e.kind() == io::ErrorKind::UnexpectedEof => {
                    return Next::Broken("the file ends too early".to_owned());
                }
                Some(Err(Error::IoError(source))) if source.raw_os_error().is_some() => {
                    return Next::Failed(source);
                }
                Some(Err(error)) => return Next::Broken(error.to_string()),
                None => return Next::Broken("its structure makes no sense".to_owned()),
            }
        }
    }

    /// Samples the clock jumped over since the end of the last packet.
    fn jump(&mut self, now: Timestamp, rate_hz: u32) -> u64 {
        let Some((before, samples)) = self.last.filter(|_| self.has_clock && rate_hz > 0) else {
            return 0;
        };
        let (Some(now_s), Some(before_s)) = (self.seconds(now), self.seconds(before)) else {
            return 0;
        };
        let rate_hz = f64::from(rate_hz);
        let jump_s = now_s - before_s - samples as f64 / rate_hz;
        let jump = self.whole_packets((jump_s * rate_hz).round().max(0.0), rate_hz);
        // A lost packet of Opus may be shorter than a sloppy clock's jumps, but it
        // is lost whole.
        let is_lost = jump_s >= MIN_JUMP_S
            || self.opus.is_some() && jump > 0 && jump.is_multiple_of(self.usual_samples.max(1));
        if !is_lost || jump_s > MAX_LOST_S - self.lost_s {
            return 0;
        }
        self.lost_s += jump_s;
        jump
    }

    /// Whole packets are lost, so a clock of milliseconds can be bettered: a
    /// number of samples that is nearly one of whole packets is taken as such.
    fn whole_packets(&self, samples: f64, rate_hz: f64) -> u64 {
        let usual = self.usual_samples.max(1) as f64;
        let whole = (samples / usual).round() * usual;
        if (whole - samples).abs() <= CLOCK_ROUNDING_S * rate_hz {
            whole as u64
        } else {
            samples as u64
        }
    }

    fn seconds(&self, at: Timestamp) -> Option<f64> {
        let base = self.time_base?;
        let ticks_per_s = f64::from(base.denom.get()) / f64::from(base.numer.get());
        Some(at.get() as f64 / ticks_per_s)
    }

    fn rate_hz(&self, known_hz: u32) -> Option<f64> {
        let hz = if known_hz > 0 {
            known_hz
        } else {
            self.params.sample_rate?
        };
        Some(f64::from(hz))
    }
}
