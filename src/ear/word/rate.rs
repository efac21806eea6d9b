//! A stream brought to 16 kHz as it comes.

use super::RATE_HZ;
use crate::ear::history::History;

/// Zero crossings of the sinc on each side.
const CROSSINGS: usize = 12;
/// Steps of the table between two crossings; between them it is linear, which
/// leaves errors some 90 dB down.
const STEPS: usize = 256;

/// Most places between two input samples whose weights are kept ready.
const MOST_READY: u64 = 640;

/// Band-limited interpolation (windowed sinc, Hann), a sample at a time. Output
/// sample `n` lies at input time `n·rate/16000`, so that time is kept exactly.
pub struct To16k {
    table: Vec<f32>,
    ring: History,
    work: Vec<f32>,
    /// Input samples to so many output samples.
    over: (u64, u64),
    cut: f64,
    reach: f64,
    /// Weights for each place between two samples that occurs, or none where there
    /// are too many.
    ready: Vec<Vec<f32>>,
    pushed: u64,
    made: u64,
    /// The next output sample lies so many places after this input sample, and needs
    /// more input than this.
    next: (u64, u64),
    needs: f64,
}

impl To16k {
    /// From `rate_hz`, a whole number of hertz.
    pub fn new(rate_hz: f64) -> Self {
        let rate = rate_hz as u64;
        let common = common(rate, RATE_HZ as u64);
        let over = (rate / common, RATE_HZ as u64 / common);
        let cut = (RATE_HZ / rate_hz).min(1.0);
        let reach = CROSSINGS as f64 / cut;
        let taps = 2 * reach.ceil() as usize + 2;
        let table = (0..=CROSSINGS * STEPS + 1)
            .map(|k| {
                let x = k as f64 / STEPS as f64;
                let part = (x / CROSSINGS as f64).min(1.0);
                let window = 0.5 + 0.5 * (std::f64::consts::PI * part).cos();
                let phase = std::f64::consts::PI * x;
                let sinc = if k == 0 { 1.0 } else { phase.sin() / phase };
                (sinc * window) as f32
            })
            .collect();
        let mut new = Self {
            table,
            ring: History::new(taps + 2),
            work: vec![0.0; taps],
            over,
            cut,
            reach,
            ready: Vec::new(),
            pushed: 0,
            made: 0,
            next: (0, 0),
            needs: reach,
        };
        if over.1 <= MOST_READY {
            new.ready = (0..over.1).map(|place| new.weights(place)).collect();
        }
        new
    }

    /// Weights of the input samples about a place `place / over.1` after a sample, from
    /// the first that is in reach on.
    fn weights(&self, place: u64) -> Vec<f32> {
        let at = place as f64 / self.over.1 as f64;
        let first = (at - self.reach).ceil() as i64;
        let last = (at + self.reach).floor() as i64;
        (first..=last)
            .map(|k| {
                let place = (k as f64 - at).abs() * self.cut * STEPS as f64;
                let low = place as usize;
                let part = (place - low as f64) as f32;
                let a = self.table[low.min(self.table.len() - 2)];
                let b = self.table[(low + 1).min(self.table.len() - 1)];
                self.cut as f32 * (a + part * (b - a))
            })
            .collect()
    }

    /// One more sample in; what it completes goes out.
    pub fn push(&mut self, x: f32, mut out: impl FnMut(f32)) {
        self.ring.push(x);
        self.pushed += 1;
        while self.needs < self.pushed as f64 {
            let (whole, place) = self.next;
            let part = place as f64 / self.over.1 as f64;
            let first = whole as i64 + (part - self.reach).ceil() as i64;
            let rare;
            let weights = match self.ready.get(place as usize) {
                Some(ready) => ready,
                None => {
                    rare = self.weights(place);
                    &rare
                }
            };
            let work = &mut self.work[..weights.len()];
            self.ring.copy(first, work);
            out(work.iter().zip(weights).map(|(v, w)| v * w).sum());
            self.made += 1;
            let at = self.made * self.over.0;
            self.next = (at / self.over.1, at % self.over.1);
            let part = self.next.1 as f64 / self.over.1 as f64;
            self.needs = self.next.0 as f64 + part + self.reach;
        }
    }
}

/// Greatest common divisor (Euclid).
fn common(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { common(b, a % b) }
}

/// A whole stretch at 16 kHz.
pub fn to_16k(samples: &[f32], rate_hz: f64) -> Vec<f32> {
    let mut rate = To16k::new(rate_hz);
    let mut out = Vec::with_capacity((samples.len() as f64 / rate_hz * RATE_HZ) as usize + 1);
    let tail = vec![0.0; rate.work.len()];
    for x in samples.iter().chain(&tail) {
        rate.push(
            if x.is_finite() {
                x.clamp(-1e6, 1e6)
            } else {
                0.0
            },
            |y| out.push(y),
        );
    }
    let whole = (samples.len() as f64 * RATE_HZ / rate_hz).ceil() as usize;
    out.truncate(whole);
    out
}
