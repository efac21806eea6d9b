//! What goes wrong with microphones, done for real.

use crate::rig::{PLAIN, Server, Source, Tap, alone, with};
use std::thread::sleep;
use std::time::Duration;

fn wait(s: f64) {
    sleep(Duration::from_secs_f64(s));
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn a_server_killed_in_mid_capture_is_found_again() {
    let _alone = alone();
    let server = Server::with_pipe(PLAIN);
    let feed = with(&[("secs", 30.0)]);
    let first = server.feed("mic", PLAIN, &feed);
    let tap = server.tap(&with(&[("secs", 14.0)]));
    wait(4.0);
    server.down("KILL");
    drop(first);
    let before_s = tap.cpu_s();
    wait(2.0);
    let used_s = tap.cpu_s() - before_s;
    server.up();
    let second = server.feed("mic", PLAIN, &feed);
    let heard = tap.finish(30);
    drop(second);
    let story = heard.story();
    assert!(heard.tells("Lost {") && heard.tells("Back {"), "{story}");
    let lost = heard
        .lines("event")
        .iter()
        .filter(|l| l[1].starts_with("Lost"))
        .count();
    assert_eq!(lost, 1, "the first error alone is told: {story}");
    assert!(
        used_s < 0.5,
        "{used_s} s of processor time in 2 s without a server"
    );
    assert_eq!(heard.stderr, "");
    let gaps = heard.numbers("gap");
    assert_eq!(gaps.len(), 1, "{story}");
    // Before the gap as sent; after it as sent by the second feed, from its start.
    let (before, after) = heard.split(gaps[0][0] as usize);
    before.whole(15);
    after.whole(15);
    let heard_s = heard.samples.len() as f64 / 48_000.0;
    let total_s = heard_s + gaps[0][2] / 1e3;
    eprintln!(
        "server killed: gap {:.0} ms, heard {heard_s:.2} s",
        gaps[0][2]
    );
    assert!((2_000.0..6_000.0).contains(&gaps[0][2]), "{story}");
    assert!(
        (total_s - 14.0).abs() < 0.6,
        "sound and gap fill the time: {total_s} s"
    );
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn no_server_and_no_device_is_a_sentence() {
    let _alone = alone();
    let dir = tempfile::tempdir().unwrap();
    let heard = Tap::start(dir.path(), &[], &with(&[("secs", 2.0)])).finish(15);
    assert_eq!(
        heard.log.trim(),
        "error\tNo microphone was found. Plug one in, or start the sound system, and try again."
    );
    assert_eq!(
        heard.stderr, "",
        "ALSA's own lines must not reach the screen"
    );
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn a_source_suspended_before_opening_and_during() {
    let _alone = alone();
    let dir = tempfile::tempdir().unwrap();
    let sink = "module-null-sink sink_name=room norewinds=1 rate=48000 channels=1 format=s16le";
    let server = Server::start(dir, vec![sink.into()]);
    server.pactl(&["suspend-sink", "room", "1"]);
    let tap = server.tap(&with(&[("secs", 13.0)]));
    wait(3.0);
    server.pactl(&["suspend-sink", "room", "0"]);
    wait(4.0);
    server.pactl(&["suspend-sink", "room", "1"]);
    wait(2.0);
    server.pactl(&["suspend-sink", "room", "0"]);
    let heard = tap.finish(30);
    let story = heard.story();
    let count = |word: &str| {
        heard
            .lines("event")
            .iter()
            .filter(|l| l[1].starts_with(word))
            .count()
    };
    assert_eq!((count("Stall"), count("Resumed")), (2, 2), "{story}");
    let gaps = heard.numbers("gap");
    eprintln!("suspended 2 s: gaps {gaps:?}");
    assert_eq!(gaps.len(), 1, "{story}");
    assert!((1_800.0..2_400.0).contains(&gaps[0][2]), "{story}");
    assert!(
        heard.tells("Silence"),
        "an unplayed sink is all zeros: {story}"
    );
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn the_program_stopped_for_three_seconds_loses_nothing() {
    let _alone = alone();
    let server = Server::with_pipe(PLAIN);
    let (_mic, _) = server.feed("mic", PLAIN, &with(&[("secs", 20.0)]));
    let tap = server.tap(&with(&[("secs", 12.0)]));
    wait(4.0);
    tap.signal(libc::SIGSTOP);
    wait(3.0);
    tap.signal(libc::SIGCONT);
    let heard = tap.finish(30);
    heard.whole(15);
    assert!(
        heard.samples.len() as f64 > 11.0 * 48_000.0,
        "{}",
        heard.story()
    );
    assert!(heard.lines("gap").is_empty(), "{}", heard.story());
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn an_engine_that_sleeps_longer_than_the_ring_is_told_what_it_missed() {
    let _alone = alone();
    let server = Server::with_pipe(PLAIN);
    let (_mic, _) = server.feed("mic", PLAIN, &with(&[("secs", 15.0)]));
    let options = with(&[("secs", 9.0), ("pause_at", 3.0), ("pause_ms", 3500.0)]);
    let heard = server.tap(&options).finish(30);
    let runs = heard.runs(15);
    assert_eq!(runs.len(), 2, "{runs:?}\n{}", heard.story());
    let missing = runs[1].sent - runs[0].sent - runs[0].len as u64;
    let told = heard.numbers("overrun");
    let sum: f64 = told.iter().map(|o| o[1]).sum();
    assert_eq!(sum as u64, missing, "{}", heard.story());
    assert!(
        told.iter().all(|o| o[0] as usize == runs[1].at),
        "{}",
        heard.story()
    );
    assert!(
        (1.0..2.0).contains(&(missing as f64 / 48_000.0)),
        "{missing}"
    );
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn the_microphone_chosen_by_name_is_the_one_heard() {
    let _alone = alone();
    let dir = tempfile::tempdir().unwrap();
    let barn = Source {
        rate: 16_000,
        channels: 1,
        format: "s16le",
    };
    let modules = vec![
        PLAIN.module(dir.path(), "mic"),
        barn.module(dir.path(), "barn"),
    ];
    let server = Server::start(dir, modules);
    let (_barn, _) = server.feed("barn", barn, &with(&[("secs", 20.0)]));
    let heard = server.tap(&["list".into()]).finish(10);
    let names: Vec<&str> = heard.lines("device").iter().map(|l| l[1]).collect();
    assert_eq!(
        names,
        ["The_mic", "The_barn"],
        "the default first: {}",
        heard.log
    );

    let named = |name: &str| vec!["secs=2.5".to_owned(), format!("device={name}")];
    let heard = server.tap(&named("The_barn")).finish(20);
    assert!(heard.tells("rate_hz: 16000"), "{}", heard.story());
    heard.whole(15);
    assert!(heard.samples.len() > 24_000, "{}", heard.story());

    let heard = server.tap(&named("The_stable")).finish(20);
    assert!(
        heard.tells("choose one of: The_mic, The_barn"),
        "{}",
        heard.story()
    );
}

#[test]
#[ignore = "run by tests/live/run.sh"]
fn the_default_source_switched_in_mid_capture_goes_on() {
    let _alone = alone();
    let dir = tempfile::tempdir().unwrap();
    let modules = vec![
        PLAIN.module(dir.path(), "mic"),
        PLAIN.module(dir.path(), "barn"),
    ];
    let server = Server::start(dir, modules);
    let (_a, _) = server.feed("mic", PLAIN, &with(&[("secs", 20.0)]));
    let tap = server.tap(&with(&[("secs", 14.0)]));
    wait(3.0);
    server.pactl(&["set-default-source", "barn"]);
    let (_b, _) = server.feed("barn", PLAIN, &with(&[("secs", 20.0)]));
    let heard = tap.finish(20);
    let heard_s = heard.samples.len() as f64 / 48_000.0;
    eprintln!(
        "default source switched: {heard_s:.2} s of 14 s heard\n{}",
        heard.story()
    );
    assert!((13.0..14.1).contains(&heard_s), "{}", heard.story());
    assert!(!heard.tells("Lost"), "{}", heard.story());
}

/// ALSA's own pretence of a microphone, with no server at all: a FIFO read by
/// the `file` plugin, whose default form is two channels of 32-bit floats.
#[test]
#[ignore = "run by tests/live/run.sh"]
fn a_microphone_without_a_sound_server() {
    let _alone = alone();
    let dir = tempfile::tempdir().unwrap();
    let fifo = dir.path().join("mic.fifo");
    let made = std::process::Command::new("mkfifo").arg(&fifo).status();
    assert!(made.unwrap().success());
    let conf = dir.path().join("alsa.conf");
    let text = format!(
        "pcm.null {{ type null }}\npcm.default {{ type file slave.pcm \"null\" file \"/dev/null\" \
         infile \"{}\" format \"raw\" }}\n",
        fifo.display()
    );
    std::fs::write(&conf, text).unwrap();
    let source = Source {
        rate: 48_000,
        channels: 2,
        format: "float32le",
    };
    let (_mic, _) = crate::rig::feed_into(&fifo, source, &with(&[("secs", 8.0)]));
    let env = [("ALSA_CONFIG_PATH", conf.to_str().unwrap())];
    let heard = Tap::start(dir.path(), &env, &with(&[("secs", 4.0)])).finish(20);
    assert!(heard.tells("id: \"alsa:default\""), "{}", heard.story());
    let run = heard.runs(15)[0];
    eprintln!("no server: {run:?}\n{}", heard.story());
    assert!(run.len > 48_000, "{}", heard.story());
    assert_eq!(heard.stderr, "");
}
