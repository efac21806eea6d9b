//! Help, version, completions and the manual page.

use std::io::Write;
use std::process::Stdio;

use crate::run::{Run, bare};

const COMMANDS: [&str; 12] = [
    "review",
    "drop",
    "train",
    "plan",
    "compare",
    "teach",
    "check",
    "bridges",
    "journal",
    "demo",
    "completions",
    "man",
];

#[test]
fn help_is_in_a_trainers_words() {
    let help = bare().arg("--help").run().well();
    for command in COMMANDS {
        assert!(
            help.lines()
                .any(|line| line.trim_start().starts_with(command)),
            "{command} in {help}"
        );
    }
    for part in [
        "How late is your mark?",
        "marklag teach click",
        "marklag review drill.wav",
        "Never click beside an ear",
        "balls from under feet",
        "Tell people before you record",
    ] {
        assert!(help.contains(part), "{part:?} in {help}");
    }
    // Words of the workshop, not of the yard.
    let small = help.to_lowercase();
    for word in [
        "stdin", "parse", "thread", "buffer", "sqlite", "onset", "boolean",
    ] {
        assert!(!small.contains(word), "{word:?} in {help}");
    }
    assert!(
        help.lines().all(|line| line.chars().count() <= 100),
        "{help}"
    );
}

#[test]
fn every_command_has_help_of_its_own() {
    for command in COMMANDS {
        let help = bare().args([command, "--help"]).run().well();
        assert!(
            help.contains(&format!("Usage: marklag {command}")),
            "{help}"
        );
        assert!(!help.contains("[default: None]"), "{help}");
    }
    let help = bare().args(["review", "--help"]).run().well();
    for flag in [
        "--bridge",
        "--bridge-from",
        "--moments",
        "--mark",
        "--aim",
        "--window",
        "--height",
        "--channel",
        "--track",
        "--json",
        "--csv",
        "--vtt",
        "--cues",
        "--keep",
        "--person",
        "--home",
    ] {
        assert!(
            help.contains(&format!("{flag} ")) || help.contains(&format!("{flag}\n")),
            "{flag} in {help}"
        );
    }
}

#[test]
fn no_arguments_is_a_first_look_not_a_failure() {
    let page = bare().run().well();
    assert!(page.contains("-> 1  Teach your clicker"), "{page}");
}

#[test]
fn the_version_is_the_crates() {
    let version = bare().arg("--version").run().well();
    assert_eq!(
        version,
        concat!("marklag ", env!("CARGO_PKG_VERSION"), "\n")
    );
}

/// The text as the standard input of `program`; `None` where there is none.
fn fed(program: &str, args: &[&str], text: &str) -> Option<std::process::Output> {
    let mut child = std::process::Command::new(program)
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .ok()?;
    let mut stdin = child.stdin.take().unwrap();
    let text = text.to_owned();
    let feed = std::thread::spawn(move || stdin.write_all(text.as_bytes()));
    let output = child.wait_with_output().unwrap();
    feed.join().unwrap().unwrap();
    Some(output)
}

#[test]
fn completions_name_every_command() {
    for shell in ["bash", "zsh", "fish"] {
        let script = bare().args(["completions", shell]).run().well();
        for command in COMMANDS {
            assert!(script.contains(command), "{command} for {shell}");
        }
        assert!(script.contains("bridge-from"), "{shell}");
        // The shell itself judges the script where it is there.
        if let Some(judged) = fed(shell, &["-n"], &script) {
            assert!(judged.status.success(), "{shell}: {judged:?}");
        }
    }
    bare()
        .args(["completions", "cows"])
        .run()
        .fails(2, &["cows", "bash"]);
}

#[test]
fn bash_completes_a_command() {
    let script = bare().args(["completions", "bash"]).run().well();
    let ask = format!(
        "{script}\nCOMP_WORDS=(marklag rev); COMP_CWORD=1; _marklag marklag rev marklag; echo \"${{COMPREPLY[@]}}\"\n"
    );
    if let Some(said) = fed("bash", &[], &ask) {
        assert_eq!(
            String::from_utf8_lossy(&said.stdout).trim(),
            "review",
            "{said:?}"
        );
    }
}

#[test]
fn the_manual_page_is_roff_without_complaints() {
    let page = bare().arg("man").run().well();
    assert!(
        page.lines().any(|line| line.starts_with(".TH marklag 1")),
        "{page}"
    );
    for command in COMMANDS {
        let section = format!(".SH \"{}\"", command.to_uppercase());
        assert!(page.contains(&section), "{section}");
    }
    for nested in ["JOURNAL EXPORT", "PLAN CHANGE", "TEACH WORD", "DEMO SCHOOL"] {
        assert!(page.contains(&format!(".SH \"{nested}\"")), "{nested}");
    }
    // There is one page, so none of a command is named.
    assert!(!page.contains("(1)"), "{page}");
    for tool in [
        &["groff", "-man", "-ww", "-z", "-Kutf8"][..],
        &["mandoc", "-T", "lint", "-W", "error"],
    ] {
        if let Some(judged) = fed(tool[0], &tool[1..], &page) {
            let said = String::from_utf8_lossy(&judged.stderr).into_owned();
            assert!(
                judged.status.success() && said.is_empty(),
                "{tool:?}: {said}"
            );
        }
    }
}
