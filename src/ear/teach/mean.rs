//! The mean of a group of sounds, and how well they agree.

use super::sounds::Lesson;
use super::{LEAST_ALIKE, TeachError, median};
use crate::ear::aic_onset;
use crate::ear::fit::Fitter;
use crate::ear::history::History;
use crate::ear::profile::{AFTER_S, BEFORE_S};

/// Places are mostly this exact before they are aligned on one another, in seconds: less
/// than the time between the blows of one click.
const ALIGN_S: f64 = 0.0004;
/// A codec's pre-echo draws an onset to a sample this much earlier, in seconds; what lies
/// so far off must be more alike by this much (correlation).
const DRAWN_S: f64 = 0.003;
const MORE_ALIKE: f64 = 0.2;
/// and that only where they are hardly alike without (correlation).
const HARDLY_ALIKE: f64 = 0.5;
/// and surely alike with it (correlation).
const SURELY_ALIKE: f64 = 0.6;
/// Onsets that lie within this time of their median agree, in seconds.
const AGREE_S: f64 = 0.000_2;
/// The beginning of a click is looked for from this long before its strongest blow, in
/// seconds,
const BEGINS_S: f64 = 0.025;
/// as what is common to all the examples, smoothed over this time,
const SMOOTH_S: f64 = 0.000_25;
/// and stands out from what differs from one to the next by this factor of power,
const COMMON: f64 = 6.0;
/// and is not this much weaker than the strongest blow (power, −24 dB).
const FAINT: f64 = 0.004;
/// Around the place that is found so, the exact sample is picked within these times, in
/// seconds.
const PICK_S: (f64, f64) = (0.0025, 0.0006);
/// A first blow that comes longer before the strongest one than this, in seconds, lies
/// outside the taught waveform.
const WITHIN_S: f64 = 0.007;
/// Variance far below any microphone's noise, of waveforms of energy 1.
const PICK_FLOOR: f64 = 1e-12;

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
        self.stretch(at - before, (before + after) as usize)
    }

    /// `length` samples of the click view from `from` on; silence beyond its ends.
    fn stretch(&self, from: i64, length: usize) -> Vec<f32> {
        (from..from + length as i64)
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
        let (reach, near) = (self.span(DRAWN_S), self.span(ALIGN_S));
        let length = template.len();
        let from = at as i64 - (self.span(BEFORE_S) + reach) as i64;
        let around = self.stretch(from, length + 2 * reach);
        let square = |v: f32| f64::from(v) * f64::from(v);
        let norm = |energy: f64| energy.max(0.0).sqrt().max(1e-12);
        let own = norm(template.iter().map(|v| square(*v)).sum());
        let mut energy: f64 = around[..length].iter().map(|v| square(*v)).sum();
        let (mut close, mut far) = ((0.0, 0), (0.0, 0));
        for (shift, x) in around.windows(length).enumerate() {
            let product: f32 = x.iter().zip(template).map(|(a, b)| a * b).sum();
            let r = f64::from(product) / (own * norm(energy));
            let shift_by = shift as i64 - reach as i64;
            let best = if shift.abs_diff(reach) <= near {
                &mut close
            } else {
                &mut far
            };
            if r > best.0 {
                *best = (r, shift_by);
            }
            if let Some(next) = around.get(shift + length) {
                energy += square(*next) - square(x[0]);
            }
        }
        if close.0 < HARDLY_ALIKE && far.0 > (close.0 + MORE_ALIKE).max(SURELY_ALIKE) {
            far
        } else {
            close
        }
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

    /// Mean waveform (peak 1) of a group with its anchor at [`BEFORE_S`], the anchor of
    /// each example, and how long before its anchor a click begins, in samples.
    pub(super) fn mean(&self, group: &[u64]) -> (Vec<f32>, Vec<u64>, u64) {
        let (mut template, mut places) = (self.centre(group), group.to_vec());
        for _ in 0..2 {
            (template, places) = self.average(&template, group);
        }
        let (anchor, lead) = match self.agreed_onset(group, &places) {
            Some(onset) => (onset, 0),
            None => self.beginning(&places),
        };
        let anchors: Vec<u64> = places
            .iter()
            .map(|p| p.saturating_add_signed(anchor))
            .collect();
        let mut sum = vec![0.0f64; template.len()];
        for place in &anchors {
            add_scaled(&mut sum, &self.cut(*place as i64));
        }
        let peak = sum.iter().fold(1e-12f64, |a, v| a.max(v.abs()));
        let mean = sum.iter().map(|v| (v / peak) as f32).collect();
        (mean, anchors, lead)
    }

    /// The median of the onsets that were picked one by one, in samples after the aligned
    /// places, where most of them agree; a codec's pre-echo scatters them.
    fn agreed_onset(&self, group: &[u64], places: &[u64]) -> Option<i64> {
        let mut shifts: Vec<i64> = places
            .iter()
            .filter_map(|p| {
                let from_place = group.iter().map(|at| *at as i64 - *p as i64);
                from_place.min_by_key(|d| d.abs())
            })
            .collect();
        shifts.sort_unstable();
        let median = *shifts.get(shifts.len() / 2)?;
        let agree = self.span(AGREE_S) as u64;
        let close = shifts
            .iter()
            .filter(|s| s.abs_diff(median) <= agree)
            .count();
        (4 * close >= 3 * shifts.len()).then_some(median)
    }

    /// Where the clicks at aligned `places` begin: the anchor of the taught waveform in
    /// samples after the place, and how long before that the first blow comes.
    ///
    /// What is common to all examples is the click; room noise and the pre-echo of a codec
    /// differ from one to the next, and their mean vanishes as their number grows. The
    /// power of what is common is estimated without bias from the mean waveform and the
    /// mean power: (K·|mean|² − mean|·|²)/(K − 1).
    fn beginning(&self, places: &[u64]) -> (i64, u64) {
        let (before, after) = (self.span(BEGINS_S), self.span(AFTER_S));
        let count = places.len() as f64;
        if places.len() < 2 {
            return (0, 0);
        }
        let mut mean = vec![0.0f64; before + after];
        let mut power = vec![0.0f64; before + after];
        for place in places {
            let own = self.cut(*place as i64);
            let energy: f64 = own.iter().map(|v| f64::from(*v) * f64::from(*v)).sum();
            let scale = 1.0 / energy.sqrt().max(1e-12);
            for (k, (m, p)) in mean.iter_mut().zip(&mut power).enumerate() {
                let from = *place as i64 + k as i64 - before as i64;
                let v = usize::try_from(from).ok().and_then(|n| self.view.get(n));
                let v = scale * f64::from(v.copied().unwrap_or(0.0));
                *m += v / count;
                *p += v * v / count;
            }
        }
        let common: Vec<f64> = mean
            .iter()
            .zip(&power)
            .map(|(m, p)| (count * m * m - p) / (count - 1.0))
            .collect();
        let smooth = smoothed(&common, self.span(SMOOTH_S).max(1));
        let power = smoothed(&power, self.span(SMOOTH_S).max(1));
        let (strongest, most) =
            smooth.iter().enumerate().fold(
                (before, 0.0),
                |best, (k, v)| if *v > best.1 { (k, *v) } else { best },
            );
        let stands_out = |k: usize| {
            let differs = (power[k] - smooth[k]).max(0.0) / count;
            smooth[k] > FAINT * most && smooth[k] > COMMON * differs
        };
        let first = (0..=strongest)
            .find(|k| stands_out(*k))
            .unwrap_or(strongest);
        let waveform: Vec<f32> = mean.iter().map(|v| *v as f32).collect();
        let pick = |at: usize| {
            let from = at.saturating_sub(self.span(PICK_S.0));
            let to = (at + self.span(PICK_S.1)).min(waveform.len());
            aic_onset(&waveform[from..to], PICK_FLOOR).map_or(at, |(k, _)| from + k)
        };
        let first = pick(first);
        if strongest.saturating_sub(first) < self.span(WITHIN_S) {
            return (first as i64 - before as i64, 0);
        }
        // The strongest blow begins where what is common rises to a tenth of it.
        let rises = (first..=strongest)
            .rev()
            .take_while(|k| smooth[*k] > 0.1 * most || strongest - k < self.span(SMOOTH_S))
            .last()
            .unwrap_or(strongest);
        let anchor = pick(rises).max(first);
        (anchor as i64 - before as i64, (anchor - first) as u64)
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

/// Running mean over `width` values, centred.
fn smoothed(x: &[f64], width: usize) -> Vec<f64> {
    let mut sums = Vec::with_capacity(x.len() + 1);
    sums.push(0.0);
    for v in x {
        sums.push(sums[sums.len() - 1] + v);
    }
    (0..x.len())
        .map(|k| {
            let (from, to) = (
                k.saturating_sub(width / 2),
                (k + width.div_ceil(2)).min(x.len()),
            );
            (sums[to] - sums[from]) / (to - from).max(1) as f64
        })
        .collect()
}
