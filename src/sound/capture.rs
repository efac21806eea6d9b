//! What the capture callback does: copy, mix to one channel, count. It takes
//! no lock, allocates nothing and prints nothing (tests/capture_alloc.rs).

use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;

use ringbuf::HeapProd;
use ringbuf::traits::{Observer, Producer};

use super::ring::{Counters, Stamp};

/// Which channels of the device are heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Pick {
    /// The mean of all channels. The default: many stereo inputs carry the
    /// microphone on one side only, and the wrong side alone would be silence.
    #[default]
    Mean,
    /// One channel, counted from 0; above the last it is the last. For a pair
    /// of microphones far apart, whose mean would smear the click.
    Channel(u16),
}

/// The callback's end of the ring.
pub struct Intake {
    samples: HeapProd<f32>,
    stamps: HeapProd<Stamp>,
    counters: Arc<Counters>,
    channels: usize,
    pick: Pick,
    delivered: u64,
    lost: u64,
    zero_run: u64,
    last_ns: Option<i64>,
}

impl Intake {
    pub(super) fn new(
        samples: HeapProd<f32>,
        stamps: HeapProd<Stamp>,
        counters: Arc<Counters>,
        channels: u16,
        pick: Pick,
    ) -> Self {
        Self {
            samples,
            stamps,
            counters,
            channels: usize::from(channels.max(1)),
            pick,
            delivered: 0,
            lost: 0,
            zero_run: 0,
            last_ns: None,
        }
    }

    /// The counters this callback writes.
    pub fn counters(&self) -> Arc<Counters> {
        Arc::clone(&self.counters)
    }

    /// Takes one block of interleaved samples that arrived at `arrival_ns`
    /// (CLOCK_MONOTONIC). `to_f32` gives −1 to 1; `clip_at` is the format's
    /// largest value. A block that does not fit is thrown away whole and
    /// counted, so that a hole has one place and one length.
    pub fn take<T: Copy>(
        &mut self,
        interleaved: &[T],
        to_f32: impl Fn(T) -> f32,
        clip_at: f32,
        arrival_ns: i64,
    ) {
        let frames = interleaved.len() / self.channels;
        let c = &self.counters;
        if self.samples.vacant_len() < frames {
            self.lost += frames as u64;
            c.lost.store(self.lost, Relaxed);
        } else {
            let mut clipped = 0;
            let mut zeros = self.zero_run;
            let scale = 1.0 / self.channels as f32;
            let pick = self.pick;
            let mono = interleaved.chunks_exact(self.channels).map(|frame| {
                let mut sum = 0.0;
                let mut full = false;
                let mut silent = true;
                for &s in frame {
                    let x = to_f32(s);
                    sum += x;
                    full |= x.abs() >= clip_at;
                    silent &= x == 0.0;
                }
                clipped += u64::from(full);
                zeros = if silent { zeros + 1 } else { 0 };
                match pick {
                    Pick::Mean => sum * scale,
                    Pick::Channel(k) => to_f32(frame[usize::from(k).min(frame.len() - 1)]),
                }
            });
            self.delivered += self.samples.push_iter(mono) as u64;
            self.zero_run = zeros;
            c.clipped.fetch_add(clipped, Relaxed);
            c.zero_run.store(zeros, Relaxed);
            c.frames.store(self.delivered, Relaxed);
        }
        if let Some(last_ns) = self.last_ns {
            c.longest_wait_ns.fetch_max(arrival_ns - last_ns, Relaxed);
        }
        self.last_ns = Some(arrival_ns);
        c.callbacks.fetch_add(1, Relaxed);
        c.last_callback_ns.store(arrival_ns, Relaxed);
        // A full stamp ring is no loss: the next stamp carries the totals.
        let _ = self.stamps.try_push(Stamp {
            delivered: self.delivered,
            lost: self.lost,
            arrival_ns,
        });
    }
}

#[cfg(test)]
mod tests {
    use super::super::ring::{RING_S, ring};
    use super::*;

    fn i16_to_f32(s: i16) -> f32 {
        f32::from(s) / 32768.0
    }

    #[test]
    fn mixes_stereo_by_the_mean_or_takes_the_channel_asked_for() {
        for (pick, want) in [
            (Pick::Mean, [0.25f32, -0.25]),
            (Pick::Channel(0), [0.5, 0.0]),
            (Pick::Channel(1), [0.0, -0.5]),
            (Pick::Channel(9), [0.0, -0.5]),
        ] {
            let (mut intake, mut reader) = ring(8_000, 2, pick);
            intake.take(&[16384i16, 0, 0, -16384], i16_to_f32, 0.9999, 5);
            let stamp = reader.next_stamp().unwrap();
            assert_eq!((stamp.delivered, stamp.lost, stamp.arrival_ns), (2, 0, 5));
            let mut out = Vec::new();
            assert_eq!(reader.take_until(2, &mut out), 2);
            assert_eq!(out, want);
        }
    }

    #[test]
    fn counts_clipping_zeros_and_waits() {
        let (mut intake, reader) = ring(8_000, 1, Pick::Mean);
        intake.take(&[0i16, 0, 32767, -32768, 7, 0, 0], i16_to_f32, 0.9999, 100);
        intake.take(&[0i16, 0], i16_to_f32, 0.9999, 350);
        let s = reader.counters().snapshot();
        assert_eq!((s.frames, s.clipped, s.zero_run), (9, 2, 4));
        assert_eq!(
            (s.callbacks, s.last_callback_ns, s.longest_wait_ns),
            (2, 350, 250)
        );
    }

    #[test]
    fn a_block_that_does_not_fit_is_thrown_away_whole_and_counted() {
        let (mut intake, mut reader) = ring(1_000, 1, Pick::Mean);
        let room = (1_000.0 * RING_S) as u64;
        for k in 0..5 {
            intake.take(&[1i16; 600], i16_to_f32, 0.9999, k);
        }
        let s = reader.counters().snapshot();
        assert_eq!((s.frames, s.lost), (1_800, 1_200));
        assert!(s.frames <= room);
        let last = std::iter::from_fn(|| reader.next_stamp()).last().unwrap();
        assert_eq!((last.delivered, last.lost), (1_800, 1_200));
    }

    #[test]
    fn an_empty_block_and_a_torn_frame_do_no_harm() {
        let (mut intake, reader) = ring(8_000, 2, Pick::Mean);
        intake.take(&[], i16_to_f32, 0.9999, 1);
        intake.take(&[1i16, 2, 3], i16_to_f32, 0.9999, 2);
        assert_eq!(reader.counters().snapshot().frames, 1);
    }
}
