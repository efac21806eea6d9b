//! The word's onset in the stream: where the rise and fall of the takes' sound
//! about their onsets lies best on it.

use super::RATE_HZ;
use crate::ear::filter::{Biquad, Section};

/// Samples from one step to the next: 2.5 ms.
pub const STEP: usize = 40;
/// Steps before the onset that are kept of a take, 50 ms,
const BEFORE: usize = 20;
/// and from it on, 80 ms.
const AFTER: usize = 32;
/// Steps that are kept of a take.
pub const STEPS: usize = BEFORE + AFTER;
/// Bands: what is over [`SPLIT_HZ`], and what is under it.
pub const EDGE_BANDS: usize = 2;
/// A stop's hum lies under this, its release and all vowels reach over it, in hertz.
const SPLIT_HZ: f64 = 500.0;
/// Rumble under this is left out, in hertz.
const RUMBLE_HZ: f64 = 120.0;
/// How much each band counts.
const COUNTS: [f32; EDGE_BANDS] = [1.0, 0.5];
/// Steps the filters have to settle: 20 ms.
const SETTLE: usize = 8;
/// The onset may lie so many steps from where it is looked for: 50 ms.
const MOVE: usize = 20;
/// Steps over which the level is smoothed: 12.5 ms, over a period of a deep voice.
const SMOOTH: [f32; 5] = [1.0, 2.0, 3.0, 2.0, 1.0];
/// At the end of its reach an onset must fit better by this part.
const FAR: f32 = 0.3;
/// Power under which nothing is told apart.
const SILENCE: f32 = 1e-12;
/// What is so far under the loudest of an edge is not compared (ratio of power).
const DEPTH: f32 = 1e-3;
/// Rounds in which the takes of a lesson are laid on one another.
const ROUNDS: usize = 3;

/// Power in each band, step after step.
pub type Edge = Vec<[f32; EDGE_BANDS]>;

/// Samples of the stream that [`place`] needs before and after the guess.
pub const NEEDS: (usize, usize) = ((BEFORE + MOVE + SETTLE) * STEP, (AFTER + MOVE + 2) * STEP);

/// The edge of every whole step of `sound` (16 kHz), after the filters' settling.
fn edge(sound: &[f32]) -> Edge {
    let first = f64::from(sound.first().copied().unwrap_or(0.0));
    let mut high = [0; 2].map(|_| Biquad::new(Section::high_pass(SPLIT_HZ, RATE_HZ)));
    let mut whole = Biquad::new(Section::high_pass(RUMBLE_HZ, RATE_HZ));
    whole.settle(first);
    high[0].settle(first);
    let raw: Edge = sound
        .chunks_exact(STEP)
        .map(|part| {
            let mut sums = [0.0f64; EDGE_BANDS];
            for x in part {
                let once = high[0].step(f64::from(*x));
                let over = high[1].step(once);
                let under = whole.step(f64::from(*x)) - over;
                sums[0] += over * over;
                sums[1] += under * under;
            }
            sums.map(|s| (s / STEP as f64) as f32 + SILENCE)
        })
        .collect();
    let weight: f32 = SMOOTH.iter().sum();
    (SETTLE..raw.len().saturating_sub(2))
        .map(|t| {
            std::array::from_fn(|b| {
                let parts = SMOOTH.iter().zip(&raw[t - 2..]);
                parts.map(|(w, e)| w * e[b]).sum::<f32>() / weight
            })
        })
        .collect()
}

/// `sound` from `at − NEEDS.0` to `at + NEEDS.1`; silence where it ends.
fn around(sound: &[f32], at: usize) -> Vec<f32> {
    (0..NEEDS.0 + NEEDS.1)
        .map(|k| (at + k).checked_sub(NEEDS.0))
        .map(|k| k.and_then(|k| sound.get(k)).copied().unwrap_or(0.0))
        .collect()
}

/// The edge of a take whose onset is sample `at` of `sound`.
pub fn of_take(sound: &[f32], at: usize) -> Edge {
    edge(&around(sound, at))[MOVE..MOVE + STEPS].to_vec()
}

