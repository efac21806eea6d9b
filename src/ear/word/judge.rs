//! A close look at a stretch that may be the word.

use super::cepstra::{Cosines, Shape};
use super::cues::{CLEAREST, Cues};
use super::frames::Powers;
use super::noise::total;
use super::warp::{best_place, path};

/// What stands less over the background than this is no word, in nepers of power.
const LEAST_OVER_NOISE: f32 = 0.5;
/// Nor is what is so many times farther from the nearest take than takes are.
const MOST_APART: f32 = 2.5;
/// So many of the nearest takes are looked at in full.
pub const NEARER: usize = 4;
/// Frames over which the worst stretch of a word is looked for: 80 ms.
const PART: usize = 8;

/// Where the takes lie on a stretch, best first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lies {
    /// Which take.
    pub take: usize,
    /// Mean distance.
    pub distance: f32,
    /// First frame, counted from the stretch's first.
    pub start: usize,
    /// Last frame.
    pub end: usize,
    /// Frame on which the take's [`Known::anchor`] lies.
    pub anchor: usize,
}

/// A take ready for a close look.
#[derive(Debug, Clone)]
pub struct Known {
    /// Its frames.
    pub frames: Vec<Powers>,
    /// Mean power a frame.
    pub mean: f32,
    /// Frame of it well within the word, by which its onset is found again.
    pub anchor: usize,
}

impl Known {
    /// From its frames; only the lowest `bands` count.
    pub fn new(frames: Vec<Powers>, bands: usize, anchor: usize) -> Self {
        let sum: f32 = frames.iter().map(|p| total(p, bands)).sum();
        let mean = sum / frames.len().max(1) as f32;
        Self {
            frames,
            mean,
            anchor,
        }
    }

    /// As it would sound at `gain` in a background of `noise`: powers add.
    pub fn heard_in(&self, gain: f32, noise: &Powers) -> Vec<Powers> {
        self.frames
            .iter()
            .map(|p| std::array::from_fn(|b| gain * p[b] + noise[b]))
            .collect()
    }
}

/// What a close look is made with.
pub struct Close<'a> {
    /// The takes.
    pub known: &'a [Known],
    /// The transform of as many bands.
    pub cosines: &'a Cosines,
    /// Bands that count.
    pub bands: usize,
    /// The takes' own distance.
    pub own: f32,
    /// The lesson's background.
    pub room: &'a Powers,
    /// What the word is not.
    pub against: &'a [Known],
}

