//! The last stretch of sound, addressed by its place in the stream.

/// A ring of the latest samples of a stream.
#[derive(Debug, Clone)]
pub struct History {
    ring: Vec<f32>,
    end: u64,
}

impl History {
    /// Room for at least `capacity` samples (rounded up to a power of two).
    pub fn new(capacity: usize) -> Self {
        Self {
            ring: vec![0.0; capacity.next_power_of_two()],
            end: 0,
        }
    }

    /// Appends one sample.
    #[inline]
    pub fn push(&mut self, x: f32) {
        let mask = self.ring.len() as u64 - 1;
        self.ring[(self.end & mask) as usize] = x;
        self.end += 1;
    }

    /// Copies the samples `from..from + out.len()` into `out`; what lies before
    /// the stream, beyond its end or is already forgotten reads as silence.
    pub fn copy(&self, from: i64, out: &mut [f32]) {
        let mask = self.ring.len() as u64 - 1;
        let oldest = self.end.saturating_sub(self.ring.len() as u64) as i64;
        for (k, y) in out.iter_mut().enumerate() {
            let at = from + k as i64;
            *y = if at < oldest || at >= self.end as i64 {
                0.0
            } else {
                self.ring[(at as u64 & mask) as usize]
            };
        }
    }
}