/// Lays the takes' edges on `stretch`, [`NEEDS`] around a guess: by how many
/// samples the onset lies after the guess, and how far the takes differ about it
/// (standard deviation, samples). `None` without takes.
pub fn place(stretch: &[f32], takes: &[&Edge]) -> Option<(f32, f32)> {
    let heard = edge(stretch);
    let lags = heard.len().checked_sub(STEPS)? + 1;
    let noise: [f32; EDGE_BANDS] = std::array::from_fn(|b| {
        let top = heard.iter().map(|e| e[b]).fold(0.0, f32::max);
        // Others may be talking: what is usual before the word counts, not the least.
        let mut before: Vec<f32> = heard[..BEFORE + MOVE / 2].iter().map(|e| e[b]).collect();
        before.sort_by(f32::total_cmp);
        (1.5 * before[before.len() / 3]).max(DEPTH * top)
    });
    let mut all = vec![0.0f32; lags];
    let mut alone = Vec::with_capacity(takes.len());
    for take in takes.iter().filter(|t| t.len() == STEPS) {
        let gain = gain(take, &heard[MOVE..MOVE + STEPS], &noise);
        let costs: Vec<f32> = (0..lags)
            .map(|lag| {
                let far = (lag as f32 - MOVE as f32) / MOVE as f32;
                (1.0 + FAR * far * far) * cost(take, &heard[lag..lag + STEPS], gain, &noise)
            })
            .collect();
        alone.push(lowest(&costs)?);
        for (a, c) in all.iter_mut().zip(&costs) {
            *a += c;
        }
    }
    let n = alone.len() as f32;
    let at = (n > 0.0).then(|| lowest(&all)).flatten()?;
    let square: f32 = alone.iter().map(|l| (l - at) * (l - at)).sum();
    let step = STEP as f32;
    Some(((at - MOVE as f32) * step, (square / n).sqrt() * step))
}

/// Place of the lowest value, between the steps by the parabola through it.
fn lowest(x: &[f32]) -> Option<f32> {
    let k = (0..x.len()).min_by(|a, b| x[*a].total_cmp(&x[*b]))?;
    if k == 0 || k + 1 == x.len() {
        return Some(k as f32);
    }
    let (a, b, c) = (x[k - 1], x[k], x[k + 1]);
    let bend = a - 2.0 * b + c;
    let part = if bend > 1e-9 {
        0.5 * (a - c) / bend
    } else {
        0.0
    };
    Some(k as f32 + part)
}

/// Power that is heard over a take's where the guess has it.
fn gain(take: &[[f32; EDGE_BANDS]], heard: &[[f32; EDGE_BANDS]], noise: &[f32; EDGE_BANDS]) -> f32 {
    let over = |e: &[f32; EDGE_BANDS]| (e[0] - noise[0]).max(0.0) + (e[1] - noise[1]).max(0.0);
    let ours: f32 = take[BEFORE..].iter().map(|e| e[0] + e[1]).sum();
    heard[BEFORE..].iter().map(over).sum::<f32>() / ours.max(SILENCE)
}

/// Sum of the differences of the logarithms of power of a take brought to the level
/// and the background of what is heard.
fn cost(
    take: &[[f32; EDGE_BANDS]],
    heard: &[[f32; EDGE_BANDS]],
    gain: f32,
    noise: &[f32; EDGE_BANDS],
) -> f32 {
    let difference = |b: usize| {
        let pairs = take.iter().zip(heard);
        pairs
            .map(|(t, h)| ((gain * t[b] + noise[b]) / h[b].max(noise[b])).ln().abs())
            .sum::<f32>()
    };
    COUNTS[0] * difference(0) + COUNTS[1] * difference(1)
}

/// Onsets (samples of `sound`) that agree with one another: each take is laid on
/// the others, and all together stay where most of them were.
pub fn agree(sound: &[f32], onsets: &[usize]) -> Vec<usize> {
    let mut at: Vec<f32> = onsets.iter().map(|o| *o as f32).collect();
    for _ in 0..ROUNDS {
        let edges: Vec<Edge> = at.iter().map(|o| of_take(sound, *o as usize)).collect();
        let moves: Vec<f32> = (0..at.len())
            .map(|k| {
                let others: Vec<&Edge> = (0..at.len())
                    .filter(|j| *j != k)
                    .map(|j| &edges[j])
                    .collect();
                place(&around(sound, at[k] as usize), &others).map_or(0.0, |p| p.0)
            })
            .collect();
        for (o, m) in at.iter_mut().zip(moves) {
            *o = (*o + m).max(0.0);
        }
    }
    let mut apart: Vec<f32> = onsets.iter().zip(&at).map(|(o, a)| *o as f32 - a).collect();
    apart.sort_by(f32::total_cmp);
    let back = apart.get(apart.len() / 2).copied().unwrap_or(0.0);
    at.iter()
        .map(|a| (a + back).max(0.0).round() as usize)
        .collect()
}
