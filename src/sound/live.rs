//! The engine's end of a live microphone: it takes samples and stamps from the
//! ring, keeps the clock, and tells what went wrong. It does not know who
//! fills the ring.

use std::sync::mpsc::{Receiver, TryRecvError};
use std::thread;
use std::time::{Duration, Instant};

use super::event::MicEvent;
use super::monotonic::mono_ns;
use super::ring::{RingReader, Snapshot, Stamp};
use super::source::{Flow, SampleSource};
use super::watchdog::Watchdog;
use crate::clock::{ClockFit, HoleWatch, Step};

/// How often the ring is looked at while waiting.
const LOOK: Duration = Duration::from_millis(4);

/// One opened stream.
pub struct Connection {
    /// The device's name, for the user.
    pub device: String,
    /// The engine's end of its ring.
    pub ring: RingReader,
}

/// What the thread that owns the stream tells the engine.
pub enum Link {
    /// A stream was opened.
    Up(Connection),
    /// The stream ended by an error.
    Down {
        /// The device's name, for the user.
        device: String,
        /// What the system said.
        reason: String,
    },
}

/// The engine's end of a live microphone.
pub struct LiveInput {
    rate_hz: u32,
    links: Receiver<Link>,
    ring: Option<RingReader>,
    /// Samples delivered by earlier connections.
    base: u64,
    /// The counters of earlier connections; `None` while there was none.
    before: Option<Snapshot>,
    /// The newest stamp of this connection.
    last: Option<Stamp>,
    /// When the last sample before a lost connection was in the air.
    lost_at_ns: Option<i64>,
    device_lost: bool,
    clock: ClockFit,
    holes: HoleWatch,
    watchdog: Watchdog,
}

impl LiveInput {
    /// Listens to the streams told by `links`, all at `rate_hz`.
    pub fn new(rate_hz: u32, links: Receiver<Link>) -> Self {
        Self {
            rate_hz,
            links,
            ring: None,
            base: 0,
            before: None,
            last: None,
            lost_at_ns: None,
            device_lost: false,
            clock: ClockFit::new(f64::from(rate_hz)),
            holes: HoleWatch::default(),
            watchdog: Watchdog::default(),
        }
    }

    /// The fit of samples against the monotonic clock.
    pub fn clock(&self) -> &ClockFit {
        &self.clock
    }

    /// The counters over all connections; `None` before the first one.
    pub fn counters(&self) -> Option<Snapshot> {
        match (self.now(), self.before) {
            (Some(now), Some(before)) => Some(now.after(before)),
            (now, before) => now.or(before),
        }
    }

    /// The counters of the stream that is open now; `None` while it is lost.
    fn now(&self) -> Option<Snapshot> {
        self.ring.as_ref().map(|r| r.counters().snapshot())
    }

    /// Samples delivered so far, over all connections.
    pub fn position(&self) -> u64 {
        self.base + self.last.map_or(0, |s| s.delivered)
    }

    /// One look at ring and links.
    fn look(&mut self, out: &mut Vec<f32>, events: &mut Vec<MicEvent>) -> Flow {
        let link = self.links.try_recv();
        let (from_sample, had) = (self.position(), out.len());
        self.take_stamps(out, events);
        let count = out.len() - had;
        if count > 0 {
            events.push(MicEvent::Samples { from_sample, count });
        }
        match link {
            Ok(Link::Up(connection)) => self.connect(connection, events),
            Ok(Link::Down { device, reason }) => {
                self.disconnect();
                events.push(MicEvent::Lost { device, reason });
            }
            Err(TryRecvError::Disconnected) => return Flow::Ended,
            Err(TryRecvError::Empty) => {
                if let Some(now) = self.now() {
                    self.watchdog.look(now, mono_ns(), self.rate_hz, events);
                }
            }
        }
        Flow::Open
    }

    fn connect(&mut self, connection: Connection, events: &mut Vec<MicEvent>) {
        self.ring = Some(connection.ring);
        if std::mem::take(&mut self.device_lost) {
            events.push(MicEvent::Back {
                device: connection.device,
            });
        }
    }

