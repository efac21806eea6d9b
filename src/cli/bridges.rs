//! The taught sounds on the disk, and `marklag bridges`.

use std::fs;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::{Args, Subcommand};

use super::trouble::{cannot_read, cannot_write};
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
                if taught.is_empty() {
                    writeln!(
                        out,
                        "No sound is taught yet. Teach your clicker: marklag teach click NAME --from FILE"
                    )?;
                }
                for profile in taught {
                    writeln!(
                        out,
                        "{}: a click, from {} examples at {} Hz; they agree to {:.2} (1 is perfect)",
                        profile.name, profile.examples, profile.rate_hz, profile.agreement
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
    let file = home.bridge_file(&profile.name)?;
    let text = serde_json::to_string(profile)?;
    write_private_file(&file, text.as_bytes()).map_err(|e| cannot_write(&file, &e))?;
    Ok(file)
}

/// The profiles of these names, each once.
pub(super) fn load_named(home: &Home, names: &[String]) -> anyhow::Result<Vec<ClickProfile>> {
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
                    "no sound called \"{name}\" is taught; marklag bridges lists those that are, marklag teach click {name} --from FILE teaches it"
                );
            }
            load(&file)
        })
        .collect()
}

/// Every taught sound, by name.
pub(super) fn load_all(home: &Home) -> anyhow::Result<Vec<ClickProfile>> {
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

fn load(file: &Path) -> anyhow::Result<ClickProfile> {
    #[derive(serde::Deserialize)]
    struct Header {
        version: u32,
        name: String,
    }
    let text = fs::read_to_string(file).map_err(|e| cannot_read("the taught sound", file, &e))?;
    let broken = || {
        format!(
            "{} is not a profile of a taught sound, or is damaged; teach the sound again",
            file.display()
        )
    };
    // The version first: another version may have other fields.
    let header: Header = serde_json::from_str(&text).with_context(broken)?;
    if header.version != PROFILE_VERSION {
        bail!(crate::ear::EarError::ProfileVersion {
            name: header.name,
            found: header.version
        });
    }
    serde_json::from_str(&text).with_context(broken)
}
