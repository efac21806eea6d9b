//! Opus: its header in each container, and its decoder behind the library's trait.
//!
//! RFC 6716 (codec), RFC 7845 section 5.1 (header), "Encapsulation of Opus in ISO
//! Base Media File Format" section 4.3.2 (the header in MP4).

use opus_pure::{ChannelLayout, MAX_PACKET_SAMPLES, OpusDecoder, OpusMSDecoder, packet};
use symphonia::core::audio::{
    AsGenericAudioBufferRef, AudioBuffer, AudioMut, AudioSpec, Channels, GenericAudioBufferRef,
};
use symphonia::core::codecs::CodecInfo;
use symphonia::core::codecs::audio::well_known::CODEC_ID_OPUS;
use symphonia::core::codecs::audio::{
    AudioCodecParameters, AudioDecoder, AudioDecoderOptions, FinalizeResult,
};
use symphonia::core::codecs::registry::{RegisterableAudioDecoder, SupportedAudioCodec};
use symphonia::core::errors::{Error, Result};
use symphonia::core::packet::PacketRef;

/// Opus counts time at this rate whatever was recorded, in Hz.
pub const RATE_HZ: u32 = 48_000;

/// The shortest Opus frame, 2.5 ms, in samples at [`RATE_HZ`].
pub const SHORTEST_FRAME: u64 = 120;

/// The identification header.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Head {
    /// Channels of the decoded sound.
    pub channels: u8,
    /// Decoded samples before the first one that was recorded.
    pub pre_skip: u16,
    gain_q8: i16,
    family: u8,
    /// Streams, how many of them are pairs, and the channels' places (section 5.1.1).
    layout: Vec<u8>,
}

impl Head {
    /// Reads "OpusHead". In MP4 its version is 0 and its numbers are big-endian.
    pub fn parse(bytes: &[u8]) -> Option<Self> {
        let body = bytes.strip_prefix(b"OpusHead")?;
        let (version, channels) = (*body.first()?, *body.get(1)?);
        let two = |at: usize| -> Option<[u8; 2]> { body.get(at..at + 2)?.try_into().ok() };
        let (pre_skip, gain) = (two(2)?, two(8)?);
        let is_mp4 = version == 0;
        let family = *body.get(10)?;
        let layout = match family {
            0 => Vec::new(),
            _ => body.get(11..13 + usize::from(channels))?.to_vec(),
        };
        // An unknown minor version reads the same (section 5.1).
        (version >> 4 == 0 && channels > 0 && (family > 0 || channels <= 2)).then_some(Self {
            channels,
            pre_skip: if is_mp4 {
                u16::from_be_bytes(pre_skip)
            } else {
                u16::from_le_bytes(pre_skip)
            },
            gain_q8: if is_mp4 {
                i16::from_be_bytes(gain)
            } else {
                i16::from_le_bytes(gain)
            },
            family,
            layout,
        })
    }

    /// The header of a track: a CAF has none, only its number of channels.
    fn of(params: &AudioCodecParameters) -> Option<Self> {
        let bytes = params.extra_data.as_deref().unwrap_or_default();
        if bytes.starts_with(b"OpusHead") {
            return Self::parse(bytes);
        }
        let channels = params.channels.as_ref().map_or(1, Channels::count);
        (channels <= 2).then_some(Self {
            channels: u8::try_from(channels).ok()?,
            pre_skip: 0,
            gain_q8: 0,
            family: 0,
            layout: Vec::new(),
        })
    }
}

/// The pre-skip that a track's header declares, in samples at [`RATE_HZ`];
/// `None` where there is no header.
pub fn pre_skip(params: &AudioCodecParameters) -> Option<u64> {
    let bytes = params.extra_data.as_deref()?;
    Head::parse(bytes).map(|head| u64::from(head.pre_skip))
}

/// Decoded samples of a packet at [`RATE_HZ`]; `None` for what is no Opus packet.
pub fn samples(packet: &[u8]) -> Option<u64> {
    let samples = packet::samples_48k(packet).ok()?;
    u64::try_from(samples).ok().filter(|n| *n > 0)
}

enum Streams {
    One(Box<OpusDecoder>),
    Several(Box<OpusMSDecoder>),
}

/// The decoder.
pub struct Opus {
    params: AudioCodecParameters,
    head: Head,
    streams: Streams,
    interleaved: Vec<f32>,
    buffer: AudioBuffer<f32>,
}

impl Opus {
    fn new(params: &AudioCodecParameters) -> Result<Self> {
        let head = Head::of(params).ok_or(Error::DecodeError("its Opus header makes no sense"))?;
        let mut params = params.clone();
        let channels = Channels::Discrete(u16::from(head.channels));
        params
            .with_sample_rate(RATE_HZ)
            .with_channels(channels.clone());
        Ok(Self {
            streams: streams(&head)?,
            interleaved: vec![0.0; MAX_PACKET_SAMPLES * usize::from(head.channels)],
            buffer: AudioBuffer::new(AudioSpec::new(RATE_HZ, channels), MAX_PACKET_SAMPLES),
            params,
            head,
        })
    }

