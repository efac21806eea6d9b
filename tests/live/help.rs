//! The help of a session, its keys typed into a terminal over a recording that is
//! played at its own pace. Needs no sound server.

use std::path::Path;
use std::process::Command;
use std::thread::sleep;
use std::time::Duration;

use marklag::journal::{Home, Journal};
use marklag::timeline::MomentSource;
use marklag::timeline::session::Happened;

use crate::pty::Terminal;

fn command(home: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_marklag"));
    command
        .env("MARKLAG_HOME", home)
        .env("TERM", "xterm-256color")
        .env("LC_ALL", "C.UTF-8");
    command
}

fn fixture(name: &str) -> String {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures");
    folder.join(name).display().to_string()
}

/// While the help is shown any key closes it and does nothing else: one that does
/// something in a session, one that does nothing, and the help's own hit twice.
#[test]
fn any_key_closes_the_help_and_does_nothing_else() {
    let home = tempfile::tempdir().unwrap();
    let taught = command(home.path())
        .args([
            "teach",
            "click",
            "tilda",
            "--from",
            &fixture("tilda-clicks.wav"),
        ])
        .output()
        .unwrap();
    assert!(taught.status.success(), "{taught:?}");
    let mut train = command(home.path());
    train.args(["train", "--keep", "--from", &fixture("tilda-drill.wav")]);
    let mut terminal = Terminal::start(train, 40, 12);
    terminal.wait_for("practice", 20.0);
    sleep(Duration::from_millis(500));
    let mut press = |keys: &[&str]| {
        for key in keys {
            terminal.press(key);
            sleep(Duration::from_millis(300));
        }
    };
    // p would begin a break, u take the last event back, Esc and q do nothing.
    press(&[
        "?", "?", "t", "?", "p", "c", "?", "u", "n", "?", "\x1b", "o",
    ]);
    press(&["?", "q", "t", "e"]);
    assert!(terminal.finish(20.0).success(), "{}", terminal.seen());
    // Only cells that changed are written, so not every word is.
    assert!(
        terminal.seen().contains("Any key clos"),
        "{}",
        terminal.seen()
    );
    let journal = Journal::open_existing(&Home::at(home.path()).journal_file());
    let journal = journal.unwrap().unwrap();
    let stored = journal.read_session(&journal.find("last").unwrap());
    let stored = stored.unwrap();
    let entries = stored.log.entries().iter();
    let keyed = entries.filter(|e| e.event.source == MomentSource::Hand);
    let whats: Vec<Happened> = keyed.map(|e| e.event.what.clone()).collect();
    use Happened::{Cue, NearMiss, Offer, Treat};
    assert_eq!(whats, [Treat, Cue, NearMiss, Offer, Treat]);
}
