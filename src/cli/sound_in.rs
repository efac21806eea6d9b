//! Where a live command hears from: the chosen microphone, or a recording played
//! through the same path.

use std::fs;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::Args;

use super::prose;
use crate::journal::Home;
use crate::sound::microphone::{Microphone, devices};
use crate::sound::recording::{ChannelChoice, Listen, Recording, RecordingInfo};
use crate::sound::{Choice, MicError, Pace, Pick, PickError, Played, Reel, SampleSource};
use crate::system::files::write_private_file;

/// What to do where there is no microphone.
const WITHOUT: &str = "Without one, record with a phone beside you and copy the recording here: marklag review FILE times its marks, and --from FILE plays it in place of a microphone.";

/// Which sound a live command listens to.
#[derive(Debug, Clone, Args)]
pub(super) struct SoundIn {
    /// Listen with this microphone and remember it: a part of its name, or its id
    #[arg(long, value_name = "NAME")]
    microphone: Option<String>,
    /// Listen to this channel of the microphone only, counted from 1
    #[arg(long, value_name = "N")]
    channel: Option<u16>,
    /// Play a recording through the live path instead of a microphone
    #[arg(long, value_name = "FILE", conflicts_with = "microphone")]
    from: Option<PathBuf>,
    /// With --from: listen to this sound track of a video, counted from 1 (the first
    /// with sound otherwise)
    #[arg(long, value_name = "N", requires = "from")]
    track: Option<NonZeroUsize>,
    /// With --from: as fast as it goes instead of in real time
    #[arg(long, requires = "from")]
    fast: bool,
}

/// A source that is open, and what is kept of where it comes from.
pub(super) struct Origin {
    pub(super) source: Box<dyn SampleSource>,
    pub(super) name: String,
    pub(super) channels: u16,
}

impl SoundIn {
    /// Opens the microphone, or the recording in its place.
    pub(super) fn origin(&self, home: &Home) -> anyhow::Result<Origin> {
        if let Some((file, info)) = self.recording()? {
            return Ok(Origin {
                source: self.open(home)?,
                name: file.display().to_string(),
                channels: u16::try_from(info.channels).unwrap_or(u16::MAX),
            });
        }
        let microphone = self.microphone(home)?;
        let opened = microphone.opened().clone();
        Ok(Origin {
            source: Box::new(microphone),
            name: opened.device.description,
            channels: opened.channels,
        })
    }

    /// Whether a recording stands in for the microphone.
    pub(super) fn is_recording(&self) -> bool {
        self.from.is_some()
    }

    /// A microphone by the name and channel of a command that has its own flags
    /// for them.
    pub(super) fn of_microphone(microphone: Option<String>, channel: Option<u16>) -> Self {
        Self {
            microphone,
            channel,
            from: None,
            track: None,
            fast: false,
        }
    }

    /// The recording that stands in for the microphone, and what is known of it.
    pub(super) fn recording(&self) -> anyhow::Result<Option<(&Path, RecordingInfo)>> {
        let Some(file) = &self.from else {
            return Ok(None);
        };
        let info = Recording::open(file, self.listen())?.info().clone();
        Ok(Some((file, info)))
    }

    /// What of a recording is listened to.
    fn listen(&self) -> Listen {
        let channel = self.channel.map(usize::from);
        Listen {
            channel: channel.map_or(ChannelChoice::Mix, ChannelChoice::Only),
            track: self.track.map(NonZeroUsize::get),
        }
    }

    /// Whether a recording goes as fast as it can, so that no key has a place in it.
    pub(super) fn is_fast(&self) -> bool {
        self.fast
    }

    /// Opens the microphone.
    pub(super) fn microphone(&self, home: &Home) -> anyhow::Result<Microphone> {
        let pick = match self.channel {
            None => Pick::Mean,
            Some(0) => bail!("channels are counted from 1"),
            Some(n) => Pick::Channel(n - 1),
        };
        Microphone::open(self.choice(home)?, pick).map_err(|error| match error {
            MicError::Pick(PickError::None) => anyhow::anyhow!("{error} {WITHOUT}"),
            error => error.into(),
        })
    }

