//! Learning a word from a handful of takes.

use super::cues::Usual;
use super::edge::{agree, of_take};
use super::expect::{count_found, learn_from_talk, learn_usual, scores, set_bar};
use super::frames::{Powers, all_powers};
use super::noise::total;
use super::profile::{
    Expects, FEWEST_FRAMES, Kind, MOST_FRAMES, Take, WORD_PROFILE_VERSION, WordProfile,
};
use super::rate::to_16k;
use super::takes::{Cut, TakeFault, TakeReport, cut, is_clipped, leave_out_unlike};
use super::{BANDS, HOP};
use crate::ear::EarError;

/// Fewest good takes.
pub const FEWEST_TAKES: usize = 5;
/// Most takes that are kept; more make it slower, not surer.
const MOST_TAKES: usize = 12;
/// Takes farther apart than this are not one word (distance of nearest takes; the
/// takes of voices it was set on lie under 5).
const MOST_APART: f32 = 7.5;
/// Takes that fall into two groups this many times farther from each other than
/// within are two words (one word of the tune set's voices: 1.24 at most; four and
/// four takes of two words: 1.9 and more).
const TWO_WORDS: f32 = 2.0;
/// Takes that are closer than voices' takes are (2.4 and more) count as this far
/// apart: the next one will be.
const LEAST_APART: f32 = 2.0;
/// The quieter part of a lesson is its background.
const QUIET: f64 = 0.4;

/// Why a word cannot be learned.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum WordTeachError {
    /// Fewer than five good takes.
    #[error("{}", too_few(.good, .takes))]
    TooFew {
        /// Good takes.
        good: usize,
        /// All that were found.
        takes: Vec<TakeReport>,
    },
    /// The takes are not one word.
    #[error(
        "the takes are too unlike one another (agreement {agreement:.2}): say one word, the same way each time, in a quiet room, with a pause of a second between takes"
    )]
    TooUnlike {
        /// 0 to 1.
        agreement: f64,
        /// All that were found.
        takes: Vec<TakeReport>,
    },
    /// The takes are of two words.
    #[error(
        "the takes fall into two groups that sound different: say one word only, the same way each time"
    )]
    TwoWords {
        /// All that were found.
        takes: Vec<TakeReport>,
    },
    /// The ear could not work.
    #[error(transparent)]
    Ear(#[from] EarError),
}

fn too_few(good: &usize, takes: &[TakeReport]) -> String {
    let mut text = format!(
        "only {good} good takes of a word were found, {FEWEST_TAKES} or more are needed: say the word eight to ten times as you do at work, with a pause of a second after each"
    );
    let bad = takes.iter().filter_map(|t| t.fault.map(|f| (t.at_s, f)));
    for (k, (at_s, fault)) in bad.enumerate() {
        if k == 12 {
            text.push_str("\n  and more");
            break;
        }
        text.push_str(&format!("\n  at {at_s:.1} s: {fault}"));
    }
    text
}

/// A word profile and what was heard while making it.
#[derive(Debug, Clone, PartialEq)]
pub struct TaughtWord {
    /// The profile.
    pub profile: WordProfile,
    /// Every sound of the lesson, in order of time.
    pub takes: Vec<TakeReport>,
}

