//! How a command may be written, for a line that lacks something.

/// The words that name a command, and lines that it understands.
type Entry = (&'static [&'static str], &'static [&'static str]);

/// Only commands that cannot run bare; of two that fit, the longer one counts.
const EXAMPLES: &[Entry] = &[
    (&["teach", "click"], &["marklag teach click blue"]),
    (
        &["teach", "word"],
        &["marklag teach word good --from good.wav"],
    ),
    (
        &["review"],
        &[
            "marklag review drill.wav",
            "marklag review session.wav --session",
        ],
    ),
    (
        &["compare"],
        &["marklag compare first-look.csv second-look.csv"],
    ),
    (&["page"], &["marklag page me.html"]),
    (&["plan", "load"], &["marklag plan load target.toml"]),
    (
        &["plan", "show"],
        &["marklag plan show \"target, first week\""],
    ),
    (
        &["plan", "change"],
        &["marklag plan change \"target, first week\""],
    ),
    (
        &["plan", "forget"],
        &["marklag plan forget \"target, first week\""],
    ),
    (
        &["plan", "rename-animal"],
        &["marklag plan rename-animal Hazel Bramble"],
    ),
    (
        &["plan", "forget-animal"],
        &["marklag plan forget-animal Hazel"],
    ),
    (
        &["journal", "import"],
        &["marklag journal import journal.jsonl"],
    ),
    (
        &["journal", "merge"],
        &["marklag journal merge other-journal.sqlite"],
    ),
    (
        &["journal", "backup"],
        &["marklag journal backup journal-backup.sqlite"],
    ),
    (
        &["journal", "give"],
        &[
            "marklag journal give last --person Ada",
            "marklag journal give --all-nobodys --person Ada",
        ],
    ),
    (&["journal", "rename"], &["marklag journal rename Ada Ida"]),
    (
        &["journal", "forget"],
        &["marklag journal list", "marklag journal forget ID"],
    ),
    (&["bridges", "forget"], &["marklag bridges forget blue"]),
    (
        &["completions"],
        &["marklag completions bash > marklag.bash"],
    ),
];

/// Lines that the command named by these words understands; none where the
/// command needs none.
pub(super) fn of(words: &[String]) -> &'static [&'static str] {
    let mut fits: Vec<&Entry> = EXAMPLES
        .iter()
        .filter(|(command, _)| {
            words
                .windows(command.len())
                .any(|w| w.iter().map(String::as_str).eq(command.iter().copied()))
        })
        .collect();
    fits.sort_by_key(|(command, _)| command.len());
    fits.last().map_or(&[], |(_, examples)| examples)
}

#[cfg(test)]
mod tests {
    use clap::error::ErrorKind;
    use clap::{Command, CommandFactory, Parser};

    use super::super::Line;
    use super::*;

    /// A line as a shell would cut it, without what goes into a file.
    fn words(line: &str) -> Vec<String> {
        let line = line.split(" > ").next().unwrap();
        let mut words = Vec::new();
        for (n, piece) in line.split('"').enumerate() {
            if n % 2 == 1 {
                words.push(piece.to_owned());
            } else {
                words.extend(piece.split_whitespace().map(str::to_owned));
            }
        }
        words
    }

    #[test]
    fn every_example_is_understood() {
        for (_, examples) in EXAMPLES {
            for line in *examples {
                assert!(Line::try_parse_from(words(line)).is_ok(), "{line}");
            }
        }
    }

    fn each_command(command: &Command, path: &[String], found: &mut Vec<Vec<String>>) {
        for sub in command.get_subcommands() {
            let path = [path, &[sub.get_name().to_owned()]].concat();
            each_command(sub, &path, found);
            found.push(path);
        }
    }

    #[test]
    fn every_command_that_cannot_run_bare_has_an_example() {
        let mut commands = Vec::new();
        each_command(&Line::command(), &["marklag".to_owned()], &mut commands);
        assert!(commands.len() > 20);
        for command in commands {
            let Err(error) = Line::try_parse_from(&command) else {
                continue;
            };
            if error.kind() == ErrorKind::MissingRequiredArgument {
                assert!(!of(&command).is_empty(), "{command:?}");
            }
        }
    }
}
