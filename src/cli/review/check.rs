//! Combinations of flags and files that make no sense.

use std::path::{Path, PathBuf};

use anyhow::bail;

use super::ReviewCmd;
use crate::cli::trouble::BadUsage;
use crate::sound::recording::{Listen, Recording};
use crate::system::files::is_same_file;

impl ReviewCmd {
    /// Combinations that make no sense are refused before any work is done.
    pub(super) fn check(&self) -> Result<(), String> {
        let one_file = [
            ("--vtt", &self.vtt),
            ("--cues", &self.cues),
            ("--moments", &self.moments),
        ];
        for (flag, value) in one_file {
            if value.is_some() && self.files.len() > 1 {
                return Err(format!(
                    "{flag} belongs to one recording; review them one at a time"
                ));
            }
        }
        if self.lesson && self.files.len() > 1 {
            return Err(
                "--lesson belongs to one recording; review them one at a time, or keep the bridge with --keep-bridge NAME"
                    .to_owned(),
            );
        }
        if self.lesson && self.files.iter().any(|f| f == Path::new("-")) {
            return Err(
                "--lesson reads the beginning twice; standard input (-) cannot be".to_owned(),
            );
        }
        if self.session && self.files.len() > 1 {
            return Err("--session belongs to one recording; review them one at a time".to_owned());
        }
        let dash = Path::new("-");
        if self.cues.as_deref() == Some(dash) {
            return Err("--cues writes a WAV file; give it a file name".to_owned());
        }
        if self.cues.is_some() && self.files.iter().any(|f| f == dash) {
            return Err(
                "--cues copies a WAV file; standard input (-) cannot be read twice".to_owned(),
            );
        }
        let also_read = [self.moments.as_ref(), self.bridge_from.as_ref()];
        let read: Vec<&PathBuf> = self
            .files
            .iter()
            .chain(also_read.into_iter().flatten())
            .collect();
        if read.iter().filter(|f| f.as_path() == dash).count() > 1 {
            return Err("standard input (-) can be read once only".to_owned());
        }
        let to_stdout = [&self.csv, &self.vtt]
            .iter()
            .filter(|f| f.as_deref() == Some(dash))
            .count();
        if to_stdout + usize::from(self.json) > 1 {
            return Err(
                "only one of --json, --csv - and --vtt - can go to the terminal at once".to_owned(),
            );
        }
        for (k, file) in self.files.iter().enumerate() {
            if self.files[..k].iter().any(|f| is_same_file(f, file)) {
                return Err(format!(
                    "{} is named twice; its lags would count double",
                    file.display()
                ));
            }
        }
        let written = [&self.csv, &self.vtt, &self.cues];
        let mut taken = read;
        for target in written.into_iter().flatten().filter(|f| *f != dash) {
            if taken.iter().any(|f| is_same_file(f, target)) {
                return Err(format!(
                    "{} would be written over; give the result a name of its own",
                    target.display()
                ));
            }
            taken.push(target);
        }
        Ok(())
    }
}

impl ReviewCmd {
    /// A recording that is not there is told before anything else is asked for.
    pub(super) fn are_there(&self, listen: Listen) -> anyhow::Result<()> {
        let missing = |file: &&PathBuf| file.as_path() != Path::new("-") && !file.exists();
        let Some(file) = self.files.iter().find(missing) else {
            return Ok(());
        };
        let words: Vec<String> = self.files.iter().map(|f| f.display().to_string()).collect();
        let whole = words.join(" ");
        if words.len() > 1 && Path::new(&whole).exists() {
            bail!(BadUsage(format!(
                "there is no file {}; a name with spaces stands in quotes: marklag review \"{whole}\"",
                file.display()
            )));
        }
        Recording::open(file, listen)?;
        Ok(())
    }
}
