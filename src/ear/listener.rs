//! One taught click being listened for: candidates from its matched filter,
//! judged by how they fit the press and the release.

use super::EarError;
use super::fit::{Fit, Fitter, Shape};
use super::history::History;
use super::matcher::{Blocks, Matcher, PeakFinder};
use super::pick::aic_onset;
use super::print::Print;
use super::profile::{AFTER_S, BEFORE_S, ClickProfile};
use super::resample::resample;

/// Part of the taught waveform that the matched filter uses, in seconds from
/// its begin.
pub const TEMPLATE_S: f64 = 0.009;
/// An echo of a press comes within this time, in seconds, and is weaker.
const ECHO_S: f64 = 0.060;
/// A second press within the echo time must be at least this strong.
const ECHO_GAIN: f32 = 0.7;
/// No hand presses twice within this time, in seconds, the second time at less than this
/// part of the gain.
const SOON_S: f64 = 0.45;
const SOON_GAIN: f32 = 0.45;
/// A fit under this part of what presses reach is half-hearted.
const HALF_HEARTED: f32 = 0.75;
/// Logit of the confidence of a press that its print alone speaks for.
const RESCUED_SCORE: f32 = 1.5;
/// How much better than the release a press must fit where a release is due.
const DUE_MARGIN: f32 = 0.25;
/// Releases are looked for up to this long after a press, in seconds.
const LONGEST_HELD_S: f64 = 0.7;
/// An earlier blow is the click's first one where the waveform fits so well there, as a
/// part of how it fits at the later one.
const FIRST_BLOW: f32 = 0.8;
/// The first blow alone is the taught one where it fits so well (coherence), and not worse
/// than what lies at the later place, but for this.
const FIRST_EARLY: f32 = 0.6;
const EARLY_MARGIN: f32 = 0.15;
/// Power far below any microphone's noise.
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

/// A print as alike as the lesson's least alike tenth, less this, says nothing for or
/// against a press in doubt;
const DOUBTED_LESS_ALIKE: f32 = 0.3;
/// beside that it counts so much (logit per likeness), less where noise drowns it.
const PRINT_WEIGHT: f32 = 6.0;
/// A sound whose waveform does not fit is a press if its print is as alike as the
/// lesson's least alike tenth, less this,
const RESCUED_LESS_ALIKE: f32 = 0.08;
/// is at least so much more like the press than like the release,
const MORE_LIKE_PRESS: f32 = 0.04;
/// and fits the waveform at least by this part of what presses do.
const RESCUED_COHERENCE: f32 = 0.35;

/// The prints of a taught click.
struct Prints {
    press: Print,
    release: Option<Print>,
    alike: f32,
}

/// One taught click.
pub struct Listener {
    prints: Option<Prints>,
    matcher: Matcher,
    peaks: PeakFinder,
    press: Shape,
    release: Option<Shape>,
    before: u64,
    back: u64,
    held_s: Option<(f64, f64)>,
    typical: Typical,
    released: bool,
    rate_hz: f64,
    last_press: Option<(u64, f32)>,
    pick: Vec<f32>,
}

/// What is typical of the taught presses: the yardstick for candidates.
#[derive(Debug, Clone, Copy)]
struct Typical {
    coherence: f32,
    spread_db: f32,
    /// How much better a press fits the press than the release (coherence).
    margin: f32,
}

/// Most that a margin counts, in typical margins.
const MOST_MARGINS: f32 = 1.3;
/// Most that a margin counts, in coherence.
const MOST_MARGIN: f32 = 0.4;
/// Coherence of a typical first blow.
const TYPICAL_EARLY: f32 = 0.9;
/// Part of what a typical press reaches that a candidate must reach.
const BAR: f32 = 0.2;
/// What the margin counts where no release was taught.
const UNKNOWN_MARGINS: f32 = 0.9;

/// What a candidate shows.
#[derive(Debug, Clone, Copy)]
struct Evidence {
    /// Fit of the press.
    press: Fit,
    /// How far its levels are from the taught ones, in dB.
    spread_db: f32,
    /// How much better the press fits than the release, in typical margins.
    margins: f32,
    /// Coherence of the first blow.
    early: f32,
    /// Height of the matched filter's peak over its background, in dB.
    over_db: f32,
}

