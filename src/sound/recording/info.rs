//! What is known of a recording beside its samples.

/// Which channel to listen to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ChannelChoice {
    /// The mean of all channels.
    #[default]
    Mix,
    /// One channel, counted from 1 as people count them.
    Only(usize),
}

/// What of a recording to listen to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Listen {
    /// The channel.
    pub channel: ChannelChoice,
    /// The sound track, counted from 1; `None`: the first one with sound.
    pub track: Option<usize>,
}

impl From<ChannelChoice> for Listen {
    fn from(channel: ChannelChoice) -> Self {
        Self {
            channel,
            track: None,
        }
    }
}

/// A recording's description.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordingInfo {
    /// The file as it was named; "standard input" for `-`.
    pub path: String,
    /// Samples a second of each channel, in Hz.
    pub sample_rate_hz: u32,
    /// Channels in the file (before mixing or choosing).
    pub channels: usize,
    /// The codec in words, for instance "AAC" or "16-bit PCM".
    pub codec: String,
    /// The container in words, for instance "WAV" or "MP4".
    pub container: String,
    /// Which sound track is listened to, counted from 1.
    pub track: usize,
    /// The sound tracks in words, in order; one in most recordings.
    pub tracks: Vec<SoundTrack>,
    /// The length the file claims, in seconds; `None` where it claims none.
    pub duration_s: Option<f64>,
    /// What an encoder did to absolute times (never to lags); `None` where the
    /// first sample is the first sample that was recorded.
    pub absolute_time_note: Option<String>,
    /// Seconds to add to a time in the sound to find it in the picture of a
    /// video: how much later than the picture the sound begins.
    pub sound_starts_after_picture_s: f64,
}

/// A sound track of a recording.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SoundTrack {
    /// What it holds, for instance "AAC, 2 channels".
    pub words: String,
    /// Whether it can be decoded.
    pub is_decoded: bool,
}

/// A stretch whose sound was lost. It is kept as silence, so that nothing after
/// it shifts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gap {
    /// The first lost sample.
    pub at_sample: u64,
    /// How many samples were lost.
    pub len_samples: u64,
}

/// What was mended on the way.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Warnings {
    /// Samples that were NaN or infinite and were replaced by 0.
    pub nonfinite_samples: u64,
    /// Lost stretches in order of time; the first [`Warnings::MAX_GAPS`] only.
    pub gaps: Vec<Gap>,
    /// How many lost stretches there were in all.
    pub gap_count: u64,
    /// Other remarks, a sentence each.
    pub notes: Vec<String>,
}

impl Warnings {
    /// How many gaps are listed: more would let a broken file eat memory.
    pub const MAX_GAPS: usize = 1_000;

    /// Adds a lost stretch; one that touches the one before lengthens it.
    pub(super) fn add_gap(&mut self, at_sample: u64, len_samples: u64) {
        if len_samples == 0 {
            return;
        }
        let listed_all = self.gap_count == self.gaps.len() as u64;
        if let Some(last) = self.gaps.last_mut()
            && listed_all
            && last.at_sample + last.len_samples == at_sample
        {
            last.len_samples += len_samples;
            return;
        }
        self.gap_count += 1;
        if self.gaps.len() < Self::MAX_GAPS {
            self.gaps.push(Gap {
                at_sample,
                len_samples,
            });
        }
    }

    /// The warnings as sentences; `sample_rate_hz` turns samples into seconds.
    pub fn sentences(&self, sample_rate_hz: u32) -> Vec<String> {
        let seconds = |samples: u64| samples as f64 / f64::from(sample_rate_hz.max(1));
        let mut out = self.notes.clone();
        if self.nonfinite_samples > 0 {
            out.push(format!(
                "{} samples were not numbers (NaN or infinite) and were taken as silence.",
                self.nonfinite_samples
            ));
        }
        if let Some(first) = self.gaps.first() {
            let lost: u64 = self.gaps.iter().map(|g| g.len_samples).sum();
            out.push(format!(
                "Sound is missing or could not be decoded in {} place{} (the first at {:.3} s, \
                 {}{:.3} s in all); silence stands in its place, so later times are right.",
                self.gap_count,
                if self.gap_count == 1 { "" } else { "s" },
                seconds(first.at_sample),
                if self.gap_count > self.gaps.len() as u64 {
                    "at least "
                } else {
                    ""
                },
                seconds(lost),
            ));
        }
        out
    }
}
