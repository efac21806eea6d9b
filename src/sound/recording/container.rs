//! From the chosen track of a container to a recording: where its sound begins and
//! ends, how long it says it is, and what its encoder did to absolute times.

use symphonia::core::codecs::audio::AudioCodecId;
use symphonia::core::codecs::audio::well_known as id;
use symphonia::core::formats::{FormatReader, Track};

use super::error::RecordingError;
use super::info::{ChannelChoice, SoundTrack, Warnings};
use super::opening::{empty, empty_info};
use super::packets::{Container, OpusEnd, Packets, Padding};
use super::track::{self, Found};
use super::{Recording, aac, mp4, names, opus};

/// Makes a recording of a found track.
pub fn recording(
    found: Found,
    name: String,
    channel: ChannelChoice,
) -> Result<Recording, RecordingError> {
    let decoder = track::decoder(&found.params, &name)?;
    // The container's rate field is too narrow for rates above 65535 Hz; the
    // decoder reads the codec's own.
    let rate_hz = decoder
        .codec_params()
        .sample_rate
        .or(found.params.sample_rate)
        .unwrap_or(0);
    let format = found.reader.format_info().short_name;
    let facts = found.mp4.as_ref();
    let mp4_track = facts.and_then(|f| f.sound.iter().find(|t| t.id == found.track.id));

    let codec = names::codec(found.params.codec);
    let mut info = empty_info(name, codec, names::container(format));
    info.track = found.number;
    let mut warnings = Warnings::default();
    if let Some(name) = he_aac(&found, mp4_track, rate_hz) {
        warnings.notes.push(he_aac_note(name, rate_hz));
        info.codec = "HE-AAC".to_owned();
    }
    let edit_list = mp4_track.filter(|t| !t.edits.is_empty());
    let start = edit_list.and_then(|track| mp4::start(track, rate_hz));
    if edit_list.is_some() && start.is_none() {
        warnings.notes.push(format!(
            "{} was edited in pieces inside its container; the sound is read whole, so times \
             may differ from those a player shows. Lags are right.",
            info.path
        ));
    }
    let movie_ticks_per_s = facts.map_or(0, |f| f.movie_ticks_per_s);
    if let Some(start) = start
        && movie_ticks_per_s > 0
    {
        info.sound_starts_after_picture_s = start.wait_ticks as f64 / f64::from(movie_ticks_per_s);
    }
    let mut lead_in_samples = lead_in(&found, start);
    let length = Length::of(&found, format, rate_hz, lead_in_samples);
    if length.samples.is_some_and(|all| lead_in_samples >= all) {
        lead_in_samples = 0;
    }
    let is_opus = found.params.codec == id::CODEC_ID_OPUS;
    let end_samples = match format {
        "caf" if is_opus => length.samples,
        "isomp4" if is_opus => start.and_then(|s| edited_end(s, movie_ticks_per_s, &length)),
        _ => None,
    };
    info.absolute_time_note = absolute_time_note(found.params.codec, lead_in_samples, rate_hz);
    info.duration_s = claimed_s(&found.track, found.reader.as_ref(), format);
    info.tracks.clone_from(&found.tracks);
    name_the_only_one(&mut info.tracks, &info.codec);
    let packets = Packets::Container(Box::new(container(found, format)));
    Ok(Recording {
        lead_in_samples,
        promised_samples: end_samples.or(length.samples),
        promise_slack: length.slack,
        end_samples,
        warnings,
        ..empty(info, channel, packets, decoder)
    })
}

fn name_the_only_one(tracks: &mut Vec<SoundTrack>, codec: &str) {
    if tracks.is_empty() {
        tracks.push(SoundTrack {
            words: codec.to_owned(),
            is_decoded: true,
        });
    }
}

fn container(found: Found, format: &str) -> Container {
    let padding_ns = found
        .mkv_paddings
        .iter()
        .find(|(track, _)| *track == u64::from(found.track.id))
        .map_or(0, |(_, ns)| *ns);
    let ticks_per_s = found.track.time_base.map_or(0, |base| base.denom.get());
    let padding = match format {
        "isomp4" if ticks_per_s == opus::RATE_HZ => Padding::BeyondDuration,
        _ => Padding::Samples(samples_of(padding_ns, 1_000_000_000, opus::RATE_HZ)),
    };
    let is_opus = found.params.codec == id::CODEC_ID_OPUS;
    Container {
        reader: found.reader,
        track_id: found.track.id,
        params: found.params,
        time_base: found.track.time_base,
        has_clock: matches!(format, "isomp4" | "matroska" | "mkv" | "ogg"),
        known_cut: found.mp4.is_some_and(|f| f.cut_from_bytes.is_some()),
        lost_s: 0.0,
        last: None,
        usual_samples: 0,
        opus: is_opus.then(|| OpusEnd::new(padding)),
    }
}

/// The name of HE-AAC, of which the plain core is decoded. A file that does not
/// signal it shows it by a container that counts at twice the core's rate
/// (ISO/IEC 14496-3, 1.6.5: implicit signalling).
fn he_aac(found: &Found, mp4: Option<&mp4::SoundTrack>, rate_hz: u32) -> Option<&'static str> {
    if found.params.codec != id::CODEC_ID_AAC {
        return None;
    }
    let config = found.params.extra_data.as_deref().unwrap_or_default();
    match aac::config(config) {
        aac::Config::BandReplication { name, .. } => Some(name),
        _ => mp4
            .filter(|t| rate_hz > 0 && (t.rate_hz == 2 * rate_hz || t.ticks_per_s == 2 * rate_hz))
            .map(|_| aac::HE_AAC),
    }
}

