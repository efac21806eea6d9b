//! One taught word's takes warped onto the stream as it comes: where they lie well is a
//! candidate.

use super::HOP;
use super::cepstra::{CEPSTRA, Cosines, Shape};
use super::cues::Usual;
use super::edge::Edge;
use super::frames::Powers;
use super::judge::Known;
use super::noise::total;
use super::profile::{Take, WordProfile};
use super::warp::Warp;

/// A dip of the distance is over when it has not been passed for so many frames.
const SETTLED: i64 = 8;
/// Takes are brought into the stream's background as if they had so many times its power.
const IN_NOISE: f32 = 12.0;
/// Frames after a take's onset, by which it is found again.
const ANCHOR: usize = 6;
/// How far over the takes' own distance a candidate may be to be looked at.
const REACH: f32 = 2.6;
/// Most candidates that wait at once.
pub(super) const MOST: usize = 64;

/// A stretch on which the takes lie well.
#[derive(Debug, Clone, Copy)]
pub(super) struct Candidate {
    pub(super) mean: f32,
    pub(super) start: i64,
    pub(super) end: i64,
}

/// One word's takes, and what is known of the word.
pub(super) struct Listener {
    /// For each take two: as it was taught, and in the stream's background.
    pub(super) warps: Vec<Warp>,
    pub(super) known: Vec<Known>,
    pub(super) against: Vec<Known>,
    pub(super) usual: Vec<Usual>,
    /// The lesson's background at a power of 1 of its loudest frame.
    pub(super) room_of: Powers,
    /// The lesson's background.
    pub(super) room: Powers,
    pub(super) line: [[f32; CEPSTRA + 1]; 5],
    pub(super) onsets: Vec<u32>,
    pub(super) edges: Vec<Edge>,
    pub(super) own: f32,
    /// Score from which on a look counts.
    pub(super) bar: f32,
    /// Whether it counts within praise.
    pub(super) counts_in_praise: bool,
    pub(super) best: Option<Candidate>,
    pub(super) last: Option<Candidate>,
    pub(super) waiting: Vec<Candidate>,
    pub(super) shapes: Vec<Shape>,
}

impl Listener {
    pub(super) fn new(profile: &WordProfile, cosines: &Cosines, bands: usize) -> Self {
        let mut warps = Vec::new();
        let mut known = Vec::new();
        for take in &profile.takes {
            let frames = take.frames();
            let mut shapes = Vec::new();
            cosines.shapes(&floored(&frames, bands), &mut shapes);
            warps.push(Warp::new(shapes.clone(), 0));
            warps.push(Warp::new(shapes, 0));
            let anchor = take.onset as usize / HOP + ANCHOR;
            known.push(Known::new(frames, bands, anchor));
        }
        let loudest = known
            .iter()
            .flat_map(|k| k.frames.iter().map(|p| total(p, bands)))
            .fold(1e-12, f32::max);
        let room = profile.noise();
        let against = profile
            .against
            .iter()
            .map(|a| Known::new(a.frames(), bands, 0));
        Self {
            warps,
            known,
            against: against.collect(),
            usual: profile.usual.clone(),
            room_of: room.map(|r| r / loudest),
            room,
            line: [[0.0; CEPSTRA + 1]; 5],
            onsets: profile.takes.iter().map(|t| t.onset).collect(),
            edges: profile.takes.iter().map(Take::edge).collect(),
            own: profile.own,
            bar: profile.bar,
            counts_in_praise: profile.counts_in_praise,
            best: None,
            last: None,
            waiting: Vec::with_capacity(MOST),
            shapes: Vec::new(),
        }
    }

    /// The second of each take's warps is brought into the background `noise`, the
    /// word [`IN_NOISE`] times stronger.
    pub(super) fn meet(&mut self, noise: &Powers, cosines: &Cosines, bands: usize) {
        let floor = total(noise, bands).max(1e-12);
        let mut shapes = std::mem::take(&mut self.shapes);
        for (known, pair) in self.known.iter().zip(self.warps.chunks_exact_mut(2)) {
            let gain = IN_NOISE * floor / known.mean.max(1e-20);
            cosines.shapes(&known.heard_in(gain, noise), &mut shapes);
            if let Some(warp) = pair.last_mut() {
                warp.change(&shapes);
            }
        }
        self.shapes = shapes;
    }

    /// One more frame's shape, number `t`.
    pub(super) fn step(&mut self, t: i64, frame: &Shape) {
        let mut two = [(f32::INFINITY, t); 2];
        for pair in self.warps.chunks_exact_mut(2) {
            let mut end = (f32::INFINITY, t);
            for warp in pair {
                let one = warp.push(frame);
                if one.mean < end.0 {
                    end = (one.mean, one.start);
                }
            }
            if end.0 < two[0].0 {
                two[1] = two[0];
                two[0] = end;
            } else if end.0 < two[1].0 {
                two[1] = end;
            }
        }
        let mean = if two[1].0.is_finite() {
            0.5 * (two[0].0 + two[1].0)
        } else {
            two[0].0
        };
        if mean < REACH * self.own && self.best.is_none_or(|b| mean < b.mean) {
            self.best = Some(Candidate {
                mean,
                start: two[0].1,
                end: t,
            });
        }
        let Some(best) = self.best else { return };
        if t - best.end >= SETTLED {
            self.best = None;
            // The far side of the same dip is not another word.
            let is_same = self
                .last
                .is_some_and(|l| (l.start - best.start).abs() < 15 && l.mean <= best.mean);
            if !is_same && self.waiting.len() < MOST {
                self.waiting.push(best);
                self.last = Some(best);
            }
        }
    }
}

/// Powers no lower than 30 dB under the take's loudest frame's mean band.
fn floored(frames: &[Powers], bands: usize) -> Vec<Powers> {
    let loudest = frames.iter().map(|p| total(p, bands)).fold(0.0, f32::max);
    let floor = 1e-3 * loudest / bands.max(1) as f32;
    frames.iter().map(|p| p.map(|v| v + floor)).collect()
}
