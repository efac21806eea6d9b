//! How late a key is: the key is tapped so that the microphone hears the tap,
//! and the stamps are set against the sounds.

use std::fmt;

use crate::measure::median::median;
use crate::measure::running::Running;

/// Taps that must be matched before a delay is believed.
const ENOUGH: usize = 10;
/// The share of key presses that must have a tap, and only one.
const MATCHED: f64 = 0.8;
/// Delays that scatter by more than this (standard deviation in ms) are no
/// delay: nothing better than ±30 ms could come of it. A convention.
const MOST_JITTER_MS: f64 = 15.0;
/// A tap may be heard this long before its key is stamped, in ms; a cheap
/// wireless keyboard takes up to about 100 (common practice, no source).
const BEFORE_MS: f64 = 250.0;
/// Or this long after: the fingertip is heard at the key's bottom, which some
/// keys report on the way down.
const AFTER_MS: f64 = 30.0;

/// The delay of one device's key path.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct KeyPath {
    /// Median of stamp − sound in ms; positive means that the key is late.
    /// Subtract it from a hand's time.
    pub delay_ms: f64,
    /// Standard deviation of the delays in ms (divisor n − 1).
    pub jitter_ms: f64,
    /// Taps that were matched.
    pub taps: usize,
}

impl KeyPath {
    /// Standard uncertainty of one corrected press in ms: its jitter, and that
    /// of the delay itself (1.2533 jitter/√n, the standard error of a median of
    /// normal values).
    pub fn u_ms(&self) -> f64 {
        self.jitter_ms.hypot(self.delay_u_ms())
    }

    /// Standard uncertainty of the delay itself in ms.
    pub fn delay_u_ms(&self) -> f64 {
        1.2533 * self.jitter_ms / (self.taps.max(1) as f64).sqrt()
    }

    /// Whether its numbers can have been measured; a file may hold anything.
    pub fn is_usable(&self) -> bool {
        self.delay_ms.is_finite() && self.jitter_ms.is_finite() && self.jitter_ms >= 0.0
    }
}

/// Why no delay was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CalibrationError {
    /// Not enough presses had a tap of their own.
    TooFew {
        /// Presses matched.
        matched: usize,
    },
    /// Too many presses had no tap or more than one.
    Unmatched {
        /// Presses with just one tap.
        matched: usize,
        /// All presses.
        presses: usize,
    },
    /// The delays differ too much from one another.
    Disagree {
        /// Their standard deviation in ms.
        jitter_ms: f64,
    },
}

impl fmt::Display for CalibrationError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFew { matched } => write!(
                f,
                "Only {matched} taps could be used; {ENOUGH} are needed, twenty are better. Tap \
                 the key firmly, about once a second, with the microphone close to it."
            ),
            Self::Unmatched { matched, presses } => write!(
                f,
                "Only {matched} of {presses} presses had a tap of their own in the sound. Find a \
                 quieter place, put the microphone close to the key, and tap once a second."
            ),
            Self::Disagree { jitter_ms } => write!(
                f,
                "The delays scatter by {jitter_ms:.0} ms, at most {MOST_JITTER_MS:.0} are wanted. Tap \
                 with one finger from well above the key, so that the tap is the only sound, and \
                 close other programs."
            ),
        }
    }
}

impl std::error::Error for CalibrationError {}

/// The delay of each press that counts, in ms, from press times and the times of
/// the sounds heard, both in ms on the sound's clock, in order (NaN is passed
/// over). A press counts when exactly one sound lies from 250 ms before to 30 ms
/// after it and no other press claims it.
pub fn delays_ms(presses_ms: &[f64], sounds_ms: &[f64]) -> Vec<f64> {
    let near = |press: f64, sound: f64| (press - BEFORE_MS..=press + AFTER_MS).contains(&sound);
    presses_ms
        .iter()
        .filter_map(|&press| {
            let mut sounds = sounds_ms.iter().copied().filter(|&s| near(press, s));
            let sound = sounds.next()?;
            let claims = presses_ms.iter().filter(|&&p| near(p, sound)).count();
            (sounds.next().is_none() && claims == 1).then_some(press - sound)
        })
        .collect()
}

