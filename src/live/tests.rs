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

#[test]
fn a_full_disk_stops_the_keeping_of_sound_and_nothing_else() {
    use crate::sound::wav_out::{Depth, WavShape};

    let shape = WavShape {
        sample_rate_hz: 8_000,
        channels: 1,
        depth: Depth::Float32,
    };
    // Longer than what waits in memory for the disk, so that writing fails; and
    // shorter, so that ending the file does.
    for count in [40_000, 800] {
        let kept = WavOut::create(std::path::Path::new("/dev/full"), shape).unwrap();
        let samples = vec![0.25; count];
        let source = Box::new(Played::from_samples(8_000, Pace::AsFast, samples));
        let listening = Listening::new(8_000, &[], None).unwrap();
        let (_live, told) = Live::start(source, listening, Some(kept)).unwrap();
        let (mut not_kept, mut ended_s) = (Vec::new(), None);
        while let Ok(happening) = told.recv_timeout(Duration::from_secs(5)) {
            match happening {
                Happening::NotKept(why) => not_kept.push(why),
                Happening::Ended(heard) => {
                    ended_s = Some(heard.duration_s);
                    break;
                }
                Happening::Failed(why) => panic!("{why}"),
                _ => {}
            }
        }
        assert_eq!(not_kept.len(), 1, "{not_kept:?}");
        assert!(not_kept[0].contains("disk is full"), "{not_kept:?}");
        assert_eq!(ended_s, Some(count as f64 / 8_000.0));
    }
}

#[test]
fn a_pedal_that_is_unplugged_is_told_after_its_last_press_and_the_ear_goes_on() {
    use crate::hand::{Key, Source};

    let (mut live, told) = start(Pace::RealTime);
    let press = HandEvent {
        mono_ns: mono_ns(),
        source: Source::Device("Feet".to_owned()),
        key: Key::Code(30),
        u_ms: 2.3,
    };
    live.read_device("Feet".to_owned(), move |presses| {
        presses.push(press.clone());
        Err(io::Error::from_raw_os_error(19)) // ENODEV: no such device
    })
    .unwrap();
    let (mut presses, mut gone) = (0, Vec::new());
    loop {
        match told.recv_timeout(Duration::from_secs(5)).unwrap() {
            Happening::Placed(..) => presses += 1,
            Happening::PedalGone(name) => gone.push(name),
            Happening::Ended(heard) => {
                assert_eq!(heard.duration_s, 0.5);
                break;
            }
            Happening::Failed(why) => panic!("{why}"),
            _ => {}
        }
    }
    assert_eq!((presses, gone), (1, vec!["Feet".to_owned()]));
}

#[test]
fn closed_it_reads_no_hand_any_more() {
    use std::sync::atomic::AtomicUsize;

    let (mut live, told) = start(Pace::RealTime);
    let looks = Arc::new(AtomicUsize::new(0));
    let counted = Arc::clone(&looks);
    live.read_device("Feet".to_owned(), move |_| {
        counted.fetch_add(1, Relaxed);
        thread::sleep(Duration::from_millis(2));
        Ok(())
    })
    .unwrap();
    thread::sleep(Duration::from_millis(30));
    live.close(told);
    let by_then = looks.load(Relaxed);
    thread::sleep(Duration::from_millis(30));
    assert!(by_then > 0);
    assert_eq!(looks.load(Relaxed), by_then);
}

/// The last samples are told of, and while the teller waits a key is pressed: it is
/// told too, before the end.
#[test]
fn a_press_while_the_ear_finishes_is_told() {
    // Blocks of 81; the fifth is short, is the end, and is told as 50 ms of sound.
    let source = Played::from_samples(8_001, Pace::AsFast, vec![0.0; 404]);
    let listening = Listening::new(8_001, &[], None).unwrap();
    let (tell, told) = sync_channel(0);
    let (place, places) = channel();
    let listener = Listener {
        source: Box::new(source),
        kept: None,
        tell,
        places,
        stop: Arc::new(AtomicBool::new(false)),
    };
    let ear = thread::spawn(move || listener.listen(listening));
    thread::sleep(Duration::from_millis(100));
    let stamp = Stamp {
        mono_ns: mono_ns(),
        what: Stamped::Own(3),
    };
    place.send(stamp.clone()).unwrap();
    assert!(matches!(told.recv().unwrap(), Happening::Now { .. }));
    let next = told.recv_timeout(Duration::from_secs(5)).unwrap();
    assert!(
        matches!(&next, Happening::Placed(placed, None) if *placed == stamp),
        "{next:?}"
    );
    assert!(ear.join().unwrap().is_ok());
}
