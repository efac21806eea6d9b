//! The taught sounds on the disk, and `marklag bridges`.

use std::fs;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::{Args, Subcommand};

use super::trouble::{cannot_read, cannot_write};
use crate::check::WHOLE_VOICE_HZ;
use crate::cli::teach::click::alike;
use crate::ear::word::{WORD_PROFILE_VERSION, WordAt, WordProfile};
use crate::ear::{ClickProfile, EarError, PROFILE_VERSION};
use crate::journal::{Home, ProfileSnapshot};
use crate::listen::Listening;
use crate::system::files::write_private_file;

/// Where nothing is taught.
pub(super) const NONE_TAUGHT: &str = "no bridge is taught yet, so no mark can be heard. Teach your clicker: marklag teach click NAME, or your word: marklag teach word NAME (--from FILE learns from a recording)";

/// List or forget the taught sounds; to change one, teach it again.
#[derive(Debug, Args)]
pub(super) struct BridgesCmd {
    #[command(subcommand)]
    what: Option<What>,
}

#[derive(Debug, Subcommand)]
enum What {
    /// List the taught sounds
    List,
    /// Forget a taught sound
    Forget {
        /// Its name
        name: String,
    },
}

impl BridgesCmd {
    pub(super) fn run(self, home: &Home, out: &mut dyn Write) -> anyhow::Result<()> {
        match self.what.unwrap_or(What::List) {
            What::List => {
                let taught = Bridges::all(home)?;
                if taught.is_empty() {
                    writeln!(
                        out,
                        "No sound is taught yet. Teach your clicker: marklag teach click NAME, or your word: marklag teach word NAME"
                    )?;
                }
                for profile in taught.clicks {
                    writeln!(
                        out,
                        "{}: a click, from {} examples at {} Hz; they agree {}",
                        profile.name,
                        profile.examples,
                        profile.rate_hz,
                        alike(profile.agreement)
                    )?;
                }
                for word in taught.words {
                    writeln!(
                        out,
                        "{}: a word, from {} takes at {} Hz; they agree to {:.2} (1 is perfect); {}",
                        word.name,
                        word.takes.len(),
                        word.rate_hz,
                        word.agreement,
                        if word.counts_in_praise {
                            "counts within praise too"
                        } else {
                            "counts only on its own, not within praise"
                        }
                    )?;
                }
                Ok(())
            }
            What::Forget { name } => {
                let file = home.bridge_file(&name)?;
                match fs::remove_file(&file) {
                    Ok(()) => Ok(writeln!(out, "\"{name}\" is forgotten.")?),
                    Err(e) if e.kind() == ErrorKind::NotFound => {
                        bail!(
                            "no sound called \"{name}\" is taught; marklag bridges lists those that are"
                        )
                    }
                    Err(e) => Err(e).with_context(|| format!("cannot remove {}", file.display())),
                }
            }
        }
    }
}

/// On which day the sound of that name was taught, where there is one.
pub(super) fn taught_on(home: &Home, name: &str) -> anyhow::Result<Option<String>> {
    let file = home.bridge_file(name)?;
    let Ok(changed) = fs::metadata(file).and_then(|m| m.modified()) else {
        return Ok(None);
    };
    let at = jiff::Timestamp::try_from(changed)?;
    let there = jiff::tz::TimeZone::system().to_datetime(at);
    Ok(Some(there.strftime("%-d %B %Y").to_string()))
}

/// Writes a profile into the home folder; gives the file.
pub(super) fn save(home: &Home, profile: &ClickProfile) -> anyhow::Result<PathBuf> {
    write(home, &profile.name, &serde_json::to_string(profile)?)
}

/// Writes a word's profile into the home folder; gives the file.
pub(super) fn save_word(home: &Home, profile: &WordProfile) -> anyhow::Result<PathBuf> {
    write(home, &profile.name, &serde_json::to_string(profile)?)
}

fn write(home: &Home, name: &str, text: &str) -> anyhow::Result<PathBuf> {
    let file = home.bridge_file(name)?;
    write_private_file(&file, text.as_bytes()).map_err(|e| cannot_write(&file, &e))?;
    Ok(file)
}

/// Taught sounds to listen for: clicks and words, in order of name.
#[derive(Debug, Clone, Default)]
pub(super) struct Bridges {
    pub(super) clicks: Vec<ClickProfile>,
    pub(super) words: Vec<WordProfile>,
}

impl Bridges {
    /// All that are taught.
    pub(super) fn all(home: &Home) -> anyhow::Result<Self> {
        Ok(all(home)?.into_iter().collect())
    }

    /// Those of these names, each once.
    pub(super) fn named(home: &Home, names: &[String]) -> anyhow::Result<Self> {
        Ok(named(home, names)?.into_iter().collect())
    }

    /// Those of these names, or all where no name is given; at least one.
    pub(super) fn wanted(home: &Home, names: &[String]) -> anyhow::Result<Self> {
        if !names.is_empty() {
            return Self::named(home, names);
        }
        let all = Self::all(home)?;
        if all.is_empty() {
            bail!(NONE_TAUGHT);
        }
        Ok(all)
    }

