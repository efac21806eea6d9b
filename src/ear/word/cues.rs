//! What a candidate for the word is scored by, and the score.

use serde::{Deserialize, Serialize};

/// How many cues there are.
pub const CUES: usize = 12;
/// What a score is made of.
const FEATURES: usize = 11;
/// A constant, then a weight for each feature and for each product of two: fitted by
/// tests/compare/people_fit.py on six people (Arabic Speech Commands Dataset, CC BY 4.0),
/// none of whom is in the tables of docs/accuracy.md.
#[rustfmt::skip]
const WEIGHTS: [f32; 1 + FEATURES + FEATURES * (FEATURES + 1) / 2] = [
    -1.1741, -4.5837, -0.5978, -2.8399, -2.4253, -0.7892, -0.5871, -0.6173, -4.9100, -1.5875, 0.0000, 0.0000,
    -1.8037, -0.6591, -0.3773, 0.0162, 0.1933, -0.9879, -1.4899, 3.0031, 2.1926, 0.0000, 0.0000,
    0.0020, 1.0844, 1.0932, 0.8263, -0.3690, 0.1606, -0.2423, 1.4753, 0.0000, 0.0000,
    1.7738, 1.0664, 0.4368, 1.9006, 0.0610, 0.6347, 2.0412, 0.0000, 0.0000,
    -0.5289, 0.3908, 1.5264, -0.0623, 0.0859, 0.8481, 0.0000, 0.0000,
    -0.0812, 0.7736, 0.2492, -1.1849, 0.5258, 0.0000, 0.0000,
    -0.2528, 0.9890, 0.1365, -0.7713, 0.0000, 0.0000,
    2.6714, -0.6436, -0.5617, 0.0000, 0.0000,
    -2.5797, 0.9570, 0.0000, 0.0000,
    -0.8686, 0.0000, 0.0000,
    0.0000, 0.0000,
    0.0000,
];
/// A constant, then what the score counts beside the counter-examples, then what they
/// count.
const AGAINST: [f32; 3] = [0.376, 1.051, -2.384];
/// A word that stands farther over the background is not clearer for it, in nepers
/// of power.
pub(super) const CLEAREST: f32 = 6.0;

/// Takes of a voice are no nearer to one another than this: the next one will not be.
const LEAST: f32 = 1.5;

/// What a candidate is scored by.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Cues {
    /// Distance to the nearest take.
    pub nearest: f32,
    /// Distance to the middle take.
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
    /// Distance to the nearest take where it is farthest from it.
    pub worst: f32,
    /// Frames of speech before it.
    pub runs_before: f32,
    /// Frames of speech after it.
    pub runs_after: f32,
    /// ln of the distance to the nearest take over that to the nearest
    /// counter-example; `None` without any.
    pub against: Option<f32>,
}

/// What the cues of the word itself commonly are, said at one level over the noise.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Usual {
    /// Peak power over the background, in nepers.
    pub over_noise: f32,
    /// Distance to the nearest other take.
    pub nearest: f32,
    /// Distance to the middle one.
    pub middle: f32,
    /// Distance where it is farthest.
    pub worst: f32,
    /// Over the distance backwards.
    pub backwards: f32,
    /// Of the envelope.
    pub envelope: f32,
    /// |ln| of the length.
    pub length: f32,
}

impl Usual {
    fn numbers(&self) -> [f32; 7] {
        [
            self.over_noise,
            self.nearest,
            self.middle,
            self.worst,
            self.backwards,
            self.envelope,
            self.length,
        ]
    }

    fn from_numbers(x: [f32; 7]) -> Self {
        Self {
            over_noise: x[0],
            nearest: x[1],
            middle: x[2],
            worst: x[3],
            backwards: x[4],
            envelope: x[5],
            length: x[6],
        }
    }

    /// A guess, by the takes' distance from one another.
    pub fn around(own: f32) -> Self {
        Self {
            over_noise: CLEAREST,
            nearest: own,
            middle: 1.2 * own,
            worst: 1.4 * own,
            backwards: 0.6,
            envelope: 0.5,
            length: 0.1,
        }
    }

