//! The sounds of a lesson that stand out, each with its prints.

use super::{TeachError, median};
use crate::ear::history::History;
use crate::ear::print::{Print, Printer};
use crate::ear::{Ear, EarError, Heard};

/// Most sounds that are looked at; the strongest are kept.
const MOST_SOUNDS: usize = 120;

/// Sounds closer than this are one sound and its echo, in seconds.
const SAME_S: f64 = 0.025;

/// A sound must stand this far over the noise to be looked at, in dB.
const STANDS_OUT_DB: f64 = 10.0;

/// A print is also taken so long after and before the onset, in seconds: an onset may
/// be off by the pre-echo of a codec.
const SHIFTS_S: [f64; 5] = [0.0, -0.002, 0.002, -0.004, 0.004];

/// A sound with this part of a press's peak is about as loud.
const AS_LOUD: f64 = 0.5;

/// What stands out so long after a press, in seconds, may be its echo or release.
const ECHO_S: f64 = 0.3;

/// A sound that begins within so many half milliseconds with less than this part of its
/// strongest power has a faint blow before the strong one.
const FIRST_STEPS: usize = 4;
const FAINT_FIRST: f32 = 0.02;

/// A blow rises to its strongest within so many half milliseconds.
const RISES_STEPS: usize = 4;

/// What a print needs before its onset, in seconds.
const BEFORE_PRINT_S: f64 = 0.08;

pub(super) struct Lesson<'a> {
    pub(super) samples: &'a [f32],
    pub(super) view: &'a [f32],
    /// The view of bangs, in which prints are taken.
    pub(super) bangs: &'a [f32],
    pub(super) rate_hz: f64,
    pub(super) noise: f64,
}

/// A sound of a lesson.
#[derive(Debug, Clone)]
pub(super) struct Standing {
    /// Its first sample.
    pub(super) at: u64,
    /// Its prints, at its onset and at the shifts about it.
    pub(super) prints: [Print; SHIFTS_S.len()],
}

impl Standing {
    /// How alike it is to a print, at the better of the shifts.
    pub(super) fn alike(&self, print: &Print) -> f32 {
        self.best(print).1
    }

    /// The print of its shifts that is most like another, and how alike.
    pub(super) fn best(&self, print: &Print) -> (&Print, f32) {
        let mut best = (&self.prints[0], -1.0);
        for own in &self.prints {
            let alike = own.alike(print);
            if alike > best.1 {
                best = (own, alike);
            }
        }
        best
    }
}

