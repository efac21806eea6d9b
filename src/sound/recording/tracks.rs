//! The sound tracks of a container, and which one is listened to.

use symphonia::core::codecs::audio::AudioCodecParameters;
use symphonia::core::formats::{FormatReader, Track};

use super::error::RecordingError;
use super::info::{ChannelChoice, Listen, RecordingInfo, SoundTrack};
use super::{Recording, mp4, names, track};

/// A sound track, with what the demuxer knows of it.
pub struct Sound {
    /// In words.
    pub words: SoundTrack,
    /// The track and its codec, where the demuxer knows it.
    pub known: Option<(Track, AudioCodecParameters)>,
}

/// The sound tracks in order.
pub fn list(reader: &dyn FormatReader, facts: Option<&mp4::Facts>) -> Vec<Sound> {
    let known: Vec<(Track, AudioCodecParameters)> = reader
        .tracks()
        .iter()
        .filter_map(|track| {
            let params = track.codec_params.as_ref()?.audio()?;
            Some((track.clone(), params.clone()))
        })
        .collect();
    let Some(facts) = facts else {
        return known.into_iter().map(Sound::known).collect();
    };
    // Tracks the demuxer does not know are still named by their sample entry.
    let of_id = |id| known.iter().find(|(track, _)| track.id == id);
    facts
        .sound
        .iter()
        .map(|sound| match of_id(sound.id) {
            Some(known) => Sound::known(known.clone()),
            None => Sound {
                words: SoundTrack {
                    words: match &sound.entry {
                        b"mp4a" => "MPEG-4 audio that is not known here".to_owned(),
                        _ => names::mp4_sample_entry(sound.entry),
                    },
                    is_decoded: false,
                },
                known: None,
            },
        })
        .collect()
}

impl Sound {
    fn known((track, params): (Track, AudioCodecParameters)) -> Self {
        let mut words = names::codec(params.codec);
        match params.channels.as_ref().map(|c| c.count()) {
            None | Some(0) => {}
            Some(1) => words += ", 1 channel",
            Some(n) => words += &format!(", {n} channels"),
        }
        if let Some(language) = track.language.as_deref().filter(|l| *l != "und") {
            words += &format!(", language \"{language}\"");
        }
        Self {
            words: SoundTrack {
                words,
                is_decoded: track::is_decoded(&params),
            },
            known: Some((track, params)),
        }
    }
}

/// Refuses a track of a recording that has but one.
pub fn only_one(listen: Listen, path: &str, words: &str) -> Result<(), RecordingError> {
    match listen.track {
        None | Some(1) => Ok(()),
        Some(wanted) => Err(missing(wanted, path, &[words.to_owned()])),
    }
}

/// The error for a track that is not there, or cannot be decoded.
pub fn missing(wanted: usize, path: &str, tracks: &[String]) -> RecordingError {
    let is_there = wanted >= 1 && wanted <= tracks.len();
    RecordingError::Track {
        path: path.to_owned(),
        what: if is_there {
            format!("sound track {wanted} cannot be decoded here")
        } else {
            format!("there is no sound track {wanted}")
        },
        tracks: match tracks {
            [only] => format!("It has one: {only}. Tracks are counted from 1."),
            _ => format!(
                "It has {}: {}. Tracks are counted from 1.",
                tracks.len(),
                numbered(tracks)
            ),
        },
    }
}

fn numbered(tracks: &[String]) -> String {
    let one = |(n, words): (usize, &String)| format!("{} ({words})", n + 1);
    let all: Vec<String> = tracks.iter().enumerate().map(one).collect();
    all.join(", ")
}

impl RecordingInfo {
    /// Which of several sound tracks is listened to, in words; `None` where
    /// there is but one.
    pub fn track_note(&self) -> Option<String> {
        let words: Vec<String> = self.tracks.iter().map(|t| t.words.clone()).collect();
        (words.len() > 1).then(|| {
            format!(
                "{} sound tracks: {}; track {} is listened to",
                words.len(),
                numbered(&words),
                self.track
            )
        })
    }
}

/// Quieter than this (−80 dB of full scale) in its first minute, a track is taken
/// for one that nothing was plugged into.
const SILENT: f32 = 1e-4;
const LISTEN_S: f64 = 60.0;

/// The first track with sound of a recording with several; the first that can be
/// decoded where all are silent. `open` opens a track anew.
pub fn first_with_sound(
    first: Recording,
    channel: ChannelChoice,
    open: impl Fn(Listen) -> Result<Recording, RecordingError>,
) -> Result<Recording, RecordingError> {
    let decoded = first.info.tracks.iter().filter(|t| t.is_decoded).count();
    if decoded < 2 {
        return Ok(first);
    }
    for (at, track) in first.info.tracks.iter().enumerate() {
        if !track.is_decoded {
            continue;
        }
        let listen = Listen {
            channel,
            track: Some(at + 1),
        };
        // A track that cannot be read is passed over, not the end of the others.
        if open(listen).is_ok_and(has_sound) {
            return open(listen);
        }
    }
    Ok(first)
}

fn has_sound(mut recording: Recording) -> bool {
    let most = (LISTEN_S * f64::from(recording.info.sample_rate_hz)) as usize;
    let mut heard = 0;
    while let Ok(Some(block)) = recording.next_block() {
        if block.iter().any(|x| x.abs() > SILENT) {
            return true;
        }
        heard += block.len();
        if heard > most {
            break;
        }
    }
    false
}
