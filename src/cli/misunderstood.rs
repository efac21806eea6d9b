//! A line that cannot be understood: what is wrong with it, and how it was likely
//! meant.

use std::error::Error;
use std::process::ExitCode;

use clap::CommandFactory;
use clap::error::{ContextKind, ContextValue, ErrorKind};

use super::near::likely;
use super::{Line, examples, front, prose};

/// Tells what is wrong; gives the exit code.
pub(super) fn tell(mut error: clap::Error) -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let code = ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(2));
    if error.kind() == ErrorKind::ValueValidation
        && let Some(sentence) = wrong_value(&error)
    {
        prose::aside(&format!("error: {sentence}"));
        return code;
    }
    if error.kind() == ErrorKind::InvalidSubcommand {
        suggest(&mut error, &words);
    }
    // Where even this cannot be written there is nobody to tell.
    let _ = error.print();
    if error.kind() == ErrorKind::MissingRequiredArgument {
        for example in examples::of(&words) {
            eprintln!("For example: {example}");
        }
    }
    if let Some(hint) = hint(&error, &words) {
        prose::aside(&hint);
    }
    code
}

fn text(error: &clap::Error, kind: ContextKind) -> Option<String> {
    match error.get(kind)? {
        ContextValue::String(text) => Some(text.clone()),
        ContextValue::Strings(all) => all.first().cloned(),
        _ => None,
    }
}

/// The commands that may be meant by the word that is none, the likeliest first, in the place
/// of what the parser suggests: its measure likes a short word too much.
fn suggest(error: &mut clap::Error, words: &[String]) {
    let Some(given) = text(error, ContextKind::InvalidSubcommand) else {
        return;
    };
    let mut command = Line::command();
    for word in words.iter().take_while(|word| **word != given) {
        if let Some(sub) = command.find_subcommand(word) {
            command = sub.clone();
        }
    }
    let names: Vec<&str> = command
        .get_subcommands()
        .map(clap::Command::get_name)
        .collect();
    let meant = likely(&given, names);
    if meant.is_empty() {
        error.remove(ContextKind::SuggestedSubcommand);
    } else {
        let meant = meant.into_iter().map(str::to_owned).collect();
        error.insert(
            ContextKind::SuggestedSubcommand,
            ContextValue::Strings(meant),
        );
    }
}

/// What may help beside the parser's own words.
fn hint(error: &clap::Error, words: &[String]) -> Option<String> {
    let commands: Vec<&str> = words.iter().map(String::as_str).collect();
    match error.kind() {
        ErrorKind::InvalidSubcommand => {
            let given = text(error, ContextKind::InvalidSubcommand)?;
            let at = words.iter().position(|word| *word == given)?;
            match at.checked_sub(1).and_then(|before| commands.get(before)) {
                Some(&"teach") => {
                    let name = quoted(&words[at..]);
                    Some(format!(
                        "Did you mean: marklag teach click {name}\n(a spoken word: marklag teach word {name})"
                    ))
                }
                _ => given
                    .parse()
                    .ok()
                    .and_then(front::step)
                    .map(|(what, command)| {
                        format!(
                            "The numbers count the steps. {given}, {}: {command}",
                            what.to_lowercase()
                        )
                    }),
            }
        }
        ErrorKind::UnknownArgument => {
            let extra = text(error, ContextKind::InvalidArg)?;
            if extra.starts_with('-') {
                return None;
            }
            let at = words.iter().position(|word| *word == extra)?;
            // The words of the name: those before this one that belong to no option.
            let plain = |word: &&str| !word.starts_with('-');
            let name: Vec<&str> = commands[..=at]
                .iter()
                .rev()
                .copied()
                .take_while(plain)
                .collect();
            let name: Vec<&str> = name.into_iter().rev().collect();
            let depth = depth(&name);
            let (command, name) = name.split_at(depth.min(name.len()));
            let more = commands[at + 1..].iter().copied().take_while(plain);
            let name: Vec<&str> = name.iter().copied().chain(more).collect();
            (name.len() > 1).then(|| {
                format!(
                    "A name with spaces stands in quotes: marklag {} \"{}\"",
                    command.join(" "),
                    name.join(" ")
                )
            })
        }
        _ => None,
    }
}

