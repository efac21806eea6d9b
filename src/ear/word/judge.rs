//! A close look at a stretch that may be the word.

use super::cepstra::{Cosines, Shape};
use super::frames::Powers;
use super::noise::total;
use super::warp::{best_place, path};

/// How many cues there are.
pub const CUES: usize = 8;

/// Cues that are scored.
const SCORED: usize = 7;
/// A constant, then a weight for each cue and for each product of two. Fitted by
/// logistic regression on twelve synthetic voices (the tune and the seen set of
/// tests/compare/words_scenes.py), none of which is in the tables of docs/accuracy.md.
#[rustfmt::skip]
const WEIGHTS: [f32; 1 + SCORED + SCORED * (SCORED + 1) / 2] = [
    5.0293, -2.2480, -4.2587, -2.8366, -2.7156, 0.7374, -0.8531, -1.0074,
    -0.0557, -2.1357, 0.9901, 0.5637, 0.3159, 0.1803, 0.3570,
    -6.4190, 4.2574, 0.8974, 1.5459, -0.7840, -0.2878,
    -16.1441, 4.4872, -1.6191, 1.6193, -1.4213,
    1.0231, -0.5317, 0.0540, 0.2634,
    -0.1265, 0.0619, -0.0841,
    -0.1117, 0.0491,
    -0.1417,
];
/// A word that stands farther over the background is not clearer for it, in nepers
/// of power.
const CLEAREST: f32 = 6.0;

/// What stands less over the background than this is no word, in nepers of power.
const LEAST_OVER_NOISE: f32 = 0.5;
/// Nor is what is so many times farther from the nearest take than takes are.
const MOST_APART: f32 = 2.5;
/// So many of the nearest takes are looked at in full.
pub const NEARER: usize = 4;
/// What a candidate is scored by.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Cues {
    /// Distance to the nearest take over the takes' own.
    pub nearest: f32,
    /// Distance to the middle take likewise.
    pub middle: f32,
    /// Distance to the nearest take over that to the nearest take said backwards:
    /// what has the word's sounds but not their order is near both.
    pub backwards: f32,
    /// |ln| of the length over the takes' lengths.
    pub length: f32,
    /// How far the level's rise and fall differs, in nepers of power (RMS).
    pub envelope: f32,
    /// Peak power of the word over the background, in nepers.
    pub over_noise: f32,
    /// Power just before the word over its mean power, in nepers.
    pub before: f32,
    /// Power just after it likewise.
    pub after: f32,
}

impl Cues {
    /// As numbers, for the score.
    pub fn numbers(&self) -> [f32; CUES] {
        [
            self.nearest,
            self.middle,
            self.backwards,
            self.length,
            self.envelope,
            self.over_noise,
            self.before,
            self.after,
        ]
    }

    /// Log odds that it is the word: a weight for each of the scored cues and for each
    /// product of two, so that what is clear of noise and of other voices can be held to
    /// more than what is not.
    pub fn score(&self) -> f32 {
        let cues = [
            self.nearest,
            self.backwards,
            self.length,
            self.envelope,
            self.over_noise.min(CLEAREST),
            self.before,
            self.after,
        ];
        let mut weights = WEIGHTS.iter();
        let mut weigh = |x: f32| weights.next().map_or(0.0, |w| w * x);
        let mut score = weigh(1.0);
        for x in cues {
            score += weigh(x);
        }
        for (k, x) in cues.iter().enumerate() {
            for y in &cues[k..] {
                score += weigh(x * y);
            }
        }
        score
    }
}

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
        let softened: Vec<Powers> = stretch
            .iter()
            .map(|p| std::array::from_fn(|b| p[b].max(0.5 * noise[b])))
            .collect();
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
        for near in lies.iter_mut().take(NEARER) {
            let one = &known[near.take];
            let mut heard = one.heard_in(mean / one.mean.max(1e-20), noise);
            cosines.shapes(&heard, &mut ours);
            let path = path(&ours, &theirs, near.end);
            let (anchor, _) = path.get(one.anchor).or(path.last())?;
            near.anchor = *anchor;
            heard.reverse();
            cosines.shapes(&heard, &mut ours);
            if let Some((_, place)) = best_place(&ours, &theirs) {
                back = back.min(place.mean);
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
                nearest: best.distance / own,
                middle: middle.distance / own,
                backwards: best.distance / back.max(1e-6),
                length: (length / lengths).ln().abs(),
                envelope: envelope(
                    &nearest.frames,
                    gain,
                    &stretch[best.start..=best.end],
                    // What is farther under the word's peak than this is not its shape.
                    floor.max((-CLEAREST).exp() * peak),
                    bands,
                ),
                over_noise,
                ..Cues::default()
            },
            lies,
        ))
    }
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
