//! A recording or a made-up room, played through the microphone's path.

use std::thread;
use std::time::Duration;

use super::event::MicEvent;
use super::monotonic::mono_ns;
use super::source::{Flow, SampleSource};

/// Samples handed over at once, in s: close to a microphone's block.
const BLOCK_S: f64 = 0.01;

/// How fast a recording is played.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pace {
    /// As the clock goes; keys can be pressed against it.
    RealTime,
    /// As fast as the engine takes it.
    AsFast,
}

/// Samples (one channel) that already exist.
pub trait Reel: Send {
    /// Fills a buffer from its start and gives how many samples it wrote; fewer
    /// than the buffer holds is the end.
    fn fill(&mut self, out: &mut [f32]) -> usize;

    /// After the end: why it came too early, in words; `None` when it did not.
    fn cut_short(&self) -> Option<String> {
        None
    }
}

/// Samples held in memory, and how many of them were given.
struct Held(Vec<f32>, usize);

impl Reel for Held {
    fn fill(&mut self, out: &mut [f32]) -> usize {
        let n = out.len().min(self.0.len() - self.1);
        out[..n].copy_from_slice(&self.0[self.1..self.1 + n]);
        self.1 += n;
        n
    }
}

/// Plays samples that already exist.
pub struct Played {
    reel: Box<dyn Reel>,
    rate_hz: u32,
    pace: Pace,
    start_ns: Option<i64>,
    given: u64,
    ended: bool,
}

impl Played {
    /// Plays a reel at `rate_hz` (0 is taken as 1).
    pub fn new(rate_hz: u32, pace: Pace, reel: impl Reel + 'static) -> Self {
        Self {
            reel: Box::new(reel),
            rate_hz: rate_hz.max(1),
            pace,
            start_ns: None,
            given: 0,
            ended: false,
        }
    }

    /// Plays samples held in memory.
    pub fn from_samples(rate_hz: u32, pace: Pace, samples: Vec<f32>) -> Self {
        Self::new(rate_hz, pace, Held(samples, 0))
    }

    /// Samples whose time has come but that were not given yet.
    fn due(&mut self) -> u64 {
        let block = (f64::from(self.rate_hz) * BLOCK_S).ceil() as u64;
        match self.pace {
            Pace::AsFast => block,
            Pace::RealTime => {
                let start_ns = *self.start_ns.get_or_insert_with(mono_ns);
                let passed_s = (mono_ns() - start_ns) as f64 * 1e-9;
                ((passed_s * f64::from(self.rate_hz)) as u64).saturating_sub(self.given)
            }
        }
    }
}

impl SampleSource for Played {
    fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    fn pull(&mut self, patience: Duration, out: &mut Vec<f32>, events: &mut Vec<MicEvent>) -> Flow {
        if self.ended {
            return Flow::Ended;
        }
        let mut due = self.due();
        if due == 0 {
            thread::sleep(patience.min(Duration::from_secs_f64(BLOCK_S)));
            due = self.due();
        }
        let (from, want) = (out.len(), usize::try_from(due).unwrap_or(usize::MAX));
        out.resize(from + want, 0.0);
        let got = self.reel.fill(&mut out[from..]);
        out.truncate(from + got);
        if got > 0 {
            events.push(MicEvent::Samples {
                from_sample: self.given,
                count: got,
            });
        }
        self.given += got as u64;
        self.ended = got < want;
        if self.ended {
            events.extend(
                self.reel
                    .cut_short()
                    .map(|said| MicEvent::CutShort { said }),
            );
        }
        if self.ended { Flow::Ended } else { Flow::Open }
    }

    fn sample_at(&self, mono_ns: i64) -> Option<(f64, f64)> {
        let start_ns = self.start_ns?;
        let sample = (mono_ns - start_ns) as f64 * 1e-9 * f64::from(self.rate_hz);
        Some((sample, 0.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drain(mut source: Played) -> (Vec<f32>, Played) {
        let (mut out, mut events) = (Vec::new(), Vec::new());
        while source.pull(Duration::from_millis(5), &mut out, &mut events) == Flow::Open {}
        let told: usize = events
            .iter()
            .map(|e| match e {
                MicEvent::Samples { count, .. } => *count,
                _ => 0,
            })
            .sum();
        assert_eq!(told, out.len());
        (out, source)
    }

    #[test]
    fn gives_the_same_samples_at_either_pace() {
        let samples: Vec<f32> = (0..1_203).map(|n| n as f32 / 2_000.0).collect();
        for pace in [Pace::AsFast, Pace::RealTime] {
            let (out, source) = drain(Played::from_samples(8_000, pace, samples.clone()));
            assert_eq!(out, samples);
            assert_eq!(source.sample_at(0).is_some(), pace == Pace::RealTime);
        }
    }

    #[test]
    fn real_time_maps_an_instant_to_its_sample() {
        let mut source = Played::from_samples(8_000, Pace::RealTime, vec![0.0; 8_000]);
        assert_eq!(source.sample_at(mono_ns()), None);
        source.pull(Duration::ZERO, &mut Vec::new(), &mut Vec::new());
        let start_ns = source.start_ns.unwrap();
        let (sample, _) = source.sample_at(start_ns + 250_000_000).unwrap();
        assert!((sample - 2_000.0).abs() < 1e-6);
    }

    #[test]
    fn nothing_to_play_ends_at_once() {
        let (out, _) = drain(Played::from_samples(48_000, Pace::AsFast, Vec::new()));
        assert!(out.is_empty());
    }
}
