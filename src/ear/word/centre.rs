//! The perceptual centre of a word (P-centre): the instant at which it is heard to
//! happen (Morton, Marcus and Frankish 1976, Psychol Rev 83:405–408).
//!
//! The model is that of Marcus SM (1981), "Acoustic determinants of perceptual
//! center (P-center) location", Percept Psychophys 30:247–256:
//! P = 0.65 a + 0.25 b + k, with a from the word's onset to its vowel's, b from
//! the vowel's onset to the word's end; the vowel begins where the energy in the
//! middle of the spectrum grows most. The two weights are values from memory. k is
//! the same for all words and not known; here it is 0.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::frames::Powers;
use super::mel::edges_hz;
use super::{BANDS, HOP, RATE_HZ, WINDOW};

/// Weight of the stretch before the vowel.
const BEFORE_VOWEL: f64 = 0.65;
/// Weight of the stretch from the vowel on.
const FROM_VOWEL: f64 = 0.25;
/// The middle of the spectrum, in hertz.
const MIDDLE_HZ: (f64, f64) = (500.0, 1_500.0);
/// Half-width of what is known of a word's end, which fades, in seconds: the
/// closure of a stop or a breath more or less.
const END_HALF_S: f64 = 0.050;
/// Half-width of what a listener may differ by from the model, in seconds: a
/// convention of this program, for want of a published figure.
const MODEL_HALF_S: f64 = 0.020;

/// At which instant of a word its mark is stamped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WordAt {
    /// Where its sound begins.
    #[default]
    Onset,
    /// At its perceptual centre.
    Centre,
}

impl WordAt {
    /// Both, the default first.
    pub const ALL: [Self; 2] = [Self::Onset, Self::Centre];

    /// As settings, flags and outputs call it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Onset => "onset",
            Self::Centre => "centre",
        }
    }

    /// Whether it is the default.
    pub fn is_onset(&self) -> bool {
        *self == Self::Onset
    }

    /// What is to be said wherever a lag is told that was made with it; `None` for
    /// the onset.
    pub fn sentence(self) -> Option<&'static str> {
        match self {
            Self::Onset => None,
            Self::Centre => {
                Some("Spoken marks are placed at the word's perceptual centre (a model's).")
            }
        }
    }
}

impl fmt::Display for WordAt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A word's perceptual centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Centre {
    /// How long after the word's onset it lies, in seconds.
    pub after_s: f64,
    /// Standard uncertainty of its instant, in seconds, that of the onset within.
    pub u_s: f64,
}

/// The model: seconds from the onset to the centre, by the seconds from the onset
/// to the vowel's onset and to the word's end.
pub fn marcus(vowel_s: f64, end_s: f64) -> f64 {
    BEFORE_VOWEL * vowel_s + FROM_VOWEL * (end_s - vowel_s)
}

/// Standard uncertainty of the centre's instant in seconds: onset, vowel, end and
/// model, put together as the GUM (JCGM 100:2008) does. The instant is
/// (1 − 0.65) onset + (0.65 − 0.25) vowel + 0.25 end.
pub fn u_s(onset_u_s: f64) -> f64 {
    let rectangular = |half: f64| half / 3f64.sqrt();
    let step_s = HOP as f64 / RATE_HZ;
    let parts = [
        (1.0 - BEFORE_VOWEL) * onset_u_s,
        (BEFORE_VOWEL - FROM_VOWEL) * rectangular(0.5 * step_s),
        FROM_VOWEL * rectangular(END_HALF_S),
        rectangular(MODEL_HALF_S),
    ];
    parts.iter().map(|p| p * p).sum::<f64>().sqrt()
}

/// The centre of a word of which `frames` are all, `first_s` from its onset to the
/// first frame's first sample (negative when that lies before), `end_s` to its end
/// and `onset_u_s` the standard uncertainty of the onset.
pub fn centre(frames: &[Powers], first_s: f64, end_s: f64, onset_u_s: f64) -> Centre {
    let middle = |k: usize| first_s + (k * HOP + WINDOW / 2) as f64 / RATE_HZ;
    let energy: Vec<f32> = frames.iter().map(mid_band).collect();
    let steepest = (1..energy.len().saturating_sub(1))
        .max_by(|a, b| grows(&energy, *a).total_cmp(&grows(&energy, *b)));
    let end_s = end_s.max(0.0);
    let vowel_s = steepest.map_or(0.0, middle).clamp(0.0, end_s);
    Centre {
        after_s: marcus(vowel_s, end_s),
        u_s: u_s(onset_u_s),
    }
}

/// How much the energy grows about a frame.
fn grows(energy: &[f32], k: usize) -> f32 {
    energy[k + 1] - energy[k - 1]
}

fn mid_band(frame: &Powers) -> f32 {
    let edges = edges_hz();
    (0..BANDS)
        .filter(|b| (MIDDLE_HZ.0..=MIDDLE_HZ.1).contains(&edges[b + 1]))
        .map(|b| frame[b])
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand from P = 0.65 a + 0.25 b with k = 0: a vowel at once, 400 ms
    /// long; a consonant of 60 ms before 300 ms of vowel (39 + 75); one of 150 ms
    /// before 250 ms (97.5 + 62.5).
    #[test]
    fn the_model_by_hand() {
        for (vowel_s, end_s, after_s) in [
            (0.0, 0.4, 0.100),
            (0.060, 0.360, 0.114),
            (0.150, 0.400, 0.160),
        ] {
            let ours = marcus(vowel_s, end_s);
            assert!((ours - after_s).abs() < 1e-12, "{ours} {after_s}");
        }
    }

    /// By hand, in ms: 0.35·4 = 1.4; 0.4·5/√3 = 1.155; 0.25·50/√3 = 7.217;
    /// 20/√3 = 11.547; the root of 1.96 + 1.333 + 52.08 + 133.33 is 13.737.
    #[test]
    fn the_uncertainty_by_hand() {
        assert!((u_s(0.004) - 0.013_737).abs() < 1e-6, "{}", u_s(0.004));
    }

    /// A hiss without middle of 100 ms, then a vowel for 200 ms: frames of 25 ms,
    /// 10 ms apart; the first that holds the vowel whole begins at 100 ms, so the
    /// growth is steepest about the frame whose middle is there.
    #[test]
    fn the_vowel_begins_where_the_middle_grows() {
        let edges = edges_hz();
        let frames: Vec<Powers> = (0..29)
            .map(|k| {
                let (from, to) = (f64::from(k) * 0.010, f64::from(k) * 0.010 + 0.025);
                let part = ((to - 0.100f64.max(from)) / 0.025).clamp(0.0, 1.0) as f32;
                std::array::from_fn(|b| match edges[b + 1] {
                    hz if hz > 3_000.0 => 2.0,
                    hz if hz < 1_600.0 => part,
                    _ => 0.0,
                })
            })
            .collect();
        let found = centre(&frames, 0.0, 0.300, 0.004);
        let wanted = marcus(0.100, 0.300);
        // A frame more or less: 0.4 · 10 ms.
        assert!((found.after_s - wanted).abs() <= 0.004, "{found:?}");
    }

    #[test]
    fn of_nothing_it_is_the_onset() {
        assert_eq!(centre(&[], 0.0, 0.0, 0.0).after_s, 0.0);
        let quiet = [[0.0; BANDS]; 30];
        let at = centre(&quiet, -0.010, 0.3, 0.0).after_s;
        assert!((0.0..=0.3).contains(&at));
    }
}