impl Close<'_> {
    /// Looks at `stretch`, of which frames `from..=to` are taken for the word. The
    /// takes are brought to its level and into its background `noise` first.
    pub fn look(
        &self,
        stretch: &[Powers],
        (from, to): (usize, usize),
        noise: &Powers,
    ) -> Option<(Cues, Vec<Lies>)> {
        let Self {
            known,
            cosines,
            bands,
            own,
            room,
            against,
        } = *self;
        let inside = stretch.get(from..=to)?;
        let floor = total(noise, bands);
        let above: f32 = inside
            .iter()
            .map(|p| (total(p, bands) - floor).max(0.0))
            .sum();
        let mean = above / inside.len() as f32;
        let peak = inside.iter().map(|p| total(p, bands)).fold(0.0, f32::max);
        let over_noise = (peak / floor.max(1e-20)).max(1.0).ln();
        if over_noise < LEAST_OVER_NOISE {
            return None;
        }
        let mut theirs: Vec<Shape> = Vec::new();
        // Each side is brought into the other's background.
        let ours_mean = known[known.len() / 2].mean.max(1e-20);
        let rooms = room.map(|r| mean / ours_mean * r);
        let softened: Vec<Powers> = stretch
            .iter()
            .map(|p| {
                std::array::from_fn(|b| p[b].max(0.5 * noise[b]) + (rooms[b] - noise[b]).max(0.0))
            })
            .collect();
        let noise: &Powers = &std::array::from_fn(|b| (noise[b] - rooms[b]).max(0.0));
        cosines.shapes(&softened, &mut theirs);
        let mut lies = Vec::with_capacity(known.len());
        let mut ours: Vec<Shape> = Vec::new();
        for (take, one) in known.iter().enumerate() {
            // Some of the background is louder than its floor.
            let heard = one.heard_in(mean / one.mean.max(1e-20), noise);
            cosines.shapes(&heard, &mut ours);
            if let Some((end, place)) = best_place(&ours, &theirs) {
                lies.push(Lies {
                    take,
                    distance: place.mean,
                    start: place.start.max(0) as usize,
                    end,
                    anchor: 0,
                });
            }
        }
        lies.sort_by(|a, b| a.distance.total_cmp(&b.distance));
        if lies.first()?.distance > MOST_APART * own {
            return None;
        }
        let mut back = f32::INFINITY;
        let mut worst = f32::INFINITY;
        for near in lies.iter_mut().take(NEARER) {
            let one = &known[near.take];
            let mut heard = one.heard_in(mean / one.mean.max(1e-20), noise);
            cosines.shapes(&heard, &mut ours);
            let path = path(&ours, &theirs, near.end);
            worst = worst.min(farthest(&path));
            let (anchor, _) = path.get(one.anchor).or(path.last())?;
            near.anchor = *anchor;
            heard.reverse();
            cosines.shapes(&heard, &mut ours);
            if let Some((_, place)) = best_place(&ours, &theirs) {
                back = back.min(place.mean);
            }
        }
        let mut not = f32::INFINITY;
        for one in against {
            let heard = one.heard_in(mean / one.mean.max(1e-20), noise);
            cosines.shapes(&heard, &mut ours);
            if let Some((_, place)) = best_place(&ours, &theirs) {
                not = not.min(place.mean);
            }
        }
        let best = *lies.first()?;
        let middle = lies[lies.len() / 2];
        let nearest = &known[best.take];
        let length = (best.end - best.start + 1) as f32;
        let lengths: f32 =
            known.iter().map(|k| k.frames.len() as f32).sum::<f32>() / known.len() as f32;
        let gain = mean / nearest.mean.max(1e-20);
        Some((
            Cues {
                nearest: best.distance,
                middle: middle.distance,
                worst: if worst.is_finite() {
                    worst
                } else {
                    best.distance
                },
                against: not.is_finite().then(|| {
                    (best.distance / not.max(1e-3))
                        .max(1e-2)
                        .ln()
                        .clamp(-1.5, 1.5)
                }),
                backwards: best.distance / back.max(1e-6),
                length: (length / lengths).ln().abs(),
                envelope: envelope(
                    &nearest.frames,
                    gain,
                    &stretch[best.start..=best.end],
                    // What is farther under the word's peak than this is not its shape.
                    floor
                        .max(total(&rooms, bands))
                        .max((-CLEAREST).exp() * peak),
                    bands,
                ),
                over_noise,
                ..Cues::default()
            },
            lies,
        ))
    }
}

/// Mean distance over the [`PART`] frames of a path where it is greatest.
fn farthest(path: &[(usize, f32)]) -> f32 {
    path.windows(PART.min(path.len()).max(1))
        .map(|w| w.iter().map(|p| p.1).sum::<f32>() / w.len() as f32)
        .fold(0.0, f32::max)
}

/// RMS of the difference of log power along the word, both stretched to one
/// length.
fn envelope(take: &[Powers], gain: f32, heard: &[Powers], floor: f32, bands: usize) -> f32 {
    const STEPS: usize = 20;
    let at = |x: &[Powers], k: usize| {
        let place = k * (x.len() - 1) / (STEPS - 1);
        total(&x[place], bands)
    };
    let differences: [f32; STEPS] = std::array::from_fn(|k| {
        ((gain * at(take, k) + floor) / at(heard, k).max(0.5 * floor)).ln()
    });
    let mean = differences.iter().sum::<f32>() / STEPS as f32;
    let square: f32 = differences.iter().map(|d| (d - mean).powi(2)).sum();
    (square / STEPS as f32).sqrt()
}
