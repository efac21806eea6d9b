//! Killed at any instant, the journal holds all that it said it had kept.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::Path;
use std::time::Duration;

use marklag::journal::{BoutEvent, BoutKind, Journal};

use crate::{child, scene};

/// The ordinary suite, and the long run (`cargo test --test journal -- --ignored a_thousand`).
const KILLS: u32 = 30;
const MANY: u32 = 1_000;
/// Turns after which the journal that goes on is begun anew, so that reading all of it
/// stays quick.
const ANEW: u32 = 100;

/// Keeps one click after another, each told as soon as the call has returned;
/// now and then forgets a whole bout.
#[test]
#[ignore = "a child process of the test below"]
fn keeps_until_killed() {
    let Some(file) = child::file_for("killed::keeps_until_killed") else {
        return;
    };
    let say = |words: String| {
        let mut out = std::io::stdout().lock();
        writeln!(out, "{words}").unwrap();
        out.flush().unwrap();
    };
    let mut journal = Journal::open(&file).unwrap();
    for round in 0.. {
        let id = journal.begin_bout(&scene::bout(BoutKind::Drill)).unwrap();
        say(format!("\nbegun {id}"));
        for i in 0..20u32 {
            let event = BoutEvent::Sound(scene::click(f64::from(i) / 3.0));
            let seq = journal.append_event(&id, &event).unwrap();
            say(format!("kept {id} {seq}"));
        }
        if round % 4 == 3 {
            say(format!("forgetting {id}"));
            journal.forget(&id).unwrap();
            say(format!("forgotten {id}"));
            journal.sweep().unwrap();
        } else if round % 2 == 0 {
            let ended_at = scene::bout(BoutKind::Drill).started_at;
            journal.end_bout(&id, ended_at, None).unwrap();
            say(format!("ended {id}"));
        }
    }
}

/// What a child said of one bout.
#[derive(Default)]
struct Said {
    kept: i64,
    ended: bool,
    forgetting: bool,
    forgotten: bool,
}

fn run_and_kill(file: &Path, after: Duration) -> BTreeMap<String, Said> {
    let mut child = child::command("killed::keeps_until_killed", file)
        .spawn()
        .unwrap();
    std::thread::sleep(after);
    child.kill().unwrap();
    let output = child.wait_with_output().unwrap();
    let error = String::from_utf8_lossy(&output.stderr);
    assert!(!error.contains("panicked"), "{error}");
    let text = String::from_utf8_lossy(&output.stdout);
    let mut said: BTreeMap<String, Said> = BTreeMap::new();
    // A last line without its end was not said in full.
    for line in text
        .split_inclusive('\n')
        .filter_map(|line| line.strip_suffix('\n'))
    {
        let words: Vec<&str> = line.split(' ').collect();
        match words[..] {
            ["begun", id] => drop(said.entry(id.into()).or_default()),
            ["kept", id, seq] => said.entry(id.into()).or_default().kept = seq.parse().unwrap(),
            ["ended", id] => said.entry(id.into()).or_default().ended = true,
            ["forgetting", id] => said.entry(id.into()).or_default().forgetting = true,
            ["forgotten", id] => said.entry(id.into()).or_default().forgotten = true,
            _ => {}
        }
    }
    said
}

/// Compares the journal with what was said; gives the number of events said to
/// be kept and still to be there.
fn all_is_there(file: &Path, said: &BTreeMap<String, Said>) -> i64 {
    if !file.exists() {
        assert!(said.is_empty());
        return 0;
    }
    let journal = Journal::open(file).unwrap();
    assert_eq!(journal.check_all().unwrap(), []);
    let unended = journal.unended().unwrap();
    let mut kept = 0;
    for (id, said) in said {
        let found = match journal.find(id) {
            Ok(found) => found,
            Err(error) => {
                assert!(said.forgetting, "{error}");
                continue;
            }
        };
        assert!(!said.forgotten, "{id} was forgotten and is back");
        let stored = journal.read_bout(&found).unwrap();
        let read: Vec<BoutEvent> = stored.events.into_iter().map(|row| row.event).collect();
        let there = i64::try_from(read.len()).unwrap();
        assert!(
            (said.kept..=said.kept + 1).contains(&there),
            "{there} of {}",
            said.kept
        );
        for (i, event) in (0..20u32).zip(&read) {
            assert_eq!(*event, BoutEvent::Sound(scene::click(f64::from(i) / 3.0)));
        }
        if said.ended {
            assert!(!unended.contains(&found));
        }
        kept += said.kept;
    }
    kept
}

fn kill_often(kills: u32, instant: impl Fn(u32) -> Duration) {
    let scratch = tempfile::tempdir().unwrap();
    let mut one = scratch.path().join("one.sqlite");
    let mut all: BTreeMap<String, Said> = BTreeMap::new();
    let (mut kept, mut fresh_kept) = (0, 0);
    for kill in 0..kills {
        // Odd turns go on with one journal; even turns make a new one.
        if kill % 2 == 1 {
            all.extend(run_and_kill(&one, instant(kill)));
            let now = all_is_there(&one, &all);
            if kill % ANEW == ANEW - 1 || kill + 2 > kills {
                kept += now;
                all.clear();
                one = scratch.path().join(format!("one-{kill}.sqlite"));
            }
        } else {
            let fresh = scratch.path().join(format!("{kill}.sqlite"));
            let said = run_and_kill(&fresh, instant(kill));
            fresh_kept += all_is_there(&fresh, &said);
        }
    }
    println!("{kills} kills; {kept} and {fresh_kept} events said to be kept, none lost");
    // A busy machine starts a child so slowly that many are killed before they keep anything.
    let least = i64::from(kills) / 4;
    assert!(
        kept > least && fresh_kept > least,
        "too little was kept to prove anything: {kept}, {fresh_kept}"
    );
}

/// Spread over the whole life of a child, from before the file is made.
#[test]
fn killed_at_any_instant_nothing_kept_is_lost() {
    kill_often(KILLS, |kill| {
        Duration::from_micros(u64::from(kill) * 7_919 * 3 % 400_000)
    });
}

#[test]
#[ignore = "a thousand kills: minutes"]
fn a_thousand_kills_at_random_instants() {
    let instants: Vec<u64> = {
        let mut dice = marklag::sound::room::Dice::new(u64::from(std::process::id()));
        (0..MANY)
            .map(|_| (dice.unit() * 400_000.0) as u64)
            .collect()
    };
    kill_often(MANY, |kill| Duration::from_micros(instants[kill as usize]));
}
