//! From an opened source to a recording whose first block is decoded.

use symphonia::core::codecs::audio::well_known as id;

use super::downmix::Downmix;
use super::error::{RATE_RANGE_HZ, RecordingError, convert};
use super::info::{ChannelChoice, RecordingInfo, Warnings};
use super::packets::{Container, Packets};
use super::sniff::{self, Kind};
use super::source::Opened;
use super::track::{self, Found, unsupported};
use super::wav::WavPackets;
use super::{Recording, mp4, names};

/// Opens what was told by its first bytes.
pub fn open(opened: Opened, channel: ChannelChoice) -> Result<Recording, RecordingError> {
    let name = opened.name.clone();
    let mut recording = match sniff::kind(&opened.head) {
        Kind::NotSound(looks_like) => {
            return Err(RecordingError::NotAudio {
                path: name,
                looks_like: looks_like.to_owned(),
            });
        }
        Kind::UndecodedSound(codec) => return Err(unsupported(&name, codec.to_owned())),
        Kind::Wav => from_wav(WavPackets::open(opened.source, &name)?, name, channel)?,
        Kind::Mp4 => from_container(track::find(opened, true)?, name, channel)?,
        Kind::Unknown => from_container(track::find(opened, false)?, name, channel)?,
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

fn from_wav(
    wav: WavPackets,
    name: String,
    channel: ChannelChoice,
) -> Result<Recording, RecordingError> {
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
    let info = empty_info(name, names::codec(wav.params.codec), "WAV".to_owned());
    Ok(Recording {
        promised_samples,
        warnings,
        ..empty(info, channel, Packets::Wav(wav), decoder)
    })
}

fn from_container(
    found: Found,
    name: String,
    channel: ChannelChoice,
) -> Result<Recording, RecordingError> {
    let Found {
        reader,
        track,
        params,
        mp4: facts,
    } = found;
    let decoder = track::decoder(&params, &name)?;
    let format = reader.format_info().short_name;
    let mut info = empty_info(name, names::codec(params.codec), names::container(format));

    let mut lead_in_samples = 0;
    let mut warnings = Warnings::default();
    let mp4_track = facts
        .as_ref()
        .and_then(|f| f.sound.iter().find(|t| t.id == track.id));
    // The container's rate field is too narrow for rates above 65535 Hz; the
    // decoder reads the codec's own.
    let rate_hz = decoder
        .codec_params()
        .sample_rate
        .or(params.sample_rate)
        .unwrap_or(0);
    let edit_list = mp4_track.filter(|t| !t.edits.is_empty());
    if let Some(track) = edit_list {
        match mp4::start(track, rate_hz) {
            Some(start) => {
                lead_in_samples = start.drop_samples;
                if let Some(ticks_per_s) = facts.as_ref().map(|f| f.movie_ticks_per_s)
                    && ticks_per_s > 0
                {
                    info.sound_starts_after_picture_s =
                        start.wait_ticks as f64 / f64::from(ticks_per_s);
                }
            }
            None => warnings.notes.push(format!(
                "{} was edited in pieces inside its container; the sound is read whole, so times \
                 may differ from those a player shows. Lags are right.",
                info.path
            )),
        }
    }
    if let Some(delay) = track.delay
        && matches!(params.codec, id::CODEC_ID_MP3 | id::CODEC_ID_AAC)
    {
        lead_in_samples = u64::from(delay);
    }
    // Elsewhere the length is an estimate, or another track's.
    let promised_samples = match format {
        "flac" | "aiff" | "caf" | "ogg" | "isomp4" => track.num_frames,
        "mp3" if track.delay.is_some() => track
            .num_frames
            .map(|valid| valid.saturating_add(lead_in_samples)),
        _ => None,
    };
    if promised_samples.is_some_and(|promised| lead_in_samples >= promised) {
        lead_in_samples = 0;
    }
    info.absolute_time_note = absolute_time_note(params.codec, lead_in_samples, rate_hz);
    info.duration_s = match format {
        "mp3" | "mp2" | "adts" | "aac" => None,
        _ => {
            let of_track = track.duration.zip(track.time_base);
            let of_file = reader
                .media_info()
                .duration
                .zip(reader.media_info().time_base);
            of_track.or(of_file).map(|(ticks, base)| {
                ticks.get() as f64 * f64::from(base.numer.get()) / f64::from(base.denom.get())
            })
        }
    };
    let has_clock = matches!(format, "isomp4" | "matroska" | "mkv" | "ogg");
    let packets = Packets::Container(Box::new(Container {
        reader,
        track_id: track.id,
        params,
        time_base: track.time_base,
        has_clock,
        known_cut: facts.is_some_and(|f| f.cut_from_bytes.is_some()),
        lost_s: 0.0,
        last: None,
        usual_samples: 0,
    }));
    Ok(Recording {
        lead_in_samples,
        promised_samples,
        warnings,
        ..empty(info, channel, packets, decoder)
    })
}

/// What an encoder does to absolute times. The delays are the usual ones of the
/// encoders (AAC: 1024 to 2112 samples, MP3: 576 to 1105 with the decoder's
/// 529; common practice, values from memory).
fn absolute_time_note(
    codec: symphonia::core::codecs::audio::AudioCodecId,
    lead_in_samples: u64,
    rate_hz: u32,
) -> Option<String> {
    let (name, usual) = match codec {
        id::CODEC_ID_AAC => ("AAC", 2112_u32),
        id::CODEC_ID_MP3 => ("MP3", 1105),
        id::CODEC_ID_MP2 => ("MP2", 1105),
        _ => return None,
    };
    let ms = |samples: f64| samples * 1000.0 / f64::from(rate_hz.max(1));
    Some(if lead_in_samples > 0 {
        format!(
            "{name}: the encoder's lead-in that the file declares ({lead_in_samples} samples, \
             {:.1} ms) is left out, as players do; times count from the first sample after it.",
            ms(lead_in_samples as f64)
        )
    } else {
        format!(
            "{name}: the file does not declare its encoder's lead-in; times from the start may be \
             late by up to about {:.0} ms. Lags are not touched.",
            ms(f64::from(usual))
        )
    })
}

fn empty_info(path: String, codec: String, container: String) -> RecordingInfo {
    RecordingInfo {
        path,
        sample_rate_hz: 0,
        channels: 0,
        codec,
        container,
        duration_s: None,
        absolute_time_note: None,
        sound_starts_after_picture_s: 0.0,
    }
}

fn empty(
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
        cut_short: None,
        warnings: Warnings::default(),
    }
}