    fn decode_whole(&mut self, data: &[u8]) -> Result<usize> {
        // An empty packet would ask for invented sound.
        if samples(data).is_none_or(|n| n > MAX_PACKET_SAMPLES as u64) {
            return Err(Error::DecodeError("no Opus packet"));
        }
        let decoded = match &mut self.streams {
            Streams::One(one) => one.decode(data, MAX_PACKET_SAMPLES, &mut self.interleaved),
            Streams::Several(all) => all.decode(data, MAX_PACKET_SAMPLES, &mut self.interleaved),
        };
        decoded.map_err(|_| Error::DecodeError("a broken Opus packet"))
    }
}

fn streams(head: &Head) -> Result<Streams> {
    let rate_hz = RATE_HZ.cast_signed();
    let gain = i32::from(head.gain_q8);
    let unusual = || Error::Unsupported("its channels are arranged in a way of their own");
    if head.family == 0 {
        let mut one = OpusDecoder::new(rate_hz, usize::from(head.channels));
        if let Ok(one) = &mut one {
            one.gain_q8 = gain;
        }
        return one
            .map(|d| Streams::One(Box::new(d)))
            .map_err(|_| unusual());
    }
    let channels = usize::from(head.channels);
    let mut all = OpusMSDecoder::new(rate_hz, channels, head.family).map_err(|_| unusual())?;
    if !is_usual(all.layout(), &head.layout) {
        return Err(unusual());
    }
    for one in all.streams_mut() {
        one.gain_q8 = gain;
    }
    Ok(Streams::Several(Box::new(all)))
}

/// Whether a header's layout is the one that the decoder lays out.
fn is_usual(decoded: &ChannelLayout, declared: &[u8]) -> bool {
    let [streams, pairs, mapping @ ..] = declared else {
        return false;
    };
    usize::from(*streams) == decoded.nb_streams
        && usize::from(*pairs) == decoded.nb_coupled_streams
        && mapping == decoded.mapping.as_slice()
}

impl AudioDecoder for Opus {
    fn reset(&mut self) {
        if let Ok(fresh) = streams(&self.head) {
            self.streams = fresh;
        }
    }

    fn codec_info(&self) -> &CodecInfo {
        &Self::supported_codecs()[0].info
    }

    fn codec_params(&self) -> &AudioCodecParameters {
        &self.params
    }

    fn decode_ref(&mut self, packet: &PacketRef<'_>) -> Result<GenericAudioBufferRef<'_>> {
        self.buffer.clear();
        let frames = self.decode_whole(packet.data)?;
        self.buffer.render_uninit(Some(frames));
        let channels = usize::from(self.head.channels);
        for (channel, plane) in self.buffer.iter_planes_mut().enumerate() {
            let from = self.interleaved.iter().skip(channel).step_by(channels);
            for (to, from) in plane.iter_mut().zip(from) {
                *to = *from;
            }
        }
        let ticks = |n: u64| usize::try_from(n).unwrap_or(usize::MAX).min(frames);
        let start = ticks(packet.trim_start.get());
        let end = ticks(packet.trim_end.get()).min(frames - start);
        self.buffer.trim(start, end);
        Ok(self.buffer.as_generic_audio_buffer_ref())
    }

    fn finalize(&mut self) -> FinalizeResult {
        FinalizeResult::default()
    }

    fn last_decoded(&self) -> GenericAudioBufferRef<'_> {
        self.buffer.as_generic_audio_buffer_ref()
    }
}

impl RegisterableAudioDecoder for Opus {
    fn try_registry_new(
        params: &AudioCodecParameters,
        _: &AudioDecoderOptions,
    ) -> Result<Box<dyn AudioDecoder>> {
        Ok(Box::new(Self::new(params)?))
    }

    fn supported_codecs() -> &'static [SupportedAudioCodec] {
        &[SupportedAudioCodec {
            id: CODEC_ID_OPUS,
            info: CodecInfo {
                short_name: "opus",
                long_name: "Opus",
                profiles: &[],
            },
        }]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use symphonia::core::packet::Packet;
    use symphonia::core::units::Duration;

    /// RFC 7845, figure 3: two channels, pre-skip 312, 44100 Hz, gain 0, family 0;
    /// in MP4 the same with version 0 and the other order of bytes.
    #[test]
    fn both_orders_of_bytes() {
        let ogg = b"OpusHead\x01\x02\x38\x01\x44\xac\0\0\0\0\0";
        let mp4 = b"OpusHead\0\x02\x01\x38\0\0\xac\x44\0\0\0";
        let head = Head::parse(ogg).unwrap();
        assert_eq!((head.channels, head.pre_skip), (2, 312));
        assert_eq!(Head::parse(mp4), Some(head));
        assert_eq!(Head::parse(&ogg[..18]), None);
        assert_eq!(
            Head::parse(b"OpusHead\x11\x02\x38\x01\x44\xac\0\0\0\0\0"),
            None
        );
    }

    /// A frame of no bytes is one that was not sent (RFC 6716, 3.2.1): it lasts as
    /// its first byte says, 20 ms here, of either layer.
    #[test]
    fn a_frame_that_was_not_sent_keeps_its_length() {
        let mut decoder = Opus::new(&AudioCodecParameters::new()).unwrap();
        for first in [9 << 3, 31 << 3] {
            let packet = Packet::new(0, 0.into(), Duration::from(960_u64), vec![first]);
            assert_eq!(decoder.decode(&packet).unwrap().frames(), 960);
        }
        let empty = Packet::new(0, 0.into(), Duration::from(960_u64), Vec::new());
        assert!(decoder.decode(&empty).is_err());
    }
}
