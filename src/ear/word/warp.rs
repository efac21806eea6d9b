//! Dynamic time warping (Sakoe and Chiba 1978, IEEE Trans ASSP 26:43–49).
//!
//! Every frame of the take is counted once, so that a sum over the take's length
//! is a mean; the stream may run at half to twice the take's pace: the steps are
//! (1,1), (1,2) and (2,1) (Sakoe–Chiba P = 1, weights along the take).

use super::cepstra::{Shape, distance};

/// Where the best path that ends at a frame began, and its mean distance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct End {
    /// Mean distance a frame of the take.
    pub mean: f32,
    /// Frame of the stream that the take's first frame lies on.
    pub start: i64,
}

/// One take warped onto a stream as it comes: a path may begin anywhere
/// (subsequence matching). Memory is two columns of the take's length.
#[derive(Debug, Clone)]
pub struct Warp {
    take: Vec<Shape>,
    /// Sums and starts a frame ago, and two.
    past: [Vec<(f32, i64)>; 2],
    /// Distances a frame ago.
    off: Vec<f32>,
    now: Vec<(f32, i64)>,
    now_off: Vec<f32>,
    t: i64,
}

const NEVER: (f32, i64) = (f32::INFINITY, 0);

impl Warp {
    /// Ready for the first frame, which is number `from`.
    pub fn new(take: Vec<Shape>, from: i64) -> Self {
        let n = take.len();
        Self {
            take,
            past: [vec![NEVER; n], vec![NEVER; n]],
            off: vec![f32::INFINITY; n],
            now: vec![NEVER; n],
            now_off: vec![0.0; n],
            t: from,
        }
    }

    /// The take as it would sound in another background; the paths so far stay.
    pub fn change(&mut self, take: &[Shape]) {
        if take.len() == self.take.len() {
            self.take.copy_from_slice(take);
        }
    }

    /// One more frame of the stream.
    pub fn push(&mut self, frame: &Shape) -> End {
        for (d, take) in self.now_off.iter_mut().zip(&self.take) {
            *d = distance(take, frame);
        }
        let better = |a: (f32, i64), b: (f32, i64)| if b.0 < a.0 { b } else { a };
        for i in 0..self.take.len() {
            let d = self.now_off[i];
            let mut best = if i == 0 { (d, self.t) } else { NEVER };
            if i >= 1 {
                let (sum, start) = self.past[0][i - 1];
                best = better(best, (sum + d, start));
                let (sum, start) = self.past[1][i - 1];
                best = better(best, (sum + 0.5 * (d + self.off[i]), start));
            }
            if i >= 2 {
                let (sum, start) = self.past[0][i - 2];
                best = better(best, (sum + self.now_off[i - 1] + d, start));
            }
            self.now[i] = best;
        }
        self.past.swap(0, 1);
        std::mem::swap(&mut self.past[0], &mut self.now);
        std::mem::swap(&mut self.off, &mut self.now_off);
        self.t += 1;
        let (sum, start) = self.past[0].last().copied().unwrap_or(NEVER);
        End {
            mean: sum / self.take.len().max(1) as f32,
            start,
        }
    }
}

/// The best place of `take` within `stretch`: the end's frame and what led there.
pub fn best_place(take: &[Shape], stretch: &[Shape]) -> Option<(usize, End)> {
    let mut warp = Warp::new(take.to_vec(), 0);
    let mut best: Option<(usize, End)> = None;
    for (t, frame) in stretch.iter().enumerate() {
        let end = warp.push(frame);
        if end.mean.is_finite() && best.is_none_or(|b| end.mean < b.1.mean) {
            best = Some((t, end));
        }
    }
    best
}