/// Learns a word called `name` from `samples` at `rate_hz` (8 to 192 kHz), and
/// from `talk`, the same trainer's other talk with its own rate, what it is not.
pub fn teach_word(
    name: &str,
    samples: &[f32],
    rate_hz: u32,
    talk: Option<(&[f32], u32)>,
) -> Result<TaughtWord, WordTeachError> {
    for rate in [Some(rate_hz), talk.map(|t| t.1)].into_iter().flatten() {
        if !(8_000..=192_000).contains(&rate) {
            return Err(EarError::Rate(rate).into());
        }
    }
    let sound = to_16k(samples, f64::from(rate_hz));
    let frames = all_powers(&sound)?;
    let top = samples
        .iter()
        .filter(|v| v.is_finite())
        .fold(0.0f32, |a, v| a.max(v.abs()));
    let place = |s: f64| ((s * f64::from(rate_hz)) as usize).min(samples.len());
    let mut cuts = cut(&sound, &frames, |from_s, to_s| {
        is_clipped(&samples[place(from_s)..place(to_s).max(place(from_s))], top)
    });
    let spread = leave_out_unlike(&mut cuts, &frames);
    settle_onsets(&mut cuts, &sound);
    let takes: Vec<TakeReport> = cuts.iter().map(|c| c.report).collect();
    let good: Vec<_> = cuts.iter().filter(|c| c.report.fault.is_none()).collect();
    if good.len() < FEWEST_TAKES {
        return Err(WordTeachError::TooFew {
            good: good.len(),
            takes,
        });
    }
    let own = median(spread.nearest);
    if spread.parted > TWO_WORDS {
        return Err(WordTeachError::TwoWords { takes });
    }
    let agreement = f64::from((-own / MOST_APART * std::f32::consts::LN_2).exp());
    if own > MOST_APART || 2 * good.len() < takes.len() {
        return Err(WordTeachError::TooUnlike { agreement, takes });
    }
    let peaks = good
        .iter()
        .map(|c| {
            let x = &sound[c.onset..(c.to * HOP).clamp(c.onset, sound.len())];
            x.iter().fold(1e-6f32, |a, v| a.max(v.abs()))
        })
        .collect();
    let kept: Vec<&Cut> = good.iter().copied().take(MOST_TAKES).collect();
    let mut profile = WordProfile {
        version: WORD_PROFILE_VERSION,
        kind: Kind::Word,
        name: name.to_owned(),
        rate_hz,
        counts_in_praise: false,
        takes: kept
            .iter()
            .map(|c| {
                let onset = (c.onset - c.from * HOP) as u32;
                Take::new(onset, &frames[c.from..c.to], &of_take(&sound, c.onset))
            })
            .collect(),
        own: own.max(LEAST_APART),
        agreement,
        bar: f32::MAX,
        usual: vec![Usual::around(own.max(LEAST_APART))],
        against: Vec::new(),
        noise_db: Vec::new(),
        expects: Expects { found: 0, tried: 0 },
        talk: None,
        level_dbfs: f64::from(20.0 * median(peaks).log10()),
        over_noise_db: f64::from(median(
            good.iter().map(|c| c.report.over_noise_db).collect(),
        )),
    };
    profile.set_noise(&background(&frames));
    learn_usual(&mut profile, &kept, &sound)?;
    let mut left_out = scores(&profile, &kept, &sound)?;
    set_bar(&mut profile, &left_out);
    if let Some((talk, rate_hz)) = talk {
        learn_from_talk(&mut profile, &left_out, talk, rate_hz)?;
        left_out = scores(&profile, &kept, &sound)?;
    }
    count_found(&mut profile, &left_out);
    // What cannot be listened for is not taught.
    profile.check()?;
    Ok(TaughtWord { profile, takes })
}

/// Gives the good takes onsets that agree with one another, and lets all begin as
/// long before theirs.
fn settle_onsets(cuts: &mut [Cut], sound: &[f32]) {
    let mut good: Vec<&mut Cut> = cuts
        .iter_mut()
        .filter(|c| c.report.fault.is_none())
        .collect();
    let onsets: Vec<usize> = good.iter().map(|c| c.onset).collect();
    for (cut, onset) in good.iter_mut().zip(agree(sound, &onsets)) {
        settle(cut, onset);
    }
}

/// Gives a take its onset. What is left of it may then be no word any more.
fn settle(cut: &mut Cut, onset: usize) {
    cut.onset = onset.min((cut.to - 1) * HOP);
    cut.from = (cut.onset / HOP).saturating_sub(1);
    cut.report.fault = match cut.to - cut.from {
        ..FEWEST_FRAMES => Some(TakeFault::TooShort),
        n if n > MOST_FRAMES => Some(TakeFault::TooLong),
        _ => cut.report.fault,
    };
}

/// Mean power in each band of the quieter frames of a lesson.
fn background(frames: &[Powers]) -> Powers {
    let mut levels: Vec<f32> = frames.iter().map(|p| total(p, BANDS)).collect();
    levels.sort_by(f32::total_cmp);
    let k = (QUIET * levels.len() as f64) as usize;
    let bar = levels.get(k).copied().unwrap_or(0.0);
    let quiet: Vec<&Powers> = frames.iter().filter(|p| total(p, BANDS) <= bar).collect();
    std::array::from_fn(|b| quiet.iter().map(|p| p[b]).sum::<f32>() / quiet.len().max(1) as f32)
}

fn median(mut x: Vec<f32>) -> f32 {
    x.sort_by(f32::total_cmp);
    x.get(x.len() / 2).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A take as it was cut, of 40 frames, whose onset is then settled elsewhere.
    fn settled(onset: usize, to: usize) -> Option<TakeFault> {
        let mut cut = Cut {
            from: 100,
            to,
            onset: 101 * HOP,
            report: TakeReport {
                at_s: 1.0,
                length_s: 0.4,
                over_noise_db: 30.0,
                fault: None,
            },
        };
        settle(&mut cut, onset);
        cut.report.fault
    }

    #[test]
    fn a_take_that_is_no_word_once_its_onset_is_settled_is_refused() {
        assert_eq!(settled(101 * HOP, 140), None);
        assert_eq!(settled(135 * HOP, 140), None, "six frames");
        assert_eq!(settled(136 * HOP, 140), Some(TakeFault::TooShort));
        assert_eq!(settled(21 * HOP, 140), None, "120 frames");
        assert_eq!(settled(20 * HOP, 140), Some(TakeFault::TooLong));
    }
}
