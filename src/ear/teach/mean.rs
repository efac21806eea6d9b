//! The mean of a group of sounds, and how well they agree.

use super::sounds::Lesson;
use super::{LEAST_ALIKE, TeachError, median};
use crate::ear::fit::Fitter;
use crate::ear::history::History;
use crate::ear::profile::{AFTER_S, BEFORE_S};

/// Onsets are this exact before they are aligned on one another, in seconds:
/// less than the time between the blows of one click.
const ALIGN_S: f64 = 0.0004;

/// Presses whose two halves are this much less alike across than within are two
/// clickers (part of the mean correlation; of sixty made-up clickers alone none
/// was under 0.53, two in turn are mostly under 0.5).
const TWO_KINDS: f64 = 0.5;

/// So many presses are compared one by one.
const MOST_COMPARED: usize = 24;

impl Lesson<'_> {
    /// The stretch of the click view around `at`, 1 ms before to 11 ms after.
    pub(super) fn cut(&self, at: i64) -> Vec<f32> {
        let (before, after) = (self.span(BEFORE_S) as i64, self.span(AFTER_S) as i64);
        (at - before..at + after)
            .map(|k| {
                usize::try_from(k)
                    .ok()
                    .and_then(|k| self.view.get(k))
                    .copied()
                    .unwrap_or(0.0)
            })
            .collect()
    }

    /// Best correlation of `template` with the sound at `at`, and the shift.
    pub(super) fn likeness(&self, template: &[f32], at: u64) -> (f64, i64) {
        let reach = self.span(ALIGN_S) as i64;
        let norm = |x: &[f32]| {
            x.iter()
                .map(|v| f64::from(*v) * f64::from(*v))
                .sum::<f64>()
                .sqrt()
                .max(1e-12)
        };
        let own = norm(template);
        let mut best = (0.0, 0);
        for shift in -reach..=reach {
            let x = self.cut(at as i64 + shift);
            let product: f64 = x
                .iter()
                .zip(template)
                .map(|(a, b)| f64::from(*a) * f64::from(*b))
                .sum();
            let r = product / (own * norm(&x));
            if r > best.0 {
                best = (r, shift);
            }
        }
        best
    }

    /// Of the group, the mean of those that agree with its most typical member.
    pub(super) fn centre(&self, group: &[u64]) -> Vec<f32> {
        // The most typical of the first dozen: the one most others are like.
        let some: Vec<u64> = group.iter().copied().take(12).collect();
        let typical = some
            .iter()
            .map(|a| {
                let template = self.cut(*a as i64);
                let sum: f64 = some.iter().map(|b| self.likeness(&template, *b).0).sum();
                (sum, *a)
            })
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map_or(group[0], |t| t.1);
        self.average(&self.cut(typical as i64), group).0
    }

    /// Aligns the group on `template` and averages what is like it, each scaled
    /// to the same energy; also the aligned places.
    pub(super) fn average(&self, template: &[f32], group: &[u64]) -> (Vec<f32>, Vec<u64>) {
        let mut sum = vec![0.0f64; template.len()];
        let mut places = Vec::new();
        for at in group {
            let (r, shift) = self.likeness(template, *at);
            if r < LEAST_ALIKE {
                continue;
            }
            let place = at.saturating_add_signed(shift);
            add_scaled(&mut sum, &self.cut(place as i64));
            places.push(place);
        }
        (sum.iter().map(|v| *v as f32).collect(), places)
    }

    /// Mean waveform (peak 1) of a group with its onset at [`BEFORE_S`], and the
    /// exact onset of each example.
    pub(super) fn mean(&self, group: &[u64]) -> (Vec<f32>, Vec<u64>) {
        let (mut template, mut places) = (self.centre(group), group.to_vec());
        for _ in 0..2 {
            (template, places) = self.average(&template, group);
        }
        // Aligned places agree among themselves but start from one example's onset;
        // the median of all the onsets that were picked one by one is sounder.
        let mut shifts: Vec<i64> = places
            .iter()
            .filter_map(|p| {
                group
                    .iter()
                    .map(|at| *at as i64 - *p as i64)
                    .min_by_key(|d| d.abs())
            })
            .collect();
        shifts.sort_unstable();
        let shift = shifts.get(shifts.len() / 2).copied().unwrap_or(0);
        let onsets: Vec<u64> = places
            .iter()
            .map(|p| p.saturating_add_signed(shift))
            .collect();
        let mut sum = vec![0.0f64; template.len()];
        for onset in &onsets {
            add_scaled(&mut sum, &self.cut(*onset as i64));
        }
        let peak = sum.iter().fold(1e-12f64, |a, v| a.max(v.abs()));
        (sum.iter().map(|v| (v / peak) as f32).collect(), onsets)
    }

    /// Whether the presses fall into two kinds: groups of three or more, the
    /// least alike two at their heads, that are much less alike across than within.
    pub(super) fn are_two_kinds(&self, presses: &[u64]) -> bool {
        let some: Vec<u64> = presses.iter().copied().take(MOST_COMPARED).collect();
        let n = some.len();
        let mut alike = vec![vec![1.0f64; n]; n];
        let mut heads = (1.0, 0, 0);
        for j in 0..n {
            let template = self.cut(some[j] as i64);
            for k in 0..j {
                let r = self.likeness(&template, some[k]).0;
                (alike[j][k], alike[k][j]) = (r, r);
                if r < heads.0 {
                    heads = (r, j, k);
                }
            }
        }
        let first: Vec<bool> = (0..n)
            .map(|m| alike[m][heads.1] >= alike[m][heads.2])
            .collect();
        let firsts = first.iter().filter(|f| **f).count();
        if firsts.min(n - firsts) < 3 {
            return false;
        }
        let mean = |same: bool| {
            let pairs = (0..n).flat_map(|j| (0..j).map(move |k| (j, k)));
            let (sum, count) = pairs
                .filter(|(j, k)| (first[*j] == first[*k]) == same)
                .fold((0.0, 0.0), |(s, c), (j, k)| (s + alike[j][k], c + 1.0));
            sum / count
        };
        mean(false) < TWO_KINDS * mean(true)
    }

    /// Lower quartile of the examples' coherence with their mean, and the median
    /// spread of their cells in dB.
    pub(super) fn agreement(
        &self,
        press: &[f32],
        onsets: &[u64],
    ) -> Result<(f64, f64), TeachError> {
        let mut fitter = Fitter::new(self.rate_hz);
        let shape = fitter.shape(press, self.rate_hz)?;
        // Each fit sees this much around its onset, so that an hour costs no more.
        let around = self.span(0.05) as u64;
        let (mut coherences, mut spreads) = (Vec::new(), Vec::new());
        for onset in onsets {
            let from = onset.saturating_sub(around) as usize;
            let to = ((onset + around) as usize).min(self.view.len());
            let mut history = History::new((to - from.min(to)).max(1));
            for v in &self.view[from.min(to)..to] {
                history.push(*v);
            }
            fitter.load(&history, onset - from as u64)?;
            let fit = fitter.fit(&shape, fitter.widest())?;
            coherences.push(f64::from(fit.coherence));
            spreads.push(f64::from(fitter.spread_db(&shape, &fit)?));
        }
        coherences.sort_by(f64::total_cmp);
        Ok((
            coherences.get(coherences.len() / 4).copied().unwrap_or(0.0),
            median(spreads),
        ))
    }
}

/// Adds a stretch scaled to an energy of 1.
fn add_scaled(sum: &mut [f64], x: &[f32]) {
    let energy: f64 = x.iter().map(|v| f64::from(*v) * f64::from(*v)).sum();
    let scale = 1.0 / energy.sqrt().max(1e-12);
    for (s, v) in sum.iter_mut().zip(x) {
        *s += scale * f64::from(*v);
    }
}