    /// As they were when a bout was kept.
    pub(super) fn of_snapshots(kept: &[ProfileSnapshot]) -> anyhow::Result<Self> {
        let broken = "its taught sounds are of another version";
        kept.iter()
            .map(|p| parse(&p.json, || broken.to_owned()))
            .collect()
    }

    pub(super) fn is_empty(&self) -> bool {
        self.clicks.is_empty() && self.words.is_empty()
    }

    /// What they are called, in order of name.
    pub(super) fn names(&self) -> Vec<String> {
        let clicks = self.clicks.iter().map(|p| p.name.clone());
        let mut names: Vec<String> = clicks
            .chain(self.words.iter().map(|p| p.name.clone()))
            .collect();
        names.sort();
        names
    }

    /// To be kept with a bout.
    pub(super) fn snapshots(&self) -> serde_json::Result<Vec<ProfileSnapshot>> {
        let clicks = self.clicks.iter().map(|p| ProfileSnapshot::of(&p.name, p));
        let words = self.words.iter().map(|p| ProfileSnapshot::of(&p.name, p));
        clicks.chain(words).collect()
    }

    /// Listens for them at a sample rate; see [`Listening::new`].
    pub(super) fn listening(
        &self,
        rate_hz: u32,
        height_m: Option<f64>,
        word_at: WordAt,
    ) -> Result<Listening, EarError> {
        Listening::new(rate_hz, &self.clicks, height_m)?.with_words(&self.words, word_at)
    }

    /// What is to be said of words at a sample rate that holds less than the band
    /// they are told by.
    pub(super) fn narrow(&self, rate_hz: u32) -> Option<String> {
        (!self.words.is_empty() && rate_hz < WHOLE_VOICE_HZ).then(|| {
            format!(
                "at {rate_hz} Hz only a part of a voice is kept, so words are told apart less surely; record at {WHOLE_VOICE_HZ} Hz or more"
            )
        })
    }
}

impl FromIterator<Taught> for Bridges {
    fn from_iter<T: IntoIterator<Item = Taught>>(all: T) -> Self {
        let mut bridges = Self::default();
        for one in all {
            match one {
                Taught::Click(profile) => bridges.clicks.push(*profile),
                Taught::Word(profile) => bridges.words.push(*profile),
            }
        }
        bridges
    }
}

/// A taught sound of either kind.
enum Taught {
    Click(Box<ClickProfile>),
    Word(Box<WordProfile>),
}

fn named(home: &Home, names: &[String]) -> anyhow::Result<Vec<Taught>> {
    let mut once: Vec<&String> = Vec::new();
    for name in names {
        if !once.contains(&name) {
            once.push(name);
        }
    }
    once.into_iter()
        .map(|name| {
            let file = home.bridge_file(name)?;
            if !file.exists() {
                bail!(
                    "no sound called \"{name}\" is taught; marklag bridges lists those that are, marklag teach click {name} teaches it, or marklag teach word {name}"
                );
            }
            load(&file)
        })
        .collect()
}

fn all(home: &Home) -> anyhow::Result<Vec<Taught>> {
    let folder = home.bridges_folder();
    let entries = match fs::read_dir(&folder) {
        Ok(entries) => entries,
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(Vec::new()),
        Err(e) => {
            return Err(cannot_read("the folder of taught sounds", &folder, &e));
        }
    };
    let mut files: Vec<PathBuf> = Vec::new();
    for entry in entries {
        let path = entry
            .map_err(|e| cannot_read("the folder of taught sounds", &folder, &e))?
            .path();
        if path.extension().is_some_and(|e| e == "json") {
            files.push(path);
        }
    }
    files.sort();
    files.iter().map(|file| load(file)).collect()
}

fn load(file: &Path) -> anyhow::Result<Taught> {
    let text = fs::read_to_string(file).map_err(|e| cannot_read("the taught sound", file, &e))?;
    parse(&text, || {
        format!(
            "{} is not a profile of a taught sound, or is damaged; teach the sound again",
            file.display()
        )
    })
}

/// A profile's text; `broken` says what is wrong with one that is none.
fn parse(text: &str, broken: impl Fn() -> String) -> anyhow::Result<Taught> {
    #[derive(serde::Deserialize)]
    struct Header {
        version: u32,
        name: String,
        /// Only words say what they are.
        kind: Option<String>,
    }
    // The version first: another version may have other fields.
    let header: Header = serde_json::from_str(text).with_context(&broken)?;
    if header.kind.as_deref() == Some("word") {
        if header.version != WORD_PROFILE_VERSION {
            bail!(EarError::WordVersion {
                name: header.name,
                found: header.version
            });
        }
        let profile = serde_json::from_str(text).with_context(&broken)?;
        return Ok(Taught::Word(Box::new(profile)));
    }
    if header.version != PROFILE_VERSION {
        bail!(EarError::ProfileVersion {
            name: header.name,
            found: header.version
        });
    }
    let profile = serde_json::from_str(text).with_context(&broken)?;
    Ok(Taught::Click(Box::new(profile)))
}