    /// Whether a candidate can be measured against it.
    pub fn is_good(&self) -> bool {
        let x = self.numbers();
        x.iter().all(|v| v.is_finite() && *v >= 0.0) && x[1..6].iter().all(|v| *v > 1e-4)
    }

    /// The medians of `cues`; `None` of nothing.
    pub fn of(cues: &[Cues]) -> Option<Self> {
        let middle = |of: fn(&Cues) -> f32, least: f32| {
            let mut all: Vec<f32> = cues.iter().map(of).collect();
            all.sort_by(f32::total_cmp);
            all.get(all.len() / 2).map(|v| v.max(least))
        };
        Some(Self {
            over_noise: middle(|c| c.over_noise, 0.0)?,
            nearest: middle(|c| c.nearest, LEAST)?,
            middle: middle(|c| c.middle, LEAST)?,
            worst: middle(|c| c.worst, LEAST)?,
            backwards: middle(|c| c.backwards, 0.1)?,
            envelope: middle(|c| c.envelope, 0.1)?,
            length: middle(|c| c.length, 0.0)?,
        })
    }

    /// At a level over the noise between those of `all`.
    fn at(all: &[Self], over_noise: f32) -> Option<Self> {
        let under = all.iter().filter(|u| u.over_noise <= over_noise);
        let over = all.iter().filter(|u| u.over_noise > over_noise);
        let by = |a: &&Self, b: &&Self| a.over_noise.total_cmp(&b.over_noise);
        match (under.max_by(by), over.min_by(by)) {
            (Some(a), Some(b)) => {
                let part = (over_noise - a.over_noise) / (b.over_noise - a.over_noise).max(1e-6);
                let (a, b) = (a.numbers(), b.numbers());
                Some(Self::from_numbers(std::array::from_fn(|k| {
                    a[k] + part * (b[k] - a[k])
                })))
            }
            (a, b) => a.or(b).copied(),
        }
    }
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
            self.worst,
            self.runs_before,
            self.runs_after,
            self.against.unwrap_or(0.0),
        ]
    }

    /// Whether it is no farther from the takes than the part `part` of what is usual
    /// among them.
    pub fn is_within(&self, usual: &[Usual], part: f32) -> bool {
        Usual::at(usual, self.over_noise).is_some_and(|u| {
            self.nearest <= part * u.nearest && self.middle <= u.middle && self.worst <= u.worst
        })
    }

    /// The cues measured against what is usual for the word.
    pub fn features(&self, usual: &[Usual]) -> [f32; FEATURES] {
        let Some(usual) = Usual::at(usual, self.over_noise) else {
            return [0.0; FEATURES];
        };
        let over = |a: f32, b: f32| (a / b).max(0.05).ln().clamp(-1.5, 1.5);
        [
            over(self.nearest, usual.nearest),
            over(self.middle, usual.middle),
            over(self.worst, usual.worst),
            (self.backwards - usual.backwards).clamp(-1.0, 1.5),
            (self.length - usual.length).clamp(-0.5, 1.0),
            over(self.envelope, usual.envelope),
            self.over_noise.min(CLEAREST) / CLEAREST,
            self.before / 6.0,
            self.after / 6.0,
            self.runs_before.min(20.0) / 20.0,
            self.runs_after.min(20.0) / 20.0,
        ]
    }

    /// Log odds that it is the word: a weight for each feature and for each product of
    /// two, so that what is clear of noise and of other voices can be held to more than
    /// what is not; and what the counter-examples say.
    pub fn score(&self, usual: &[Usual]) -> f32 {
        let features = self.features(usual);
        let mut weights = WEIGHTS.iter();
        let mut weigh = |x: f32| weights.next().map_or(0.0, |w| w * x);
        let mut score = weigh(1.0);
        for x in features {
            score += weigh(x);
        }
        for (k, x) in features.iter().enumerate() {
            for y in &features[k..] {
                score += weigh(x * y);
            }
        }
        match self.against {
            Some(against) => AGAINST[0] + AGAINST[1] * score + AGAINST[2] * against,
            None => score,
        }
    }
}
