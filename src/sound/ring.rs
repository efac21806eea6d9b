//! The ring between the capture callback and the engine: samples, arrival
//! stamps and counters, none of which takes a lock.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering::Relaxed};

use ringbuf::traits::{Consumer, Observer, Split};
use ringbuf::{HeapCons, HeapRb};

use super::capture::{Intake, Pick};
use super::monotonic::mono_ns;

/// Seconds of sound that the ring holds before the engine has fallen behind.
pub const RING_S: f64 = 2.0;
/// Arrival stamps held: more than 2 s of the shortest period met (64 frames at 96 kHz).
const STAMPS: usize = 4096;

/// One callback: what had been put into the ring with it, what had been
/// thrown away before it, and when it came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Stamp {
    pub delivered: u64,
    pub lost: u64,
    pub arrival_ns: i64,
}

/// What the callback counts. Each counter stands alone, so relaxed order is
/// enough: no decision needs two of them to agree.
#[derive(Debug)]
pub struct Counters {
    pub(super) callbacks: AtomicU64,
    pub(super) frames: AtomicU64,
    pub(super) lost: AtomicU64,
    pub(super) clipped: AtomicU64,
    pub(super) zero_run: AtomicU64,
    pub(super) xruns: AtomicU64,
    pub(super) last_callback_ns: AtomicI64,
    pub(super) longest_wait_ns: AtomicI64,
}

/// The counters at one instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Snapshot {
    /// Callbacks so far.
    pub callbacks: u64,
    /// Frames put into the ring.
    pub frames: u64,
    /// Frames thrown away because the ring was full.
    pub lost: u64,
    /// Frames with a channel at full scale.
    pub clipped: u64,
    /// Frames of exact zeros up to now, without a break.
    pub zero_run: u64,
    /// Overruns that the device's driver told of.
    pub xruns: u64,
    /// Last callback (before the first: the opening), CLOCK_MONOTONIC in ns.
    pub last_callback_ns: i64,
    /// Longest time between two callbacks in ns.
    pub longest_wait_ns: i64,
}

impl Snapshot {
    /// This stream's counters and those of the streams `before` it together.
    pub(super) fn after(self, before: Self) -> Self {
        Self {
            callbacks: before.callbacks + self.callbacks,
            frames: before.frames + self.frames,
            lost: before.lost + self.lost,
            clipped: before.clipped + self.clipped,
            xruns: before.xruns + self.xruns,
            longest_wait_ns: before.longest_wait_ns.max(self.longest_wait_ns),
            ..self
        }
    }
}

impl Counters {
    fn new() -> Self {
        Self {
            callbacks: AtomicU64::new(0),
            frames: AtomicU64::new(0),
            lost: AtomicU64::new(0),
            clipped: AtomicU64::new(0),
            zero_run: AtomicU64::new(0),
            xruns: AtomicU64::new(0),
            last_callback_ns: AtomicI64::new(mono_ns()),
            longest_wait_ns: AtomicI64::new(0),
        }
    }

    /// Reads all counters.
    pub fn snapshot(&self) -> Snapshot {
        Snapshot {
            callbacks: self.callbacks.load(Relaxed),
            frames: self.frames.load(Relaxed),
            lost: self.lost.load(Relaxed),
            clipped: self.clipped.load(Relaxed),
            zero_run: self.zero_run.load(Relaxed),
            xruns: self.xruns.load(Relaxed),
            last_callback_ns: self.last_callback_ns.load(Relaxed),
            longest_wait_ns: self.longest_wait_ns.load(Relaxed),
        }
    }

    /// Counts an overrun told by the driver.
    pub fn count_xrun(&self) -> u64 {
        self.xruns.fetch_add(1, Relaxed) + 1
    }
}

/// The engine's end of the ring.
pub struct RingReader {
    samples: HeapCons<f32>,
    stamps: HeapCons<Stamp>,
    counters: Arc<Counters>,
    taken: u64,
}

impl RingReader {
    /// The callback's counters.
    pub fn counters(&self) -> &Counters {
        &self.counters
    }

    pub(super) fn next_stamp(&mut self) -> Option<Stamp> {
        self.stamps.try_pop()
    }

    /// Moves samples to `out` until `delivered` of them have been taken in all;
    /// gives how many came.
    pub(super) fn take_until(&mut self, delivered: u64, out: &mut Vec<f32>) -> usize {
        let want = usize::try_from(delivered.saturating_sub(self.taken)).unwrap_or(usize::MAX);
        let want = want.min(self.samples.occupied_len());
        let from = out.len();
        out.resize(from + want, 0.0);
        let got = self.samples.pop_slice(&mut out[from..]);
        out.truncate(from + got);
        self.taken += got as u64;
        got
    }
}

/// A ring of 2 s for one stream of `channels` at `rate_hz`: the callback's end
/// and the engine's.
pub fn ring(rate_hz: u32, channels: u16, pick: Pick) -> (Intake, RingReader) {
    let room = (f64::from(rate_hz.max(1)) * RING_S).ceil() as usize;
    let (samples_in, samples) = HeapRb::new(room).split();
    let (stamps_in, stamps) = HeapRb::new(STAMPS).split();
    let counters = Arc::new(Counters::new());
    let intake = Intake::new(samples_in, stamps_in, Arc::clone(&counters), channels, pick);
    let reader = RingReader {
        samples,
        stamps,
        counters,
        taken: 0,
    };
    (intake, reader)
}
