#![allow(clippy::unwrap_used)]

use std::time::Duration;

use super::*;
use crate::sound::monotonic::mono_ns;
use crate::sound::{Pace, Played};

fn start(pace: Pace) -> (Live, Receiver<Happening>) {
    let samples = vec![0.25; 4_000];
    let source = Box::new(Played::from_samples(8_000, pace, samples));
    let listening = Listening::new(8_000, &[], None).unwrap();
    Live::start(source, listening, None).unwrap()
}

#[test]
fn a_recording_is_told_to_its_end() {
    let (_live, told) = start(Pace::AsFast);
    let mut now = 0.0;
    loop {
        match told.recv_timeout(Duration::from_secs(5)).unwrap() {
            Happening::Now { t_s, peak_dbfs } => {
                assert!(t_s > now && (peak_dbfs + 12.04).abs() < 0.01);
                now = t_s;
            }
            Happening::Ended(heard) => {
                assert_eq!(heard.duration_s, 0.5);
                break;
            }
            other => panic!("{other:?}"),
        }
    }
}

#[test]
fn an_instant_gets_its_place_and_none_once_the_sound_is_over() {
    let (live, told) = start(Pace::RealTime);
    let mut placed = Vec::new();
    let asked = mono_ns() + 100_000_000;
    live.place(asked, 7);
    thread::sleep(Duration::from_millis(700));
    live.place(asked, 8);
    while let Ok(happening) = told.recv_timeout(Duration::from_millis(500)) {
        if let Happening::Placed(stamp, at) = happening {
            placed.push((stamp.what, at));
        }
    }
    assert_eq!(placed[0].0, Stamped::Own(7));
    let (t_s, _) = placed[0].1.unwrap();
    assert!((0.05..=0.1).contains(&t_s), "{t_s}");
    assert_eq!(placed[1], (Stamped::Own(8), None));
}

#[test]
fn stopped_before_its_end_it_tells_what_was_heard() {
    let (live, told) = start(Pace::RealTime);
    thread::sleep(Duration::from_millis(120));
    live.stop();
    let ended = told.iter().find_map(|h| match h {
        Happening::Ended(heard) => Some(heard.duration_s),
        _ => None,
    });
    assert!((0.05..0.45).contains(&ended.unwrap()), "{ended:?}");
}