impl Evidence {
    /// Logit of the confidence that the candidate is a press.
    ///
    /// The weights are a logistic regression over made-up rooms (quiet, speech,
    /// bangs, other clickers; 10, 20 and 30 dB; 28 clickers) and over six
    /// clickers' false candidates in 24 minutes of a real voice; the accuracy
    /// tables come from other rooms, clickers and voices. Where a sound stands
    /// out, its shape must fit closely; where it hardly does, less can be asked.
    fn logit(&self, typical: &Typical) -> f32 {
        let spread_db = self.spread_db;
        let Fit {
            coherence, over_db, ..
        } = self.press;
        let alike = coherence / typical.coherence;
        let wider_db = spread_db - typical.spread_db;
        let margins = self.margins.min(MOST_MARGINS);
        let margin = (margins * typical.margin).min(MOST_MARGIN);
        let clear = self.clear();
        let by_itself = 2.64 * coherence - 0.62 * spread_db
            + 9.79 * margin
            + clear * (8.57 * self.early + 19.18 * coherence - 1.12 * spread_db - 3.19)
            + 1.01 * over_db.min(3.0)
            + 1.44 * self.over_db.min(16.0)
            - 26.1;
        let beside_typical = 4.42 * alike - 0.45 * wider_db
            + 2.77 * margins
            + clear * (9.24 * self.early + 0.85 * alike - 1.16 * wider_db + 5.38 * margins - 1.89)
            - 0.32 * over_db.min(3.0)
            + 1.52 * self.over_db.min(16.0)
            - 29.97;
        0.5 * (by_itself + beside_typical) + 0.9
    }

    /// How clearly the candidate stands out, 0 to 1.
    fn clear(&self) -> f32 {
        ((self.over_db - 14.0) / 10.0).clamp(0.0, 1.0)
    }

    /// The logit against a bar that rises with what this clicker's presses reach:
    /// where they are alike and stand out, a half-hearted fit is another sound.
    fn score(&self, typical: &Typical) -> f32 {
        let expected = Self {
            press: Fit {
                coherence: typical.coherence,
                over_db: self.press.over_db,
                ..Fit::default()
            },
            spread_db: typical.spread_db,
            margins: 1.0,
            early: TYPICAL_EARLY,
            over_db: self.over_db,
        };
        self.logit(typical) - BAR * self.clear() * expected.logit(typical).max(0.0)
    }
}

/// A fit, the place that was loaded for it and the onset it gives.
#[derive(Debug, Clone, Copy, Default)]
struct Best {
    fit: Fit,
    place: u64,
    onset: u64,
}

