//! From an opened source to a recording whose first block is decoded.

use super::downmix::Downmix;
use super::error::{RATE_RANGE_HZ, RecordingError, convert};
use super::info::{ChannelChoice, Listen, RecordingInfo, SoundTrack, Warnings};
use super::ogg_opus::OggOpus;
use super::packets::Packets;
use super::sniff::{self, Kind};
use super::source::Opened;
use super::track::{self, damaged, unsupported};
use super::wav::WavPackets;
use super::{Recording, container, names, tracks};

/// Opens what was told by its first bytes.
pub fn open(opened: Opened, listen: Listen) -> Result<Recording, RecordingError> {
    let name = opened.name.clone();
    let kind = sniff::kind(&opened.head);
    let mut recording = match kind {
        Kind::NotSound(looks_like) => {
            return Err(RecordingError::NotAudio {
                path: name,
                looks_like: looks_like.to_owned(),
            });
        }
        Kind::UndecodedSound(codec) => return Err(unsupported(&name, codec.to_owned())),
        Kind::Wav => from_wav(WavPackets::open(opened.source, &name)?, name, listen)?,
        Kind::OggOpus => from_ogg_opus(opened, listen)?,
        Kind::Mp4 | Kind::Mkv | Kind::Unknown => container::recording(
            track::find(opened, kind, listen.track)?,
            name,
            listen.channel,
        )?,
    };
    while !recording.block_waits && !recording.ended {
        recording.decode_next()?;
    }
    check(&recording)?;
    let rate_hz = f64::from(recording.info.sample_rate_hz);
    if let Some(promised) = recording.promised_samples {
        let samples = promised.saturating_sub(recording.lead_in_samples);
        recording.info.duration_s = Some(samples as f64 / rate_hz);
    }
    Ok(recording)
}

fn check(recording: &Recording) -> Result<(), RecordingError> {
    let info = &recording.info;
    let path = || info.path.clone();
    if !recording.block_waits {
        return Err(RecordingError::NoSamples {
            path: path(),
            detail: if recording.raw_samples > 0 {
                " that can be decoded".to_owned()
            } else {
                String::new()
            },
        });
    }
    check_rate(info.sample_rate_hz, &info.path)?;
    if let ChannelChoice::Only(wanted) = recording.channel
        && (wanted == 0 || wanted > info.channels)
    {
        return Err(RecordingError::NoSuchChannel {
            path: path(),
            wanted,
            channels: info.channels,
        });
    }
    Ok(())
}

fn check_rate(rate_hz: u32, name: &str) -> Result<(), RecordingError> {
    if RATE_RANGE_HZ.contains(&rate_hz) {
        return Ok(());
    }
    Err(RecordingError::Rate {
        path: name.to_owned(),
        rate_hz,
        way_out: convert(name).replace(" -vn ", " -vn -ar 48000 "),
    })
}

fn from_wav(wav: WavPackets, name: String, listen: Listen) -> Result<Recording, RecordingError> {
    let codec = names::codec(wav.params.codec);
    tracks::only_one(listen, &name, &codec)?;
    check_rate(wav.params.sample_rate.unwrap_or(0), &name)?;
    let decoder = track::decoder(&wav.params, &name)?;
    let promised_samples = wav.promised_frames();
    let mut warnings = Warnings::default();
    if promised_samples.is_none() {
        warnings.notes.push(format!(
            "{name} does not say how long it is (a recorder that was stopped, or a stream); it \
             is read to the end of the file."
        ));
    }
    let info = empty_info(name, codec, "WAV".to_owned());
    Ok(Recording {
        promised_samples,
        warnings,
        ..empty(info, listen.channel, Packets::Wav(wav), decoder)
    })
}

fn from_ogg_opus(opened: Opened, listen: Listen) -> Result<Recording, RecordingError> {
    let name = opened.name;
    let ogg = OggOpus::open(opened.source.into_read()).map_err(|source| RecordingError::Io {
        path: name.clone(),
        source,
    })?;
    let ogg = ogg.ok_or_else(|| damaged(&name, "its Opus header makes no sense"))?;
    let codec = names::codec(ogg.params.codec);
    tracks::only_one(listen, &name, &codec)?;
    let decoder = track::decoder(&ogg.params, &name)?;
    let info = empty_info(name, codec, "Ogg".to_owned());
    Ok(empty(
        info,
        listen.channel,
        Packets::Ogg(Box::new(ogg)),
        decoder,
    ))
}

pub fn empty_info(path: String, codec: String, container: String) -> RecordingInfo {
    RecordingInfo {
        path,
        sample_rate_hz: 0,
        channels: 0,
        tracks: vec![SoundTrack {
            words: codec.clone(),
            is_decoded: true,
        }],
        track: 1,
        codec,
        container,
        duration_s: None,
        absolute_time_note: None,
        sound_starts_after_picture_s: 0.0,
    }
}

pub fn empty(
    info: RecordingInfo,
    channel: ChannelChoice,
    packets: Packets,
    decoder: Box<dyn symphonia::core::codecs::audio::AudioDecoder>,
) -> Recording {
    Recording {
        info,
        channel,
        packets,
        decoder,
        downmix: Downmix::default(),
        silence_samples: 0,
        block_waits: false,
        ended: false,
        lead_in_samples: 0,
        passed_samples: 0,
        raw_samples: 0,
        promised_samples: None,
        promise_slack: 0,
        end_samples: None,
        packet_bytes: 0,
        cut_short: None,
        warnings: Warnings::default(),
    }
}