    fn disconnect(&mut self) {
        self.base = self.position();
        self.before = self.counters();
        self.lost_at_ns = self.lost_at_ns.or(self.clock.mono_ns_at(self.base as f64));
        self.ring = None;
        self.last = None;
        self.device_lost = true;
        self.watchdog = Watchdog::default();
    }

    fn take_stamps(&mut self, out: &mut Vec<f32>, events: &mut Vec<MicEvent>) {
        while let Some(stamp) = self.ring.as_mut().and_then(RingReader::next_stamp) {
            let (delivered, lost) = self.last.map_or((0, 0), |s| (s.delivered, s.lost));
            let first = self.base + delivered;
            if let Some(lost_at_ns) = self.lost_at_ns.take() {
                let block_ms = stamp.delivered as f64 / f64::from(self.rate_hz) * 1e3;
                let missing_ms = (stamp.arrival_ns - lost_at_ns) as f64 * 1e-6 - block_ms;
                events.push(self.gap(first, missing_ms.max(0.0)));
                self.new_segment(stamp.arrival_ns);
            }
            if stamp.lost > lost {
                events.push(MicEvent::Overrun {
                    at_sample: first,
                    missing_samples: stamp.lost - lost,
                });
                self.new_segment(stamp.arrival_ns);
            }
            if stamp.delivered > delivered {
                let total = self.base + stamp.delivered;
                self.tell_clock(first, total, stamp.arrival_ns, events);
            }
            if let Some(ring) = self.ring.as_mut() {
                ring.take_until(stamp.delivered, out);
            }
            self.last = Some(stamp);
        }
    }

    fn tell_clock(
        &mut self,
        first_sample: u64,
        total: u64,
        arrival_ns: i64,
        events: &mut Vec<MicEvent>,
    ) {
        let late_ms = self.clock.lateness_ms(total, arrival_ns).unwrap_or(0.0);
        match self.holes.push(first_sample, arrival_ns, late_ms) {
            Some(Step::Missing {
                at_sample,
                since_ns,
                missing_ms,
            }) => {
                events.push(self.gap(at_sample, missing_ms));
                self.new_segment(since_ns);
            }
            Some(Step::Extra {
                at_sample,
                since_ns,
                extra_ms,
            }) => {
                events.push(MicEvent::Extra {
                    at_sample,
                    extra_ms,
                });
                self.new_segment(since_ns);
            }
            None if self.holes.doubt_ms().is_some() => return,
            None => {}
        }
        self.clock.push(total, arrival_ns);
    }

    fn gap(&self, at_sample: u64, missing_ms: f64) -> MicEvent {
        MicEvent::Gap {
            at_sample,
            missing_samples: (missing_ms * 1e-3 * f64::from(self.rate_hz)).round() as u64,
            missing_ms,
        }
    }

    fn new_segment(&mut self, arrival_ns: i64) {
        self.clock.restart(arrival_ns);
        self.holes.clear();
    }
}

impl SampleSource for LiveInput {
    fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    fn pull(&mut self, patience: Duration, out: &mut Vec<f32>, events: &mut Vec<MicEvent>) -> Flow {
        let deadline = Instant::now() + patience;
        let had = events.len();
        loop {
            let flow = self.look(out, events);
            let left = deadline.saturating_duration_since(Instant::now());
            if flow == Flow::Ended || events.len() > had || left.is_zero() {
                return flow;
            }
            thread::sleep(left.min(LOOK));
        }
    }

    fn sample_at(&self, mono_ns: i64) -> Option<(f64, f64)> {
        // For about a second it is open whether late blocks are a stall or a hole.
        let u_ms = self.clock.u_ms()?.max(self.holes.doubt_ms().unwrap_or(0.0));
        Some((self.clock.sample_at(mono_ns)?, u_ms))
    }
}

#[cfg(test)]
#[path = "live_tests.rs"]
mod tests;
