//! `marklag completions` and `marklag man`.

use std::io::Write;

use clap::{Args, Command};
use clap_complete::Shell;

/// The shell to write for.
#[derive(Debug, Args)]
pub(super) struct CompletionsCmd {
    /// Which shell
    #[arg(value_enum)]
    shell: Shell,
}

impl CompletionsCmd {
    pub(super) fn run(self, mut command: Command, out: &mut dyn Write) -> anyhow::Result<()> {
        let mut text = Vec::new();
        clap_complete::generate(self.shell, &mut command, "marklag", &mut text);
        Ok(out.write_all(&text)?)
    }
}

/// The manual page, in roff.
#[derive(Debug, Args)]
pub(super) struct ManCmd {}

impl ManCmd {
    pub(super) fn run(self, command: Command, out: &mut dyn Write) -> anyhow::Result<()> {
        let mut text = Vec::new();
        let man = clap_mangen::Man::new(command.clone());
        man.render_title(&mut text)?;
        man.render_name_section(&mut text)?;
        man.render_synopsis_section(&mut text)?;
        man.render_description_section(&mut text)?;
        man.render_options_section(&mut text)?;
        // The commands follow in the same page: one paper is easier to print.
        sections(&command, "marklag", &mut text)?;
        man.render_extra_section(&mut text)?;
        man.render_version_section(&mut text)?;
        Ok(out.write_all(&text)?)
    }
}

/// A section for each command below `command`, and for those below these.
fn sections(command: &Command, above: &str, text: &mut Vec<u8>) -> anyhow::Result<()> {
    for sub in command.get_subcommands() {
        let name = format!("{above} {}", sub.get_name());
        let sub = sub.clone().bin_name(&name);
        let man = clap_mangen::Man::new(sub.clone());
        let mut section = Vec::new();
        man.render_description_section(&mut section)?;
        man.render_synopsis_section(&mut section)?;
        man.render_options_section(&mut section)?;
        let section = String::from_utf8_lossy(&section)
            .replace(".SH DESCRIPTION", ".PP")
            .replace(".SH SYNOPSIS", ".PP")
            .replace(".SH OPTIONS", ".PP");
        let heading = name.trim_start_matches("marklag ").to_uppercase();
        writeln!(text, ".SH \"{heading}\"")?;
        text.extend_from_slice(section.as_bytes());
        sections(&sub, &name, text)?;
    }
    Ok(())
}