/// How many of the words name commands.
fn depth(words: &[&str]) -> usize {
    let mut command = Line::command();
    let mut depth = 0;
    for word in words {
        let Some(sub) = command.find_subcommand(word) else {
            break;
        };
        command = sub.clone();
        depth += 1;
    }
    depth
}

/// Words as one name on the line, up to the first option.
fn quoted(words: &[String]) -> String {
    let name: Vec<&str> = words
        .iter()
        .map(String::as_str)
        .take_while(|word| !word.starts_with('-'))
        .collect();
    match &name[..] {
        [one] if !one.contains(' ') => (*one).to_owned(),
        more => format!("\"{}\"", more.join(" ")),
    }
}

/// A value that could not be read, where what the parser's parts say of it is for
/// programmers: the option, what was given, what would be right.
fn wrong_value(error: &clap::Error) -> Option<String> {
    let source = error.source()?;
    let (option, given) = (
        text(error, ContextKind::InvalidArg)?,
        text(error, ContextKind::InvalidValue)?,
    );
    let is_date = source.is::<jiff::Error>();
    let is_whole = source.is::<std::num::ParseIntError>();
    let right = if is_date {
        "give a day as year-month-day, for instance 2025-03-01".to_owned()
    } else if is_whole || source.to_string().contains("number would be zero") {
        "give a whole number, for instance 1 or 10".to_owned()
    } else if source.is::<std::num::ParseFloatError>() {
        "give a number, for instance 500 or 0.5".to_owned()
    } else if source.to_string().contains(" is not in ") {
        format!("give a whole number: {source}")
    } else {
        return None;
    };
    Some(format!("{given:?} cannot be used for {option}: {right}"))
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use super::*;

    fn hinted(line: &[&str]) -> Option<String> {
        let all = std::iter::once("marklag").chain(line.iter().copied());
        let error = Line::try_parse_from(all).unwrap_err();
        let words: Vec<String> = line.iter().map(|w| (*w).to_owned()).collect();
        hint(&error, &words)
    }

    #[test]
    fn the_likeliest_slips_are_told_what_was_meant() {
        let said = hinted(&["teach", "blue"]).unwrap();
        assert!(
            said.starts_with("Did you mean: marklag teach click blue\n"),
            "{said}"
        );
        let said = hinted(&["teach", "my", "clicker"]).unwrap();
        assert!(
            said.contains("marklag teach click \"my clicker\""),
            "{said}"
        );
        let said = hinted(&["teach", "click", "my", "old", "clicker"]).unwrap();
        assert!(
            said.ends_with("marklag teach click \"my old clicker\""),
            "{said}"
        );
        let said = hinted(&["1"]).unwrap();
        assert!(said.contains("marklag teach click NAME"), "{said}");
        assert_eq!(hinted(&["9"]), None);
        assert_eq!(hinted(&["drop", "--colour"]), None);
    }

    #[test]
    fn a_slip_in_a_command_suggests_the_likeliest() {
        let words = ["tain".to_owned()];
        let mut error = Line::try_parse_from(["marklag", "tain"]).unwrap_err();
        suggest(&mut error, &words);
        assert_eq!(
            text(&error, ContextKind::SuggestedSubcommand).unwrap(),
            "train"
        );
    }

    #[test]
    fn values_are_told_in_plain_words() {
        for (line, parts) in [
            (
                &["progress", "--lines", "abc"][..],
                ["\"abc\"", "--lines", "whole number"],
            ),
            (
                &["progress", "--from", "march"],
                ["\"march\"", "--from", "2025-03-01"],
            ),
            (
                &["journal", "list", "--limit", "x"],
                ["\"x\"", "--limit", "whole number"],
            ),
            (
                &["compare", "a", "b", "--window", "wide"],
                ["\"wide\"", "--window", "a number"],
            ),
        ] {
            let all = std::iter::once("marklag").chain(line.iter().copied());
            let error = Line::try_parse_from(all).unwrap_err();
            let said = wrong_value(&error).unwrap();
            for part in parts {
                assert!(said.contains(part), "{part} in {said}");
            }
        }
    }
}