fn he_aac_note(name: &str, rate_hz: u32) -> String {
    // A full decoder's filters delay by 962 samples at twice the core's rate
    // (ISO/IEC 14496-3, 4.6.18), which a file may count as lead-in.
    let early_ms = 962.0 * 500.0 / f64::from(rate_hz.max(1));
    format!(
        "{name}: only its core is decoded, at {rate_hz} Hz, half its rate and without what lies \
         above {:.0} kHz. Times from the start may be early by up to \
         {early_ms:.0} ms; lags are not touched.",
        f64::from(rate_hz) / 2000.0
    )
}

/// Samples at the start that are the encoder's lead-in.
fn lead_in(found: &Found, start: Option<mp4::Start>) -> u64 {
    let edited = start.map_or(0, |start| start.drop_samples);
    let delay = found.track.delay.map(u64::from);
    match found.params.codec {
        id::CODEC_ID_MP3 | id::CODEC_ID_AAC => delay.unwrap_or(edited),
        id::CODEC_ID_OPUS if edited == 0 => opus::pre_skip(&found.params).or(delay).unwrap_or(0),
        _ => edited,
    }
}

/// The length that a file says it has.
struct Length {
    /// In samples, with the lead-in.
    samples: Option<u64>,
    /// How many fewer are no sign of a cut.
    slack: u64,
    rate_hz: u32,
    in_pieces: bool,
}

impl Length {
    fn of(found: &Found, format: &str, rate_hz: u32, lead_in_samples: u64) -> Self {
        let track = &found.track;
        let with_lead_in = track
            .num_frames
            .map(|valid| valid.saturating_add(lead_in_samples));
        // Elsewhere the length is an estimate, or another track's.
        let (samples, slack) = match format {
            "flac" | "aiff" | "ogg" => (track.num_frames, 0),
            // Some writers count whole packets, also where the last holds less.
            "caf" => match found.params.max_frames_per_packet {
                Some(frames) if !names::is_plain(found.params.codec) => {
                    (with_lead_in, frames.saturating_sub(1))
                }
                _ => (track.num_frames, 0),
            },
            "mp3" if track.delay.is_some() => (with_lead_in, 0),
            "isomp4" => in_ticks(found, rate_hz),
            _ => (None, 0),
        };
        Self {
            samples,
            slack,
            rate_hz,
            in_pieces: found.mp4.as_ref().is_none_or(|f| f.in_pieces),
        }
    }
}

/// The length by the container's clock, which may run at another rate than the
/// decoded sound, and how far it is rounded.
fn in_ticks(found: &Found, rate_hz: u32) -> (Option<u64>, u64) {
    let track = &found.track;
    let clock = track.duration.zip(track.time_base);
    let Some((duration, base)) = clock.filter(|(_, base)| base.numer.get() == 1) else {
        return (track.num_frames, 0);
    };
    let ticks_per_s = base.denom.get();
    let rounding = match ticks_per_s {
        same if same == rate_hz => 0,
        other => u64::from(rate_hz.div_ceil(other)),
    };
    // Recorders that stamp Opus by a clock of their own are off by less than a
    // packet.
    let slack = match found.params.codec {
        id::CODEC_ID_OPUS => rounding + 960,
        _ => rounding,
    };
    let samples = samples_of(duration.get(), ticks_per_s, rate_hz);
    (Some(samples), slack)
}

/// Where an edit list ends the sound, in samples; `None` where that is the end of
/// the media, as far as the ticks of the movie tell.
fn edited_end(start: mp4::Start, movie_ticks_per_s: u32, length: &Length) -> Option<u64> {
    let all = length.samples?;
    if start.play_ticks == 0 || movie_ticks_per_s == 0 || length.in_pieces {
        return None;
    }
    let played = samples_of(start.play_ticks, movie_ticks_per_s, length.rate_hz);
    let end = start.drop_samples.saturating_add(played);
    let tick = u64::from(length.rate_hz.div_ceil(movie_ticks_per_s));
    (end.saturating_add(tick) < all).then_some(end)
}

/// Ticks as samples, rounded to the nearest.
fn samples_of(ticks: u64, ticks_per_s: u32, rate_hz: u32) -> u64 {
    let ticks_per_s = u128::from(ticks_per_s.max(1));
    let samples = (u128::from(ticks) * u128::from(rate_hz) + ticks_per_s / 2) / ticks_per_s;
    u64::try_from(samples).unwrap_or(u64::MAX)
}

/// The length in seconds that the track or the file claims.
fn claimed_s(track: &Track, reader: &dyn FormatReader, format: &str) -> Option<f64> {
    if matches!(format, "mp3" | "mp2" | "adts" | "aac") {
        return None;
    }
    let of_track = track.duration.zip(track.time_base);
    let of_file = reader
        .media_info()
        .duration
        .zip(reader.media_info().time_base);
    of_track.or(of_file).map(|(ticks, base)| {
        ticks.get() as f64 * f64::from(base.numer.get()) / f64::from(base.denom.get())
    })
}

/// What an encoder does to absolute times. The delays are the usual ones of the
/// encoders (AAC: 1024 to 2112 samples, MP3: 576 to 1105 with the decoder's
/// 529; common practice, values from memory; Opus: 312 of libopus).
fn absolute_time_note(codec: AudioCodecId, lead_in_samples: u64, rate_hz: u32) -> Option<String> {
    let (name, usual) = match codec {
        id::CODEC_ID_AAC => ("AAC", 2112_u32),
        id::CODEC_ID_MP3 => ("MP3", 1105),
        id::CODEC_ID_MP2 => ("MP2", 1105),
        // Declared by its format; some writers of CAF leave it out.
        id::CODEC_ID_OPUS if lead_in_samples == 0 => ("Opus", 312),
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
