//! The fit of sample count against monotonic time.

use super::envelope::{Arrival, Line, Scratch, lower_line, steady_slope};

/// Seconds of minima that the mapping line is laid through.
const WINDOW_BINS: usize = 15;
/// Finished one-second minima before the mapping is called settled.
const SETTLED_BINS: usize = 4;
/// Minima kept for the drift; when full, neighbours are merged in pairs.
const DRIFT_BINS: usize = 64;
/// Standard uncertainty before the fit has settled, in ms: raw arrivals were
/// measured at 2–3 ms (docs/decisions/0001-audio-host.md).
const UNSETTLED_U_MS: f64 = 3.0;
/// Nothing is mapped better than about one sample at 48 kHz, in ms.
const FLOOR_U_MS: f64 = 0.02;

/// Maps sample counts to CLOCK_MONOTONIC and back, from the times at which
/// blocks arrived.
///
/// A block can only arrive late, so the line is laid along the lower envelope
/// of the arrivals: through per-second minima over the last 15 s. It is called
/// settled after four seconds ([`ClockFit::is_settled`]). What it cannot see is
/// a constant delay between the air and the first arrival; the key path's
/// calibration measures that together with the key's own delay.
///
/// Memory is fixed. After a hole call [`ClockFit::restart`]: the mapping goes
/// on at once with the drift known so far, and instants before the hole are
/// still mapped by the line that held then.
#[derive(Debug, Clone)]
pub struct ClockFit {
    rate_hz: f64,
    origin_ns: Option<i64>,
    window: Minima,
    long: Minima,
    line: Option<Line>,
    /// The slope over the whole segment and its standard uncertainty.
    drift: Option<(f64, f64)>,
    /// The line before the last restart and the arrival, in seconds, up to which it holds.
    before: Option<(Line, f64)>,
    scratch: Scratch,
}

impl ClockFit {
    /// A fit for a nominal rate in Hz (positive; anything else is taken as 1).
    pub fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz: if rate_hz.is_finite() && rate_hz > 0.0 {
                rate_hz
            } else {
                1.0
            },
            origin_ns: None,
            window: Minima::sliding(WINDOW_BINS),
            long: Minima::merging(DRIFT_BINS),
            line: None,
            drift: None,
            before: None,
            scratch: Scratch::for_points(DRIFT_BINS),
        }
    }

    /// Tells the fit that a block arrived at `arrival_ns` (CLOCK_MONOTONIC) and
    /// that `frames_total` samples had been delivered with it.
    pub fn push(&mut self, frames_total: u64, arrival_ns: i64) {
        let origin_ns = *self.origin_ns.get_or_insert(arrival_ns);
        let p = self.arrival(frames_total, arrival_ns, origin_ns);
        let slope = self.line.map_or(0.0, |l| l.slope);
        let finished = self.window.add(p, slope);
        if self.long.add(p, slope)
            && self.long.finished.len() >= SETTLED_BINS
            && let Some(drift) =
                steady_slope(&self.long.finished, FLOOR_U_MS * 1e-3, &mut self.scratch)
        {
            self.drift = Some(drift);
        }
        let below = self.line.is_none_or(|l| p.late_s < l.late_at(p.audio_s));
        if finished || below {
            self.refit(below.then_some(p));
        }
    }

    /// Starts a new segment after a hole. The drift known so far is kept, since
    /// it belongs to the device; the offset is learned anew.
    pub fn restart(&mut self, arrival_ns: i64) {
        if let (Some(line), Some(origin_ns)) = (self.line, self.origin_ns) {
            self.before = Some((line, (arrival_ns - origin_ns) as f64 * 1e-9));
        }
        self.window.clear();
        self.long.clear();
        self.line = None;
    }

    /// Whether at least four whole seconds carry the line.
    pub fn is_settled(&self) -> bool {
        self.window.finished.len() >= SETTLED_BINS
    }

    /// The sample that was in the air at a CLOCK_MONOTONIC instant in ns; `None`
    /// before the first arrival.
    pub fn sample_at(&self, mono_ns: i64) -> Option<f64> {
        let arrival_s = (mono_ns - self.origin_ns?) as f64 * 1e-9;
        let line = self.line_for(arrival_s)?;
        Some(line.audio_at(arrival_s) * self.rate_hz)
    }

    /// The CLOCK_MONOTONIC instant in ns at which a sample was in the air;
    /// `None` before the first arrival.
    pub fn mono_ns_at(&self, sample: f64) -> Option<i64> {
        let origin_ns = self.origin_ns?;
        let audio_s = sample / self.rate_hz;
        let by = |l: Line| audio_s + l.late_at(audio_s);
        let now_s = by(self.line.or(self.before.map(|b| b.0))?);
        let s = match self.before {
            Some((old, until_s)) if by(old) < until_s && now_s > by(old) => by(old),
            _ => now_s,
        };
        Some(origin_ns + (s * 1e9).round() as i64)
    }

    /// How much later than the line a block arrived, in ms; `None` until the
    /// first whole second.
    pub fn lateness_ms(&self, frames_total: u64, arrival_ns: i64) -> Option<f64> {
        if self.window.finished.is_empty() {
            return None;
        }
        let p = self.arrival(frames_total, arrival_ns, self.origin_ns?);
        Some((p.late_s - self.line?.late_at(p.audio_s)) * 1e3)
    }

    /// The device clock against CLOCK_MONOTONIC in parts per million, positive
    /// when the device is fast; `None` until settled. It uses the whole segment,
    /// so it steadies over a minute.
    pub fn drift_ppm(&self) -> Option<f64> {
        self.drift
            .map(|(slope, _)| (1.0 / (1.0 + slope) - 1.0) * 1e6)
    }

    /// Standard uncertainty of the drift in parts per million; `None` until
    /// settled. After 15 s it is a few, after a minute well below one.
    pub fn drift_u_ppm(&self) -> Option<f64> {
        self.drift.map(|(_, u)| u * 1e6)
    }

    /// Root mean square distance of the per-second minima from the line in ms;
    /// `None` until settled.
    pub fn residual_ms(&self) -> Option<f64> {
        let line = self.line.filter(|_| self.is_settled())?;
        let pts = &self.window.finished;
        let sum: f64 = pts
            .iter()
            .map(|p| (p.late_s - line.late_at(p.audio_s)).powi(2))
            .sum();
        Some((sum / pts.len() as f64).sqrt() * 1e3)
    }

    /// Standard uncertainty of the mapping in ms, without any constant delay of
    /// the device; `None` before the first arrival.
    pub fn u_ms(&self) -> Option<f64> {
        self.line?;
        Some(
            self.residual_ms()
                .map_or(UNSETTLED_U_MS, |r| r.max(FLOOR_U_MS)),
        )
    }

    fn arrival(&self, frames_total: u64, arrival_ns: i64, origin_ns: i64) -> Arrival {
        let audio_s = frames_total as f64 / self.rate_hz;
        Arrival {
            audio_s,
            late_s: (arrival_ns - origin_ns) as f64 * 1e-9 - audio_s,
        }
    }

    fn line_for(&self, arrival_s: f64) -> Option<Line> {
        match self.before {
            Some((old, until_s)) if arrival_s < until_s || self.line.is_none() => Some(old),
            _ => self.line,
        }
    }

    /// Lays the line anew; `early` is an arrival of the unfinished second that
    /// lies below the old one.
    fn refit(&mut self, early: Option<Arrival>) {
        let open = self.window.open;
        let pts = &mut self.window.finished;
        let whole = pts.len();
        if let Some(p) = early.or(open.filter(|_| whole == 0)) {
            pts.push(p);
        }
        let free = (whole >= SETTLED_BINS)
            .then(|| lower_line(pts, &mut self.scratch.hull))
            .flatten();
        let known = self.drift.map_or(0.0, |d| d.0);
        self.line = free.or_else(|| Line::touching(pts.iter().copied(), known));
        pts.truncate(whole);
    }
}