/// Best fit of a shape near `at`, also when the filter caught a later blow.
fn best_fit(
    shape: &Shape,
    at: u64,
    back: u64,
    filtered: &History,
    fitter: &mut Fitter,
) -> Result<Best, EarError> {
    let mut best: Option<Best> = None;
    for place in [at, at.saturating_sub(back)] {
        fitter.load(filtered, place)?;
        let fit = fitter.fit(shape, fitter.widest())?;
        let onset = (place as f64 + f64::from(fit.shift)).round().max(0.0) as u64;
        if best.is_none_or(|b| fit.coherence > b.fit.coherence) {
            best = Some(Best { fit, place, onset });
        }
    }
    Ok(best.unwrap_or_default())
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
        let press_shape = fitter.shape(&press, rate_hz)?;
        // How much of the press the release explains.
        let mut cross = 0.0;
        if let Some(release) = &release {
            let lead = (0.05 * rate_hz) as usize;
            let mut alone = History::new(lead + 2 * press.len() + 16);
            for _ in 0..lead {
                alone.push(0.0);
            }
            for v in press.iter().chain(std::iter::repeat_n(&0.0, press.len())) {
                alone.push(*v);
            }
            let onset = lead as u64 + (BEFORE_S * rate_hz).round() as u64;
            fitter.load(&alone, onset)?;
            cross = fitter.fit(release, fitter.widest())?.coherence;
        }
        let agreement = (profile.agreement as f32).clamp(0.3, 1.0);
        let typical = Typical {
            coherence: agreement,
            spread_db: profile.spread_db as f32,
            margin: (agreement * (1.0 - cross)).max(0.1),
        };
        Ok(Self {
            prints: profile.print.map(|press| Prints {
                press,
                release: profile.release_print,
                alike: profile.prints_alike as f32,
            }),
            matcher: Matcher::new(&press[..template], blocks)?,
            peaks: PeakFinder::new(rate_hz),
            press: press_shape,
            release,
            before: (BEFORE_S * rate_hz).round() as u64,
            back: (0.0018 * rate_hz).round() as u64,
            held_s: profile.held_s,
            typical,
            released: true,
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
    pub fn listen(
        &mut self,
        blocks: &Blocks,
        mut found: impl FnMut(u64, f32),
    ) -> Result<(), EarError> {
        let start = blocks.start;
        let correlations = self.matcher.correlate(blocks)?;
        // Places before the stream began have no sound in them.
        let skip = ((-start).max(0) as usize).min(correlations.len());
        self.peaks.push(&correlations[skip..], |peak| {
            found(peak.at + self.before, 10.0 * peak.over.log10() as f32);
        });
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
        let Best { fit, place, onset } = best_fit(&self.press, at, self.back, filtered, fitter)?;
        // The best that could come of it, before each of the dearer looks is taken.
        let mut evidence = Evidence {
            press: fit,
            spread_db: 0.0,
            margins: MOST_MARGINS,
            early: 1.0,
            over_db,
        };
        if evidence.score(&self.typical) <= 0.0 {
            return Ok(Verdict::Nothing);
        }
        fitter.turn_to(filtered, place);
        evidence.spread_db = fitter.spread_db(&self.press, &fit)?;
        if evidence.score(&self.typical) <= 0.0 {
            return Ok(Verdict::Nothing);
        }
        if self.release.is_none() {
            evidence.margins = UNKNOWN_MARGINS;
        }
        if let Some(shape) = &self.release {
            let released = best_fit(shape, at, self.back, filtered, fitter)?.fit;
            let margin = fit.coherence - released.coherence;
            evidence.margins = margin / self.typical.margin;
            // Between a press and the next there must be a release: where one is
            // due, what could be either is the release.
            let needed = if self.release_is_due(at) {
                DUE_MARGIN
            } else {
                0.0
            };
            if margin < needed {
                self.released = true;
                return Ok(Verdict::Release(at));
            }
        }
        let onset = self.first_blow(onset, &fit, filtered, fitter)?;
        fitter.turn_to(filtered, onset);
        evidence.early = fitter.early(&self.press);
        if evidence.score(&self.typical) <= 0.0 {
            return Ok(Verdict::Nothing);
        }
        if self.is_after_press(onset, &fit) {
            return Ok(Verdict::Release(onset));
        }
        self.released = false;
        self.last_press = Some((onset, fit.gain.abs()));
        Ok(Verdict::Press(Press {
            at: onset,
            score: evidence.score(&self.typical),
            u_samples: (fit.u_shift.powi(2) + 1.0 / 12.0).sqrt(),
        }))
    }

    /// Whether the clicker is still pressed and has been for about as long as it
    /// was when it was taught.
    fn release_is_due(&self, at: u64) -> bool {
        let (Some((last, _)), Some((shortest, longest))) = (self.last_press, self.held_s) else {
            return false;
        };
        let held_s = at.saturating_sub(last) as f64 / self.rate_hz;
        !self.released && (0.6 * shortest..=1.6 * longest).contains(&held_s)
    }

    /// The filter may have caught a later blow of the same click: then the sound
    /// has begun before, and its beginning is the mark.
    fn first_blow(
        &mut self,
        onset: u64,
        fit: &Fit,
        filtered: &History,
        fitter: &mut Fitter,
    ) -> Result<u64, EarError> {
        let span = |s: f64| (s * self.rate_hz) as usize;
        let lead = span(0.0065);
        filtered.copy(onset as i64 - lead as i64, &mut self.pick);
        let power = |from: usize, to: usize| {
            self.pick[from..to]
                .iter()
                .map(|v| f64::from(*v) * f64::from(*v))
                .sum::<f64>()
                / (to - from).max(1) as f64
        };
        let quiet = power(0, lead - span(0.003)).max(PICK_FLOOR);
        let just_before = power(lead - span(0.0025), lead - span(0.00015).max(1));
        if just_before < 1.6 * quiet {
            return Ok(onset);
        }
        // The waveform decides: what comes before may be talk, or a codec's pre-echo.
        let earlier = onset.saturating_sub(span(0.0013) as u64);
        fitter.load(filtered, earlier)?;
        let again = fitter.fit(&self.press, span(0.0011))?;
        let shifted = (earlier as f64 + f64::from(again.shift)).round().max(0.0) as u64;
        if again.gain.abs() > 0.5 * fit.gain.abs() && again.coherence > FIRST_BLOW * fit.coherence {
            return Ok(shifted);
        }
        // Later blows come when they like: then the first blow alone decides.
        let until = (lead + span(0.0005)).min(self.pick.len());
        if just_before > 4.0 * quiet
            && let Some((k, _)) = aic_onset(&self.pick[..until], PICK_FLOOR)
            && k + span(0.0002) < lead
        {
            let picked = (onset as i64 - lead as i64 + k as i64).max(0) as u64;
            fitter.turn_to(filtered, picked);
            let first = fitter.early(&self.press);
            fitter.turn_to(filtered, onset);
            if first > FIRST_EARLY && first > fitter.early(&self.press) - EARLY_MARGIN {
                let agrees = shifted.abs_diff(picked) < span(0.00025) as u64;
                return Ok(if agrees { shifted } else { picked });
            }
        }
        Ok(onset)
    }

    /// Whether the print of a press that was accepted with this confidence bears it out:
    /// the two kinds of evidence are added up.
    pub fn bears_out(&self, print: &Print, confidence: f32) -> bool {
        let Some(own) = &self.prints else {
            return true;
        };
        let logit = (confidence / (1.0 - confidence).max(1e-6)).ln();
        let more = print.alike_in_noise(&own.press) - (own.alike - DOUBTED_LESS_ALIKE);
        logit + PRINT_WEIGHT * print.clearness(&own.press) * more > 0.0
    }

    /// What a bang at `at` is, by its print and what is left of the waveform.
    pub fn judge_print(
        &mut self,
        at: u64,
        print: &Print,
        filtered: &History,
        fitter: &mut Fitter,
    ) -> Result<Verdict, EarError> {
        let Some(own) = &self.prints else {
            return Ok(Verdict::Nothing);
        };
        let alike = print.alike_in_noise(&own.press);
        let released = own.release.map_or(-1.0, |r| print.alike_in_noise(&r));
        let bar = own.alike - RESCUED_LESS_ALIKE;
        if alike.max(released) < bar {
            return Ok(Verdict::Nothing);
        }
        let Best { fit, onset, .. } = best_fit(&self.press, at, self.back, filtered, fitter)?;
        if alike < bar || alike < released + MORE_LIKE_PRESS || self.is_after_press(onset, &fit) {
            return Ok(Verdict::Release(at));
        }
        if fit.coherence < RESCUED_COHERENCE * self.typical.coherence {
            return Ok(Verdict::Nothing);
        }
        self.released = false;
        self.last_press = Some((onset, fit.gain.abs()));
        Ok(Verdict::Press(Press {
            at: onset,
            score: RESCUED_SCORE,
            u_samples: (fit.u_shift.powi(2) + 1.0 / 12.0).sqrt(),
        }))
    }

    /// Whether a fit is the echo of the last press, or the dome going back: soon after it
    /// and weaker, or not as it should be.
    fn is_after_press(&self, onset: u64, fit: &Fit) -> bool {
        self.last_press.is_some_and(|(last, gain)| {
            let apart_s = onset.saturating_sub(last) as f64 / self.rate_hz;
            let gain = fit.gain.abs() / gain.max(1e-20);
            let half_hearted = fit.coherence < HALF_HEARTED * self.typical.coherence;
            onset >= last
                && (apart_s < ECHO_S && gain < ECHO_GAIN
                    || apart_s < SOON_S && (gain < SOON_GAIN || half_hearted && gain < ECHO_GAIN))
        })
    }

    /// Whether a bang at `at` is this clicker going back after a press.
    pub fn is_release(
        &mut self,
        at: u64,
        filtered: &History,
        fitter: &mut Fitter,
    ) -> Result<bool, EarError> {
        let (Some((last, _)), Some(shape)) = (self.last_press, &self.release) else {
            return Ok(false);
        };
        if at <= last || (at - last) as f64 > LONGEST_HELD_S * self.rate_hz {
            return Ok(false);
        }
        fitter.load(filtered, at)?;
        let fit = fitter.fit(shape, fitter.widest())?;
        let is_release =
            fit.coherence > 0.5 || (fit.coherence > 0.35 && fitter.spread_db(shape, &fit)? < 6.5);
        self.released |= is_release;
        Ok(is_release)
    }
}
