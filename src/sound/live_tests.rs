use super::super::capture::{Intake, Pick};
use super::super::ring::ring;
use super::*;
use std::sync::mpsc::{Sender, channel};

const RATE: u32 = 8_000;
const BLOCK: usize = 80; // 10 ms

struct Rig {
    input: LiveInput,
    links: Sender<Link>,
    out: Vec<f32>,
    events: Vec<MicEvent>,
}

impl Rig {
    fn new() -> Self {
        let (links, receiver) = channel();
        Self {
            input: LiveInput::new(RATE, receiver),
            links,
            out: Vec::new(),
            events: Vec::new(),
        }
    }

    fn connect(&mut self) -> Intake {
        let (intake, ring) = ring(RATE, 1, Pick::Mean);
        let up = Link::Up(Connection {
            device: "Desk".into(),
            ring,
        });
        self.links.send(up).unwrap();
        self.pull();
        intake
    }

    fn pull(&mut self) {
        self.input
            .pull(Duration::ZERO, &mut self.out, &mut self.events);
    }

    /// Sends one block of a rising count that arrives at `ms` after a fixed start.
    fn block(&mut self, intake: &mut Intake, count: &mut usize, ms: f64) {
        let data: Vec<f32> = (*count..*count + BLOCK)
            .map(|n| (n % 1_000) as f32 / 2_000.0)
            .collect();
        intake.take(&data, |x| x, 0.9999, START_NS + (ms * 1e6) as i64);
        *count += BLOCK;
        self.pull();
    }

    /// All but the samples, and but what the watchdog says by the real clock,
    /// which these made-up arrival times have nothing to do with.
    fn troubles(&self) -> Vec<&MicEvent> {
        let by_the_clock = |e: &&MicEvent| {
            matches!(
                e,
                MicEvent::Samples { .. } | MicEvent::Stall { .. } | MicEvent::Resumed { .. }
            )
        };
        self.events.iter().filter(|e| !by_the_clock(e)).collect()
    }
}

const START_NS: i64 = 1_000_000_000_000;

#[test]
fn delivers_every_sample_in_order_with_its_position() {
    let mut rig = Rig::new();
    let mut intake = rig.connect();
    let mut count = 0;
    for k in 1..=500 {
        rig.block(&mut intake, &mut count, f64::from(k) * 10.0);
    }
    assert_eq!(rig.out.len(), 40_000);
    assert!(
        rig.out
            .iter()
            .enumerate()
            .all(|(n, &x)| x == (n % 1_000) as f32 / 2_000.0)
    );
    let mut at = 0;
    for e in &rig.events {
        if let MicEvent::Samples { from_sample, count } = e {
            assert_eq!(*from_sample, at);
            at += *count as u64;
        }
    }
    assert_eq!(at, 40_000);
    let (sample, _) = rig.input.sample_at(START_NS + 4_000_000_000).unwrap();
    assert!((sample - 32_000.0).abs() < 1e-3);
}

#[test]
fn a_silent_loss_becomes_a_gap_with_place_and_length() {
    let mut rig = Rig::new();
    let mut intake = rig.connect();
    let mut count = 0;
    for k in 1..=800 {
        let lost_ms = if k > 500 { 30.0 } else { 0.0 };
        rig.block(&mut intake, &mut count, f64::from(k) * 10.0 + lost_ms);
    }
    let [
        MicEvent::Gap {
            at_sample,
            missing_samples,
            ..
        },
    ] = rig.troubles()[..]
    else {
        panic!("{:?}", rig.troubles());
    };
    assert_eq!((*at_sample, *missing_samples), (40_000, 240));
    // By hand: sample 48 000 was in the air 6.0 s after the start, plus the hole.
    let (sample, _) = rig.input.sample_at(START_NS + 6_030_000_000).unwrap();
    assert!((sample - 48_000.0).abs() < 1.0, "{sample}");
}

#[test]
fn a_full_ring_becomes_an_overrun_with_place_and_length() {
    let mut rig = Rig::new();
    let mut intake = rig.connect();
    let block = vec![0.1f32; 4_000];
    // The ring holds 16 000: the fifth and sixth block do not fit.
    for k in 1..=6 {
        intake.take(&block, |x| x, 0.9999, START_NS + k * 500_000_000);
    }
    rig.pull();
    intake.take(&block, |x| x, 0.9999, START_NS + 7 * 500_000_000);
    rig.pull();
    assert_eq!(rig.out.len(), 20_000);
    let missing: u64 = rig
        .troubles()
        .iter()
        .map(|e| match e {
            MicEvent::Overrun {
                at_sample: 16_000,
                missing_samples,
            } => *missing_samples,
            other => panic!("{other:?}"),
        })
        .sum();
    assert_eq!(missing, 8_000);
}

#[test]
fn a_lost_device_that_returns_leaves_a_gap_of_the_time_it_was_away() {
    let mut rig = Rig::new();
    let mut intake = rig.connect();
    let mut count = 0;
    for k in 1..=300 {
        rig.block(&mut intake, &mut count, f64::from(k) * 10.0);
    }
    let down = Link::Down {
        device: "Desk".into(),
        reason: "unplugged".into(),
    };
    rig.links.send(down).unwrap();
    rig.pull();
    // What was counted is not forgotten with the device,
    let before = rig.input.counters().unwrap();
    assert!(before.callbacks > 0 && before.frames > 0);
    let mut intake = rig.connect();
    // Its first block of 10 ms ends 5 s after the last one did: 4 990 ms are missing.
    for k in 0..300 {
        rig.block(&mut intake, &mut count, 8_000.0 + f64::from(k) * 10.0);
    }
    let [
        MicEvent::Lost { .. },
        MicEvent::Back { .. },
        MicEvent::Gap {
            at_sample,
            missing_samples,
            ..
        },
    ] = rig.troubles()[..]
    else {
        panic!("{:?}", rig.troubles());
    };
    assert_eq!(*at_sample, 24_000);
    assert!(missing_samples.abs_diff(39_920) <= 1, "{missing_samples}");
    assert_eq!(rig.out.len(), 48_000);
    // and goes on when it is back.
    let after = rig.input.counters().unwrap();
    assert_eq!((before.frames, after.frames), (24_000, 48_000));
    assert_eq!((before.callbacks, after.callbacks), (300, 600));
}

#[test]
fn ends_when_nobody_can_open_a_stream_any_more() {
    let Rig {
        mut input,
        links,
        mut out,
        mut events,
    } = Rig::new();
    drop(links);
    let flow = input.pull(Duration::from_secs(5), &mut out, &mut events);
    assert_eq!(flow, Flow::Ended);
}