/// The lowest arrival of each second, oldest first, in fixed memory.
#[derive(Debug, Clone)]
struct Minima {
    finished: Vec<Arrival>,
    open: Option<Arrival>,
    capacity: usize,
    /// Whether a full store merges neighbours (and doubles the width) or drops the oldest.
    merges: bool,
    width_s: f64,
    open_from_s: f64,
}

impl Minima {
    fn sliding(capacity: usize) -> Self {
        Self {
            // One more for the unfinished second that a refit may put in.
            finished: Vec::with_capacity(capacity + 1),
            open: None,
            capacity,
            merges: false,
            width_s: 1.0,
            open_from_s: 0.0,
        }
    }

    fn merging(capacity: usize) -> Self {
        Self {
            merges: true,
            ..Self::sliding(capacity)
        }
    }

    fn clear(&mut self) {
        self.finished.clear();
        self.open = None;
        self.width_s = 1.0;
    }

    /// Adds an arrival; true when it finished a bin. Lateness is compared after
    /// the slope is taken off.
    fn add(&mut self, p: Arrival, slope: f64) -> bool {
        let lower = |a: Arrival, b: Arrival| {
            if b.late_s - slope * b.audio_s < a.late_s - slope * a.audio_s {
                b
            } else {
                a
            }
        };
        let Some(open) = self.open else {
            self.open = Some(p);
            self.open_from_s = p.audio_s;
            return false;
        };
        if p.audio_s < self.open_from_s + self.width_s {
            self.open = Some(lower(open, p));
            return false;
        }
        if self.finished.len() == self.capacity {
            if self.merges {
                for i in 0..self.capacity / 2 {
                    self.finished[i] = lower(self.finished[2 * i], self.finished[2 * i + 1]);
                }
                self.finished.truncate(self.capacity / 2);
                self.width_s *= 2.0;
            } else {
                self.finished.remove(0);
            }
        }
        self.finished.push(open);
        self.open = Some(p);
        self.open_from_s = p.audio_s;
        true
    }
}

#[cfg(test)]
#[path = "fit_tests.rs"]
mod tests;
