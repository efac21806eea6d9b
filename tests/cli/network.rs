//! Nothing listens on a network and nothing is sent: no live command holds a socket of
//! the internet's families, and the source names none.
#![cfg(target_os = "linux")]

use std::collections::HashSet;
use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use crate::run::{Place, Run, drill, fixture};

/// Inodes of every internet socket that a process can see.
fn internet_sockets(pid: u32) -> HashSet<String> {
    let mut all = HashSet::new();
    for table in [
        "tcp", "tcp6", "udp", "udp6", "raw", "raw6", "udplite", "packet",
    ] {
        let Ok(text) = fs::read_to_string(format!("/proc/{pid}/net/{table}")) else {
            continue;
        };
        let at = if table == "packet" { 8 } else { 9 };
        let inodes = text.lines().skip(1);
        all.extend(inodes.filter_map(|l| l.split_whitespace().nth(at).map(str::to_owned)));
    }
    all
}

/// The sockets that a process holds, by inode.
fn held(pid: u32) -> HashSet<String> {
    let Ok(folder) = fs::read_dir(format!("/proc/{pid}/fd")) else {
        return HashSet::new();
    };
    folder
        .filter_map(|entry| fs::read_link(entry.ok()?.path()).ok())
        .filter_map(|to| {
            let to = to.to_string_lossy().into_owned();
            Some(to.strip_prefix("socket:[")?.strip_suffix(']')?.to_owned())
        })
        .collect()
}

struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// The look itself must see a socket, or it proves nothing.
#[test]
fn the_look_sees_a_socket_where_there_is_one() {
    let _listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let pid = std::process::id();
    assert!(!held(pid).is_disjoint(&internet_sockets(pid)));
}

#[test]
fn no_live_command_holds_an_internet_socket() {
    let place = Place::taught();
    place
        .marklag(["plan", "load"])
        .arg(fixture("plans/target.toml"))
        .run()
        .well();
    for words in ["drop --plain --keep", "check --plain", "train --plain"] {
        let mut command = Command::new(assert_cmd::cargo::cargo_bin!("marklag"));
        command
            .env("MARKLAG_HOME", place.home())
            .args(words.split_whitespace())
            .arg("--from")
            .arg(drill())
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::null());
        let mut running = Running(command.spawn().unwrap());
        let pid = running.0.id();
        let end = Instant::now() + Duration::from_millis(1_500);
        let mut looks = 0;
        while Instant::now() < end && running.0.try_wait().unwrap().is_none() {
            let both: Vec<String> = held(pid)
                .intersection(&internet_sockets(pid))
                .cloned()
                .collect();
            assert!(both.is_empty(), "{words}: {both:?}");
            looks += 1;
            std::thread::sleep(Duration::from_millis(20));
        }
        assert!(looks > 10, "{words} was over before it was looked at");
    }
}

fn sources(folder: &Path, all: &mut Vec<(String, String)>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, all);
        } else if path.extension().is_some_and(|e| e == "rs") {
            let text = fs::read_to_string(&path).unwrap();
            all.push((path.display().to_string(), text));
        }
    }
}

#[test]
fn the_source_names_no_network() {
    let mut all = Vec::new();
    sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), &mut all);
    assert!(all.len() > 100);
    for (path, text) in all {
        for word in [
            "std::net",
            "TcpListener",
            "TcpStream",
            "UdpSocket",
            "libc::socket",
            "libc::connect",
        ] {
            assert!(!text.contains(word), "{path} names {word}");
        }
    }
}
