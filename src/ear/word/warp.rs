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

/// The best path of `take` that ends on frame `end` of `stretch`: for each frame of
/// the take the frame it lies on and the distance there. Empty when there is none.
pub fn path(take: &[Shape], stretch: &[Shape], end: usize) -> Vec<(usize, f32)> {
    let (n, m) = (take.len(), (end + 1).min(stretch.len()));
    if n == 0 || m == 0 {
        return Vec::new();
    }
    let off: Vec<f32> = take
        .iter()
        .flat_map(|a| stretch[..m].iter().map(move |b| distance(a, b)))
        .collect();
    let d = |i: usize, t: usize| off[i * m + t];
    // Sums, and how many frames of the take and of the stream the last step went.
    let mut sums = vec![f32::INFINITY; n * m];
    let mut steps = vec![(0usize, 0usize); n * m];
    for i in 0..n {
        for t in 0..m {
            let mut best = if i == 0 {
                (d(0, t), (0, 0))
            } else {
                (f32::INFINITY, (0, 0))
            };
            let mut from = |over: usize, along: usize, cost: f32| {
                let sum = sums[(i - over) * m + t - along] + cost;
                if sum < best.0 {
                    best = (sum, (over, along));
                }
            };
            if i >= 1 && t >= 1 {
                from(1, 1, d(i, t));
            }
            if i >= 1 && t >= 2 {
                from(1, 2, 0.5 * (d(i, t) + d(i, t - 1)));
            }
            if i >= 2 && t >= 1 {
                from(2, 1, d(i - 1, t) + d(i, t));
            }
            sums[i * m + t] = best.0;
            steps[i * m + t] = best.1;
        }
    }
    let (mut i, mut t) = (n - 1, m - 1);
    if !sums[i * m + t].is_finite() {
        return Vec::new();
    }
    let mut path = vec![(0, 0.0); n];
    loop {
        path[i] = (t, d(i, t));
        match steps[i * m + t] {
            (0, _) => return path,
            (over, along) => {
                if over == 2 {
                    path[i - 1] = (t, d(i - 1, t));
                }
                i -= over;
                t -= along;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ear::word::cepstra::DIMS;

    fn shapes(seed: u32, n: usize) -> Vec<Shape> {
        let mut state = seed;
        let mut next = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 8) as f32 / (1 << 24) as f32
        };
        (0..n)
            .map(|_| {
                let mut shape = [0.0; DIMS];
                for v in &mut shape[..3] {
                    *v = next();
                }
                shape
            })
            .collect()
    }

    /// Cheapest path that ends at (i, t), by trying all of them.
    fn tried(take: &[Shape], stream: &[Shape], i: usize, t: usize) -> f32 {
        let d = |i: usize, t: usize| distance(&take[i], &stream[t]);
        if i == 0 {
            return d(0, t);
        }
        let mut best = f32::INFINITY;
        if t >= 1 {
            best = best.min(tried(take, stream, i - 1, t - 1) + d(i, t));
        }
        if t >= 2 {
            let both = 0.5 * (d(i, t) + d(i, t - 1));
            best = best.min(tried(take, stream, i - 1, t - 2) + both);
        }
        if t >= 1 && i >= 2 {
            let both = d(i - 1, t) + d(i, t);
            best = best.min(tried(take, stream, i - 2, t - 1) + both);
        }
        best
    }

    /// Against a search through every path.
    #[test]
    fn the_cheapest_of_all_paths() {
        for seed in 0..30 {
            let take = shapes(seed, 3 + seed as usize % 4);
            let stream = shapes(seed + 1_000, 9);
            let mut warp = Warp::new(take.clone(), 0);
            for (t, frame) in stream.iter().enumerate() {
                let ours = warp.push(frame).mean;
                let theirs = tried(&take, &stream, take.len() - 1, t) / take.len() as f32;
                assert!(
                    ours == theirs || (ours - theirs).abs() < 1e-5,
                    "seed {seed}, frame {t}: {ours} {theirs}"
                );
            }
        }
    }

    /// The path's frames cost what the search said it costs, but for the steps of two
    /// frames of the stream, which count half each.
    #[test]
    fn the_path_is_the_cheapest_one() {
        for seed in 0..30 {
            let stream = shapes(seed + 1_000, 9);
            // Every other frame: the cheapest path goes one by one through them.
            let take: Vec<Shape> = stream[2..7].to_vec();
            let (end, place) = best_place(&take, &stream).unwrap_or((
                0,
                End {
                    mean: 1.0,
                    start: 0,
                },
            ));
            let path = path(&take, &stream, end);
            assert_eq!(path[0].0 as i64, place.start, "seed {seed}");
            let frames: Vec<usize> = path.iter().map(|p| p.0).collect();
            assert_eq!(frames, [2, 3, 4, 5, 6], "seed {seed}");
            assert!(path.iter().all(|p| p.1 < 1e-6));
        }
    }

    #[test]
    fn a_take_lies_on_itself() {
        let stream = shapes(7, 40);
        let (end, place) = best_place(&stream[12..25], &stream).unwrap_or((
            0,
            End {
                mean: 1.0,
                start: 0,
            },
        ));
        assert_eq!((end, place.start), (24, 12));
        assert!(place.mean < 1e-6);
    }
}
