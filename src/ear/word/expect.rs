//! What is to be expected of a taught word: each take left out, varied, and looked for
//! by the others; and what the trainer's other talk shows.

use super::cepstra::Cosines;
use super::cues::{Cues, Usual};
use super::frames::{Powers, all_powers};
use super::profile::{Against, Expects, FEWEST_FRAMES, MOST_FRAMES, Talked, WordProfile};
use super::rate::to_16k;
use super::spot::{Look, Spotter};
use super::takes::{Cut, apart};
use super::{BANDS, HOP};
use crate::ear::EarError;

/// Noise added to the takes that are left out, in dB under the word (power); none at
/// first.
const NOISES_DB: [Option<f32>; 3] = [None, Some(20.0), Some(10.0)];
/// Rates that they are taken to have, in turn: 5 % slower and faster.
const RATES_HZ: [f64; 3] = [16_000.0, 15_200.0, 16_800.0];
/// Slopes of their spectrum, in turn: sound weighed with its difference.
const TILTS: [f32; 2] = [-0.25, 0.25];
/// Samples before and after a take that are heard with it.
const BESIDE: usize = 40 * HOP;
/// A look that is so near the take, in samples, found it.
const FOUND: i64 = 2_400;
/// Score from which on a candidate is the word, on the whole,
const BAR: f32 = 0.0;
/// for takes of which one in ten scores this.
const TYPICAL: f32 = 2.0;
/// Takes that score more or less move the bar by this part of it,
const MOVES: f32 = 0.4;
/// and by no more than this.
const MOST_MOVED: f32 = 1.5;
/// Places in the talk that score this much under the bar come near the word.
const NEAR: f32 = 3.0;
/// Most counter-examples that the talk gives.
const MOST_AGAINST: usize = 12;
/// With talk the bar stands this far over what is not the word,
const OVER_TALK: f32 = 0.7;
/// but at most so far under where it would stand without,
const LOWERED: f32 = 1.5;
/// and over no more than one in so many of the takes.
const FEW: usize = 20;
/// A place in the talk is the word itself where it is no farther from the takes, as a
/// part of what is usual among them.
const ITSELF: f32 = 0.95;

/// White noise of power 1, the same every time.
struct Hiss(u64);

impl Hiss {
    fn next(&mut self) -> f32 {
        let mut sum = 0.0;
        for _ in 0..4 {
            self.0 = self
                .0
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            sum += (self.0 >> 40) as f32 / (1u64 << 24) as f32 - 0.5;
        }
        // Four uniform ones: variance 4/12.
        sum * 3f32.sqrt()
    }
}

/// One take with what is around it, varied the `turn`th way.
fn varied(sound: &[f32], cut: &Cut, turn: usize, noise_db: Option<f32>) -> (Vec<f32>, i64) {
    let from = (cut.from * HOP).saturating_sub(BESIDE);
    let to = (cut.to * HOP + BESIDE).min(sound.len());
    let piece = &sound[from..to];
    let tilt = TILTS[turn % TILTS.len()];
    let mut before = 0.0;
    let tilted: Vec<f32> = piece
        .iter()
        .map(|x| {
            let y = x - tilt * before;
            before = *x;
            y
        })
        .collect();
    let rate_hz = RATES_HZ[turn % RATES_HZ.len()];
    let mut out = to_16k(&tilted, rate_hz);
    let scale = super::RATE_HZ / rate_hz;
    let onset = (cut.onset - from) as f64 * scale;
    if let Some(db) = noise_db {
        let end = (((cut.to * HOP).min(to) - from) as f64 * scale) as usize;
        let word = out
            .get(onset as usize..end.min(out.len()))
            .unwrap_or_default();
        let power = word.iter().map(|v| v * v).sum::<f32>() / word.len().max(1) as f32;
        let gain = (power * 10f32.powf(-db / 10.0)).sqrt();
        let mut hiss = Hiss(turn as u64 + 1);
        // Falling by 3 dB an octave, nearly (a white one's slow and fast part).
        let mut slow = 0.0;
        for v in &mut out {
            let white = hiss.next();
            slow = 0.95 * slow + white;
            *v += gain * (0.25 * slow + 0.4 * white);
        }
    }
    (out, onset as i64)
}