impl Lesson<'_> {
    pub(super) fn span(&self, s: f64) -> usize {
        (s * self.rate_hz).round() as usize
    }

    /// RMS of the quieter half of the recording, in the click view.
    pub(super) fn noise_rms(&self) -> f64 {
        let block = self.span(0.01).max(1);
        let powers: Vec<f64> = self
            .view
            .chunks(block)
            .map(|c| c.iter().map(|v| f64::from(*v) * f64::from(*v)).sum::<f64>() / c.len() as f64)
            .collect();
        median(powers).sqrt()
    }

    pub(super) fn peak(&self, x: &[f32], at: u64) -> f32 {
        let from = (at as usize).min(x.len());
        let to = (from + self.span(0.008)).min(x.len());
        x[from..to].iter().fold(0.0, |a, v| a.max(v.abs()))
    }

    pub(super) fn over_noise_db(&self, at: u64) -> f64 {
        20.0 * (f64::from(self.peak(self.view, at)) / self.noise.max(1e-9))
            .max(1e-9)
            .log10()
    }

    /// Sounds that stand out, in order of time, each with its exact onset.
    pub(super) fn sounds(&self) -> Result<Vec<Standing>, TeachError> {
        let mut ear = Ear::new(self.rate_hz as u32, &[])?;
        let mut sounds = Vec::new();
        let mut keep = |heard: Heard| sounds.push(heard.at);
        ear.push(self.samples, &mut keep)?;
        ear.finish(&mut keep)?;
        let mut strong: Vec<(u64, f32)> = sounds
            .into_iter()
            .map(|at| self.strongest_blow(at))
            .filter(|at| self.over_noise_db(*at) > STANDS_OUT_DB)
            .map(|at| (at, self.peak(self.view, at)))
            .collect();
        strong.sort_by(|a, b| b.1.total_cmp(&a.1));
        let near = self.span(SAME_S) as u64;
        let mut kept: Vec<(u64, f32)> = Vec::new();
        for (at, peak) in strong {
            if kept.len() < MOST_SOUNDS && kept.iter().all(|k| k.0.abs_diff(at) > near) {
                kept.push((at, peak));
            }
        }
        kept.sort_unstable_by_key(|k| k.0);
        let mut printer = Printer::new(self.rate_hz);
        kept.into_iter()
            .map(|(at, _)| {
                Ok(Standing {
                    at,
                    prints: self.prints(at, &mut printer)?,
                })
            })
            .collect()
    }

    /// Where the strongest blow of the sound that begins at `at` begins: a click may begin
    /// with a weaker one.
    fn strongest_blow(&self, at: u64) -> u64 {
        let (step, reach) = (self.span(0.0005).max(1), self.span(SAME_S));
        let from = (at as usize).min(self.view.len());
        let to = (from + reach).min(self.view.len());
        let powers: Vec<f32> = self.view[from..to]
            .chunks(step)
            .map(|c| c.iter().map(|v| v * v).sum())
            .collect();
        let most = powers.iter().fold(0.0f32, |a, b| a.max(*b));
        let first = powers
            .iter()
            .take(FIRST_STEPS)
            .fold(0.0f32, |a, b| a.max(*b));
        if first >= FAINT_FIRST * most {
            return at;
        }
        let strong = powers.iter().position(|p| *p >= 0.5 * most).unwrap_or(0);
        // Back to where it rises.
        let rises = powers[..strong]
            .iter()
            .rposition(|p| *p < 0.1 * most)
            .map_or(0, |k| k + 1);
        let begins = rises.max(strong.saturating_sub(RISES_STEPS));
        if begins == 0 {
            at
        } else {
            (from + begins * step) as u64
        }
    }

    /// How many of the other sounds are about as loud as the presses and no echo of one.
    pub(super) fn others_as_loud(&self, presses: &[u64], others: &[u64]) -> usize {
        let peak = |at: &u64| f64::from(self.peak(self.view, *at));
        let loud = AS_LOUD * median(presses.iter().map(peak).collect());
        let echo = self.span(ECHO_S) as u64;
        let is_echo = |at: u64| presses.iter().any(|p| (*p..*p + echo).contains(&at));
        others
            .iter()
            .filter(|at| peak(at) >= loud && !is_echo(**at))
            .count()
    }

    /// Mean print of the sounds at `places`, and how alike the least alike tenth of them
    /// is to it.
    pub(super) fn mean_print(&self, places: &[u64]) -> Result<(Option<Print>, f64), EarError> {
        let mut printer = Printer::new(self.rate_hz);
        let prints = places
            .iter()
            .map(|at| Ok(self.prints(*at, &mut printer)?[0]))
            .collect::<Result<Vec<_>, EarError>>()?;
        let mean = Print::mean(&prints);
        let mut alike: Vec<f64> = mean
            .iter()
            .flat_map(|mean| prints.iter().map(|p| f64::from(p.alike(mean))))
            .collect();
        alike.sort_by(f64::total_cmp);
        Ok((mean, alike.get(alike.len() / 10).copied().unwrap_or(0.0)))
    }

    /// The prints of the sound at `at` and at the shifts about it.
    fn prints(&self, at: u64, printer: &mut Printer) -> Result<[Print; 5], EarError> {
        let reach = printer.reach() as usize + self.span(0.005);
        let from = (at as usize).saturating_sub(self.span(BEFORE_PRINT_S));
        let to = (at as usize + reach).min(self.bangs.len());
        let mut stretch = History::new((to - from.min(to)).max(1));
        stretch.extend(&self.bangs[from.min(to)..to]);
        let place = at as i64 - from as i64;
        let mut prints = [printer.print(&stretch, place.max(0) as u64)?; SHIFTS_S.len()];
        for (print, shift_s) in prints.iter_mut().zip(SHIFTS_S).skip(1) {
            let shifted = place + (shift_s * self.rate_hz).round() as i64;
            *print = printer.print(&stretch, shifted.max(0) as u64)?;
        }
        Ok(prints)
    }
}
