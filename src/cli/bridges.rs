//! The taught sounds on the disk, and `marklag bridges`.

use std::fs;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::{Args, Subcommand};

use super::trouble::{cannot_read, cannot_write};
use crate::ear::word::{WORD_PROFILE_VERSION, WordProfile};
use crate::ear::{ClickProfile, PROFILE_VERSION};
use crate::journal::{Home, write_private_file};

/// List, change or forget the taught sounds.
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
                let taught = load_all(home)?;
                let words = all_words(home)?;
                if taught.is_empty() && words.is_empty() {
                    writeln!(
                        out,
                        "No sound is taught yet. Teach your clicker: marklag teach click NAME --from FILE, or your word: marklag teach word NAME --from FILE"
                    )?;
                }
                for profile in taught {
                    writeln!(
                        out,
                        "{}: a click, from {} examples at {} Hz; they agree to {:.2} (1 is perfect)",
                        profile.name, profile.examples, profile.rate_hz, profile.agreement
                    )?;
                }
                for word in words {
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

/// The clicks of these names, each once.
pub(super) fn load_named(home: &Home, names: &[String]) -> anyhow::Result<Vec<ClickProfile>> {
    let all = named(home, names)?;
    Ok(all.into_iter().filter_map(Taught::click).collect())
}

/// The words of these names, each once.
pub(super) fn words_named(home: &Home, names: &[String]) -> anyhow::Result<Vec<WordProfile>> {
    let all = named(home, names)?;
    Ok(all.into_iter().filter_map(Taught::word).collect())
}

/// Every taught click, by name.
pub(super) fn load_all(home: &Home) -> anyhow::Result<Vec<ClickProfile>> {
    Ok(all(home)?.into_iter().filter_map(Taught::click).collect())
}

/// Every taught word, by name.
pub(super) fn all_words(home: &Home) -> anyhow::Result<Vec<WordProfile>> {
    Ok(all(home)?.into_iter().filter_map(Taught::word).collect())
}

/// A taught sound of either kind.
enum Taught {
    Click(Box<ClickProfile>),
    Word(Box<WordProfile>),
}

impl Taught {
    fn click(self) -> Option<ClickProfile> {
        match self {
            Self::Click(profile) => Some(*profile),
            Self::Word(_) => None,
        }
    }

    fn word(self) -> Option<WordProfile> {
        match self {
            Self::Word(profile) => Some(*profile),
            Self::Click(_) => None,
        }
    }
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
                    "no sound called \"{name}\" is taught; marklag bridges lists those that are, marklag teach click {name} --from FILE teaches it (or teach word)"
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

/// The taught sounds that texts of profiles tell: clicks and words. `what` names
/// where a text comes from.
pub(super) fn from_texts<'a>(
    texts: impl IntoIterator<Item = &'a str>,
    what: &str,
) -> anyhow::Result<(Vec<ClickProfile>, Vec<WordProfile>)> {
    let (mut clicks, mut words) = (Vec::new(), Vec::new());
    for text in texts {
        match parse(text, what)? {
            Taught::Click(click) => clicks.push(*click),
            Taught::Word(word) => words.push(*word),
        }
    }
    Ok((clicks, words))
}

fn load(file: &Path) -> anyhow::Result<Taught> {
    let text = fs::read_to_string(file).map_err(|e| cannot_read("the taught sound", file, &e))?;
    parse(&text, &file.display().to_string())
}

fn parse(text: &str, what: &str) -> anyhow::Result<Taught> {
    #[derive(serde::Deserialize)]
    struct Header {
        version: u32,
        name: String,
        /// Only words say what they are.
        kind: Option<String>,
    }
    let broken = || {
        format!("{what} is not a profile of a taught sound, or is damaged; teach the sound again")
    };
    // The version first: another version may have other fields.
    let header: Header = serde_json::from_str(text).with_context(broken)?;
    if header.kind.as_deref() == Some("word") {
        if header.version != WORD_PROFILE_VERSION {
            bail!(crate::ear::EarError::WordVersion {
                name: header.name,
                found: header.version
            });
        }
        let profile = serde_json::from_str(text).with_context(broken)?;
        return Ok(Taught::Word(Box::new(profile)));
    }
    if header.version != PROFILE_VERSION {
        bail!(crate::ear::EarError::ProfileVersion {
            name: header.name,
            found: header.version
        });
    }
    let profile = serde_json::from_str(text).with_context(broken)?;
    Ok(Taught::Click(Box::new(profile)))
}