    /// Opens the microphone, or the recording that stands in for it.
    pub(super) fn open(&self, home: &Home) -> anyhow::Result<Box<dyn SampleSource>> {
        match &self.from {
            None => Ok(Box::new(self.microphone(home)?)),
            Some(file) => {
                let pace = if self.fast {
                    Pace::AsFast
                } else {
                    Pace::RealTime
                };
                Ok(Box::new(played(file, self.listen(), pace)?))
            }
        }
    }

    /// The microphone named on the line, which is then remembered, or the
    /// remembered one.
    fn choice(&self, home: &Home) -> anyhow::Result<Option<Choice>> {
        let file = home.folder().join("microphone.json");
        let Some(wanted) = &self.microphone else {
            return remembered(&file);
        };
        let all = devices()?;
        let fits: Vec<_> = all
            .iter()
            .filter(|d| {
                d.id == *wanted
                    || d.description
                        .to_lowercase()
                        .contains(&wanted.to_lowercase())
            })
            .collect();
        let [only] = fits[..] else {
            let names: Vec<&str> = all.iter().map(|d| d.description.as_str()).collect();
            bail!(
                "{} microphones fit \"{wanted}\"; there are: {}",
                if fits.is_empty() {
                    "no".to_owned()
                } else {
                    fits.len().to_string()
                },
                names.join("; ")
            );
        };
        let choice = Choice::from(only);
        home.create()?;
        write_private_file(&file, serde_json::to_string(&choice)?.as_bytes())
            .with_context(|| format!("cannot write {}", file.display()))?;
        Ok(Some(choice))
    }
}

fn remembered(file: &Path) -> anyhow::Result<Option<Choice>> {
    if !file.exists() {
        return Ok(None);
    }
    let text =
        fs::read_to_string(file).with_context(|| format!("cannot read {}", file.display()))?;
    serde_json::from_str(&text).map(Some).with_context(|| {
        format!(
            "{} is damaged; choose the microphone again with --microphone NAME",
            file.display()
        )
    })
}

/// A recording played through the live path, decoded as it goes.
struct Decoded {
    recording: Recording,
    /// The block that is being given, and how much of it was.
    block: Vec<f32>,
    at: usize,
    cut_short: Option<String>,
}

fn played(file: &Path, listen: Listen, pace: Pace) -> anyhow::Result<Played> {
    let recording = Recording::open(file, listen)?;
    if let Some(said) = recording.info().track_note() {
        prose::aside(&format!(
            "Note: {}: {said}; --track N chooses another",
            file.display()
        ));
    }
    let rate_hz = recording.info().sample_rate_hz;
    let decoded = Decoded {
        recording,
        block: Vec::new(),
        at: 0,
        cut_short: None,
    };
    Ok(Played::new(rate_hz, pace, decoded))
}

impl Decoded {
    /// Decodes the next block; whether there was one.
    fn next(&mut self) -> bool {
        match self.recording.next_block() {
            Ok(Some(block)) => {
                self.block.clear();
                self.block.extend_from_slice(block);
                self.at = 0;
                true
            }
            Ok(None) => {
                self.cut_short = self.recording.cut_short().map(str::to_owned);
                false
            }
            // What was heard up to here stands.
            Err(e) => {
                self.cut_short = Some(e.to_string());
                false
            }
        }
    }
}

impl Reel for Decoded {
    fn fill(&mut self, out: &mut [f32]) -> usize {
        let mut done = 0;
        while done < out.len() && (self.at < self.block.len() || self.next()) {
            let n = (out.len() - done).min(self.block.len() - self.at);
            out[done..done + n].copy_from_slice(&self.block[self.at..self.at + n]);
            done += n;
            self.at += n;
        }
        done
    }

    fn cut_short(&self) -> Option<String> {
        self.cut_short.clone()
    }
}