/// The best look at a take that is left out of `profile`.
fn left_out(
    profile: &WordProfile,
    k: usize,
    sound: &[f32],
    onset: i64,
) -> Result<Option<Look>, EarError> {
    let mut others = profile.clone();
    others.takes.remove(k);
    let mut spotter = Spotter::new(super::RATE_HZ as u32, std::slice::from_ref(&others))?;
    let mut best: Option<Look> = None;
    let end = sound.last().copied().unwrap_or(0.0);
    for x in sound
        .iter()
        .copied()
        .chain(std::iter::repeat_n(end, BESIDE))
    {
        spotter.push(x, &mut |look| {
            if (look.onset - onset).abs() < FOUND && best.is_none_or(|b| b.score < look.score) {
                best = Some(look);
            }
        })?;
    }
    Ok(best)
}

/// Learns what is usual for the word, from takes `cuts` of `sound` (16 kHz), which the
/// profile's takes are.
pub fn learn_usual(
    profile: &mut WordProfile,
    cuts: &[&Cut],
    sound: &[f32],
) -> Result<(), EarError> {
    let mut all = Vec::new();
    for noise_db in NOISES_DB {
        let mut cues: Vec<Cues> = Vec::new();
        for k in 0..profile.takes.len() {
            let (heard, onset) = varied(sound, cuts[k], k, noise_db);
            cues.extend(left_out(profile, k, &heard, onset)?.map(|l| l.cues));
        }
        if 2 * cues.len() >= profile.takes.len() {
            all.extend(Usual::of(&cues));
        }
    }
    if !all.is_empty() {
        profile.usual = all;
    }
    Ok(())
}

/// How the takes score, each left out and varied: lowest first, the lowest possible for
/// one that is not found at all.
pub fn scores(profile: &WordProfile, cuts: &[&Cut], sound: &[f32]) -> Result<Vec<f32>, EarError> {
    let mut scores = Vec::new();
    for (turn, noise_db) in NOISES_DB.into_iter().enumerate() {
        for (k, cut) in cuts.iter().enumerate() {
            let (heard, onset) = varied(sound, cut, k + turn + 1, noise_db);
            let look = left_out(profile, k, &heard, onset)?;
            scores.push(look.map_or(f32::MIN, |l| l.score));
        }
    }
    scores.sort_by(f32::total_cmp);
    Ok(scores)
}

/// Sets the bar by the left-out takes' `scores`.
pub fn set_bar(profile: &mut WordProfile, scores: &[f32]) {
    let low = scores.get(scores.len() / 10).copied().unwrap_or(TYPICAL);
    profile.bar = BAR + (MOVES * (low - TYPICAL)).clamp(-MOST_MOVED, MOST_MOVED);
}

/// How many of the left-out takes, by their `scores`, are over the bar.
pub fn count_found(profile: &mut WordProfile, scores: &[f32]) {
    profile.expects = Expects {
        found: scores.iter().filter(|s| **s >= profile.bar).count(),
        tried: scores.len(),
    };
}

fn looks(profile: &WordProfile, talk: &[f32]) -> Result<Vec<Look>, EarError> {
    let mut spotter = Spotter::new(super::RATE_HZ as u32, std::slice::from_ref(profile))?;
    let mut looks = Vec::new();
    let rest = std::iter::repeat_n(0.0, BESIDE);
    for x in talk.iter().copied().chain(rest) {
        spotter.push(x, &mut |look| looks.push(look))?;
    }
    Ok(looks)
}

