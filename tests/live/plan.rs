//! A plan written and changed in the form, its keys typed into a terminal. Needs
//! no sound.

use std::process::Command;
use std::thread::sleep;
use std::time::Duration;

use marklag::journal::{Home, Journal};
use marklag::timeline::Plan;

use crate::pty::Terminal;

const DOWN: &str = "\x1b[B";
const RIGHT: &str = "\x1b[C";

fn start(home: &std::path::Path, options: &[&str]) -> Terminal {
    let mut command = Command::new(env!("CARGO_BIN_EXE_marklag"));
    command
        .arg("plan")
        .args(options)
        .env("MARKLAG_HOME", home)
        .env("TERM", "xterm-256color")
        .env("LC_ALL", "C.UTF-8");
    Terminal::start(command, 80, 24)
}

fn kept(home: &std::path::Path, name: &str) -> Option<Plan> {
    let journal = Journal::open_existing(&Home::at(home).journal_file()).unwrap()?;
    journal.plan(name).unwrap()
}

#[test]
fn a_plan_is_written_and_changed_in_the_form() {
    let home = tempfile::tempdir().unwrap();
    let mut terminal = start(home.path(), &["new"]);
    terminal.wait_for("A new plan", 10.0);
    // Letters that come twice in a row are two letters.
    for keys in ["knee\tClover\t\t\t\x7f3\t\t\t", "bow\t", "down\t", " \t"] {
        terminal.press(keys);
    }
    for keys in ["lowers its head\r", "one knee bends", DOWN, DOWN] {
        terminal.press(keys);
    }
    for keys in [RIGHT, RIGHT, RIGHT, DOWN, DOWN] {
        terminal.press(keys);
    }
    terminal.press("\r");
    assert!(terminal.finish(10.0).success(), "{}", terminal.seen());
    assert!(terminal.is_as_a_shell_expects());
    assert!(terminal.seen().contains("marklag train \"knee\""));
    let plan = kept(home.path(), "knee").unwrap();
    assert_eq!((plan.animal.as_str(), plan.length_min), ("Clover", 3.0));
    let bow = plan.behaviour("bow").unwrap();
    assert_eq!((bow.cue.as_str(), bow.on_cue), ("down", true));
    assert_eq!(plan.practise[0].step, Some(2));
    assert_eq!(plan.earns(0, 2), "one knee bends");

    // Left with something changed: it asks, and nothing is kept.
    let mut terminal = start(home.path(), &["change", "knee"]);
    terminal.wait_for("Change the plan knee", 10.0);
    terminal.press("s\x1b");
    // An escape by itself is told from a key that begins with one by the time.
    sleep(Duration::from_millis(500));
    assert!(
        terminal.child.try_wait().unwrap().is_none(),
        "it asks first"
    );
    terminal.press("\x1b");
    assert!(terminal.finish(10.0).success(), "{}", terminal.seen());
    assert!(terminal.seen().contains("Nothing was kept."));
    assert!(terminal.is_as_a_shell_expects());
    assert_eq!(kept(home.path(), "knees"), None);
    assert_eq!(kept(home.path(), "knee"), Some(plan));
}
