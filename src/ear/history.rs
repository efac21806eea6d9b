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

    /// Appends samples, at most as many as there is room for.
    pub fn extend(&mut self, samples: &[f32]) {
        let at = (self.end & (self.ring.len() as u64 - 1)) as usize;
        let (now, rest) = samples.split_at(samples.len().min(self.ring.len() - at));
        self.ring[at..at + now.len()].copy_from_slice(now);
        self.ring[..rest.len()].copy_from_slice(rest);
        self.end += samples.len() as u64;
    }

    /// Copies the samples `from..from + out.len()` into `out`; what lies before
    /// the stream, beyond its end or is already forgotten reads as silence.
    pub fn copy(&self, from: i64, out: &mut [f32]) {
        let mask = self.ring.len() as u64 - 1;
        let oldest = self.end.saturating_sub(self.ring.len() as u64) as i64;
        // Silence, what is remembered (in two parts where the ring ends), silence.
        let place = |at: i64| (at - from).clamp(0, out.len() as i64) as usize;
        let (first, last) = (place(oldest), place(self.end as i64));
        out[..first].fill(0.0);
        out[last..].fill(0.0);
        let out = &mut out[first..last];
        let at = ((from + first as i64) as u64 & mask) as usize;
        let now = out.len().min(self.ring.len() - at);
        let (out, rest) = out.split_at_mut(now);
        out.copy_from_slice(&self.ring[at..at + now]);
        rest.copy_from_slice(&self.ring[..rest.len()]);
    }
}