/// Finds the delay of a key path from the presses that count ([`delays_ms`]). At
/// least ten, and four in five of all presses, must count, and agree to 15 ms.
pub fn calibrate(presses_ms: &[f64], sounds_ms: &[f64]) -> Result<KeyPath, CalibrationError> {
    let delays = delays_ms(presses_ms, sounds_ms);
    let matched = delays.len();
    if matched < ENOUGH {
        return Err(CalibrationError::TooFew { matched });
    }
    let presses = presses_ms.iter().filter(|t| t.is_finite()).count();
    if (matched as f64) < MATCHED * presses as f64 {
        return Err(CalibrationError::Unmatched { matched, presses });
    }
    let mut spread = Running::default();
    delays.iter().for_each(|d| spread.push(*d));
    let (Some(delay_ms), Some(jitter_ms)) = (median(&delays), spread.sd_n1()) else {
        return Err(CalibrationError::TooFew { matched });
    };
    if jitter_ms > MOST_JITTER_MS {
        return Err(CalibrationError::Disagree { jitter_ms });
    }
    Ok(KeyPath {
        delay_ms,
        jitter_ms,
        taps: matched,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn every_second(n: usize) -> Vec<f64> {
        (0..n).map(|k| 1_000.0 * (k + 1) as f64).collect()
    }

    #[test]
    fn finds_the_delay_and_its_spread() {
        let sounds = every_second(10);
        // By hand: delays 20 22 24 ... 38; median 29; variance of ten numbers
        // 2 apart = 4·(10²−1)/12·10/9 = 36.67.
        let presses: Vec<f64> = (0..10).map(|k| sounds[k] + 20.0 + 2.0 * k as f64).collect();
        let path = calibrate(&presses, &sounds).unwrap();
        assert_eq!((path.delay_ms, path.taps), (29.0, 10));
        assert!((path.jitter_ms - (110.0f64 / 3.0).sqrt()).abs() < 1e-9);
        assert!((path.u_ms() - 6.055_3 * (1.0f64 + 1.2533 * 1.2533 / 10.0).sqrt()).abs() < 1e-3);
    }

    #[test]
    fn sounds_without_a_press_do_no_harm() {
        let mut sounds = every_second(20);
        let presses: Vec<f64> = sounds.iter().map(|s| s + 12.0).collect();
        sounds.extend((0..20).map(|k| 1_500.0 + 1_000.0 * f64::from(k)));
        sounds.sort_by(f64::total_cmp);
        assert_eq!(calibrate(&presses, &sounds).unwrap().delay_ms, 12.0);
    }

    #[test]
    fn refuses_too_few_and_unmatched() {
        let sounds = every_second(9);
        assert_eq!(
            calibrate(&sounds, &sounds),
            Err(CalibrationError::TooFew { matched: 9 })
        );
        assert_eq!(
            calibrate(&[], &[]),
            Err(CalibrationError::TooFew { matched: 0 })
        );
        let presses = every_second(20);
        let unmatched = CalibrationError::Unmatched {
            matched: 12,
            presses: 20,
        };
        assert_eq!(calibrate(&presses, &presses[..12]), Err(unmatched));
    }

    #[test]
    fn a_press_with_two_sounds_and_two_presses_on_one_sound_are_left_out() {
        let mut presses = every_second(14);
        let mut sounds = presses.clone();
        sounds.insert(1, 1_020.0); // the first press has two
        presses.push(14_100.0); // the last sound has two
        let path = calibrate(&presses, &sounds).unwrap();
        assert_eq!((path.taps, path.delay_ms, path.jitter_ms), (12, 0.0, 0.0));
    }

    #[test]
    fn delays_that_disagree_are_refused() {
        let sounds = every_second(20);
        // 20 and 60 ms in turn: 20.5 ms about their mean.
        let late = |k: usize| if k.is_multiple_of(2) { 20.0 } else { 60.0 };
        let presses: Vec<f64> = (0..20).map(|k| sounds[k] + late(k)).collect();
        let error = calibrate(&presses, &sounds).unwrap_err();
        assert!(
            matches!(error, CalibrationError::Disagree { jitter_ms } if (jitter_ms - 20.52).abs() < 0.01)
        );
        assert!(error.to_string().contains("scatter by 21 ms"), "{error}");
    }
}
