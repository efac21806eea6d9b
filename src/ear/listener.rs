//! One taught click being listened for: candidates from its matched filter,
//! judged by how they fit the press and the release.

use super::EarError;
use super::fit::{Fit, Fitter, Shape};
use super::history::History;
use super::matcher::{Blocks, Matcher, PeakFinder};
use super::pick::aic_onset;
use super::profile::{AFTER_S, BEFORE_S, ClickProfile};
use super::resample::resample;

/// Part of the taught waveform that the matched filter uses, in seconds from
/// its begin.
pub const TEMPLATE_S: f64 = 0.009;
/// An echo of a press comes within this time, in seconds, and is weaker.
const ECHO_S: f64 = 0.060;
/// A second press within the echo time must be at least this strong.
const ECHO_GAIN: f32 = 0.7;
/// Releases are looked for up to this long after a press, in seconds.
const LONGEST_HELD_S: f64 = 0.7;
/// Variance far below any microphone's noise.
const PICK_FLOOR: f64 = 1e-14;

/// A press that was accepted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Press {
    /// Its first sample.
    pub at: u64,
    /// Logit of its confidence.
    pub score: f32,
    /// Standard uncertainty of its instant, in samples.
    pub u_samples: f32,
}

/// What a candidate turned out to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Verdict {
    /// The mark.
    Press(Press),
    /// The dome going back: not an event, but it explains a bang here.
    Release(u64),
    /// Something else.
    Nothing,
}

/// One taught click.
pub struct Listener {
    matcher: Matcher,
    peaks: PeakFinder,
    press: Shape,
    release: Option<Shape>,
    before: u64,
    rate_hz: f64,
    last_press: Option<(u64, f32)>,
    pick: Vec<f32>,
}

/// Logit of the confidence that a place is a press.
///
/// The weights are a logistic regression over made-up rooms (quiet, speech,
/// bangs, other clickers, 10 to 30 dB; even seeds to fit, odd seeds to check).
fn score(fit: &Fit, over_db: f32) -> f32 {
    20.9 * fit.coherence - 1.1 * fit.spread_db + 0.68 * fit.over_db.min(4.0) + 1.16 * over_db.min(20.0) - 29.0
}

impl Listener {
    /// Prepares a profile for a stream.
    pub fn new(
        profile: &ClickProfile,
        rate_hz: f64,
        blocks: &Blocks,
        fitter: &mut Fitter,
    ) -> Result<Self, EarError> {
        let prepare = |waveform: &[f32]| resample(waveform, f64::from(profile.rate_hz), rate_hz);
        let press = prepare(&profile.press);
        let template = ((TEMPLATE_S * rate_hz) as usize).min(press.len());
        let release = if profile.release.is_empty() {
            None
        } else {
            Some(fitter.shape(&prepare(&profile.release), rate_hz)?)
        };
        Ok(Self {
            matcher: Matcher::new(&press[..template], blocks)?,
            peaks: PeakFinder::new(rate_hz),
            press: fitter.shape(&press, rate_hz)?,
            release,
            before: (BEFORE_S * rate_hz).round() as u64,
            rate_hz,
            last_press: None,
            pick: vec![0.0; (0.008 * rate_hz) as usize],
        })
    }

    /// Samples of a stream that a template takes.
    pub fn template_samples(rate_hz: f64) -> usize {
        (TEMPLATE_S.min(BEFORE_S + AFTER_S) * rate_hz) as usize
    }

    /// Correlates the newest block and hands each candidate's onset and its
    /// height over the background (dB) to `found`.
    pub fn listen(&mut self, blocks: &Blocks, mut found: impl FnMut(u64, f32)) -> Result<(), EarError> {
        let start = blocks.start;
        let correlation = self.matcher.correlate(blocks)?;
        for (k, &c) in correlation.iter().enumerate() {
            // Places before the stream began have no sound in them.
            if start + (k as i64) < 0 {
                continue;
            }
            if let Some(peak) = self.peaks.step(c) {
                found(peak.at + self.before, 10.0 * peak.over.log10() as f32);
            }
        }
        Ok(())
    }

    /// Judges a candidate. Candidates come in order of time.
    pub fn judge(
        &mut self,
        at: u64,
        over_db: f32,
        filtered: &History,
        fitter: &mut Fitter,
    ) -> Result<Verdict, EarError> {
        fitter.load(filtered, at)?;
        let widest = fitter.widest();
        let mut fit = fitter.fit(&self.press, widest)?;
        let mut onset = (at as f64 + f64::from(fit.shift)).round().max(0.0) as u64;
        let released = match &self.release {
            Some(shape) => Some(fitter.fit(shape, widest)?),
            None => None,
        };
        if let Some(released) = released
            && released.coherence > fit.coherence
        {
            return Ok(Verdict::Release(at));
        }
        if score(&fit, over_db) <= 0.0 {
            return Ok(Verdict::Nothing);
        }
        // The filter may have caught a later blow of the same click: then the
        // sound has begun before.
        if let Some(earlier) = self.earlier_onset(onset, filtered) {
            fitter.load(filtered, earlier)?;
            let again = fitter.fit(&self.press, widest / 5)?;
            onset = (earlier as f64 + f64::from(again.shift)).round().max(0.0) as u64;
            fit = Fit { u_shift: fit.u_shift.max(0.5), gain: fit.gain, ..if again.coherence > fit.coherence { again } else { fit } };
        }
        if let Some((last, gain)) = self.last_press {
            let apart_s = onset.saturating_sub(last) as f64 / self.rate_hz;
            if apart_s < ECHO_S && fit.gain.abs() < ECHO_GAIN * gain {
                return Ok(Verdict::Release(onset));
            }
        }
        self.last_press = Some((onset, fit.gain.abs()));
        Ok(Verdict::Press(Press { at: onset, score: score(&fit, over_db), u_samples: (fit.u_shift.powi(2) + 1.0 / 12.0).sqrt() }))
    }

    /// Where the sound began, if clearly before `onset`.
    fn earlier_onset(&mut self, onset: u64, filtered: &History) -> Option<u64> {
        let span = |s: f64| (s * self.rate_hz) as usize;
        let (whole, lead) = (self.pick.len(), span(0.0065));
        filtered.copy(onset as i64 - lead as i64, &mut self.pick);
        let power = |from: usize, to: usize| {
            self.pick[from..to].iter().map(|v| f64::from(*v) * f64::from(*v)).sum::<f64>() / (to - from).max(1) as f64
        };
        let quiet = power(0, lead - span(0.003)).max(PICK_FLOOR);
        let just_before = power(lead - span(0.0025), lead - span(0.00015).max(1));
        if just_before < 4.0 * quiet {
            return None;
        }
        let until = (lead + span(0.0005)).min(whole);
        let (k, _) = aic_onset(&self.pick[..until], PICK_FLOOR)?;
        (k + span(0.0002) < lead).then(|| (onset as i64 - lead as i64 + k as i64).max(0) as u64)
    }

    /// Whether a bang at `at` is this clicker going back after a press.
    pub fn is_release(&mut self, at: u64, filtered: &History, fitter: &mut Fitter) -> Result<bool, EarError> {
        let (Some((last, _)), Some(shape)) = (self.last_press, &self.release) else { return Ok(false) };
        if at <= last || (at - last) as f64 > LONGEST_HELD_S * self.rate_hz {
            return Ok(false);
        }
        fitter.load(filtered, at)?;
        let fit = fitter.fit(shape, fitter.widest())?;
        Ok(fit.coherence > 0.45 || fit.spread_db < 5.0)
    }
}
