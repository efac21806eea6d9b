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
        let command = command.disable_help_subcommand(true);
        clap_mangen::Man::new(command.clone()).render(&mut text)?;
        // The commands follow in the same page: one paper is easier to print.
        for sub in command.get_subcommands() {
            let mut page = Vec::new();
            let sub = sub.clone().bin_name(format!("marklag {}", sub.get_name()));
            let man = clap_mangen::Man::new(sub.clone());
            writeln!(page, ".SH \"{}\"", sub.get_name().to_uppercase())?;
            man.render_description_section(&mut page)?;
            man.render_synopsis_section(&mut page)?;
            man.render_options_section(&mut page)?;
            let page = String::from_utf8_lossy(&page)
                .replace(".SH DESCRIPTION", ".PP")
                .replace(".SH SYNOPSIS", ".PP")
                .replace(".SH OPTIONS", ".PP");
            text.extend_from_slice(page.as_bytes());
        }
        Ok(out.write_all(&text)?)
    }
}
