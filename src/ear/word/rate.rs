//! A stream brought to 16 kHz as it comes.

use super::RATE_HZ;
use crate::ear::history::History;

/// Zero crossings of the sinc on each side.
const CROSSINGS: usize = 12;
/// Steps of the table between two crossings; between them it is linear, which
/// leaves errors some 90 dB down.
const STEPS: usize = 256;

/// Band-limited interpolation (windowed sinc, Hann), a sample at a time. Output
/// sample `n` lies at input time `n·rate/16000`, so that time is kept exactly.
pub struct To16k {
    table: Vec<f32>,
    ring: History,
    work: Vec<f32>,
    step: f64,
    cut: f64,
    reach: f64,
    pushed: u64,
    made: u64,
}

impl To16k {
    /// From `rate_hz`.
    pub fn new(rate_hz: f64) -> Self {
        let step = rate_hz / RATE_HZ;
        let cut = (1.0 / step).min(1.0);
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
        Self {
            table,
            ring: History::new(taps + 2),
            work: vec![0.0; taps],
            step,
            cut,
            reach,
            pushed: 0,
            made: 0,
        }
    }

    /// One more sample in; what it completes goes out.
    pub fn push(&mut self, x: f32, mut out: impl FnMut(f32)) {
        self.ring.push(x);
        self.pushed += 1;
        loop {
            let at = self.made as f64 * self.step;
            if at + self.reach >= self.pushed as f64 {
                return;
            }
            let first = (at - self.reach).ceil() as i64;
            let last = (at + self.reach).floor() as i64;
            let work = &mut self.work[..(last - first + 1) as usize];
            self.ring.copy(first, work);
            let mut sum = 0.0f32;
            for (k, v) in work.iter().enumerate() {
                let x = (first + k as i64) as f64 - at;
                let place = x.abs() * self.cut * STEPS as f64;
                let low = place as usize;
                let part = (place - low as f64) as f32;
                let a = self.table[low.min(self.table.len() - 2)];
                let b = self.table[(low + 1).min(self.table.len() - 1)];
                sum += v * (a + part * (b - a));
            }
            out(sum * self.cut as f32);
            self.made += 1;
        }
    }
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