/// What a stretch of talk shows: counter-examples, how many places came near, and how
/// many are the word itself.
struct Shown {
    against: Vec<Against>,
    near: usize,
    itself: usize,
}

fn is_itself(profile: &WordProfile, look: &Look) -> bool {
    look.score >= profile.bar && look.cues.is_within(&profile.usual, ITSELF)
}

fn shown(profile: &WordProfile, talk: &[f32]) -> Result<Shown, EarError> {
    let frames = all_powers(talk)?;
    let mut near = looks(profile, talk)?;
    let itself = near.iter().filter(|l| is_itself(profile, l)).count();
    near.retain(|l| !is_itself(profile, l) && l.score > profile.bar - NEAR);
    near.sort_by(|a, b| b.score.total_cmp(&a.score));
    let piece = |l: &Look| -> Option<Vec<Powers>> {
        let (from, to) = (l.onset.max(0) as usize / HOP, l.end.max(0) as usize / HOP);
        let part = frames.get(from.saturating_sub(1)..to.min(frames.len()))?;
        let is_word = (FEWEST_FRAMES..=MOST_FRAMES).contains(&part.len());
        is_word.then(|| part.to_vec())
    };
    let pieces = near.iter().filter_map(piece).take(MOST_AGAINST);
    Ok(Shown {
        against: pieces.map(|p| Against::new(&p)).collect(),
        near: near.len(),
        itself,
    })
}

/// Takes the places of the trainer's other `talk` that come near the word for
/// counter-examples. Either half of it, listened to with what the other half taught,
/// says how far the bar must stand and how many false marks are to be expected; `takes`
/// are the scores of the word itself, lowest first.
pub fn learn_from_talk(
    profile: &mut WordProfile,
    takes: &[f32],
    talk: &[f32],
    rate_hz: u32,
) -> Result<(), EarError> {
    let sound = to_16k(talk, f64::from(rate_hz));
    let halves = sound.split_at(sound.len() / 2);
    let mut scores = Vec::new();
    for (one, other) in [halves, (halves.1, halves.0)] {
        let mut half = profile.clone();
        half.against = shown(profile, one)?.against;
        let all = looks(&half, other)?.into_iter();
        let not = all.filter(|l| !is_itself(profile, l));
        scores.extend(not.filter(|l| !l.in_talk).map(|l| l.score));
    }
    scores.sort_by(|a, b| b.total_cmp(a));
    let all = shown(profile, &sound)?;
    let most = takes.get(takes.len() / FEW).copied().unwrap_or(profile.bar);
    let wanted = scores.first().map_or(f32::MIN, |s| s + OVER_TALK);
    profile.bar = wanted.clamp(profile.bar - LOWERED, most.max(profile.bar));
    profile.against = all.against;
    profile.talk = Some(Talked {
        seconds: talk.len() as f64 / f64::from(rate_hz),
        near: all.near,
        taken: scores.iter().filter(|s| **s >= profile.bar).count(),
        itself: all.itself,
    });
    Ok(())
}

/// Distance of the takes of two words over that within the first: about 1 where they
/// are one word, 2 and more where they are well told apart.
pub fn how_far(one: &WordProfile, other: &WordProfile) -> f32 {
    let cosines = Cosines::new(BANDS);
    let shapes = |p: &WordProfile| -> Vec<_> {
        let all = p.takes.iter().map(|t| {
            let mut into = Vec::new();
            cosines.shapes(&t.frames(), &mut into);
            into
        });
        all.collect()
    };
    let (ours, theirs) = (shapes(one), shapes(other));
    let mut nearest: Vec<f32> = ours
        .iter()
        .map(|a| {
            theirs
                .iter()
                .map(|b| apart(a, b))
                .fold(f32::INFINITY, f32::min)
        })
        .collect();
    nearest.sort_by(f32::total_cmp);
    nearest
        .get(nearest.len() / 2)
        .copied()
        .unwrap_or(f32::INFINITY)
        / one.own.max(1e-3)
}
