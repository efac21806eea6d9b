//! Learning a click from a recording of about ten: press and release are told
//! apart by themselves, what does not belong is left out, what cannot be
//! learned from is refused with a reason.

mod families;
mod lesson;
mod mean;
mod roles;
mod sounds;

pub use self::lesson::{ClickLesson, ClickSaid};
use self::roles::Role;
use self::sounds::Lesson;
use super::heard::{bang_view, click_view, low_over_high};
use super::level::FULL_SCALE;
use super::profile::{ClickProfile, PROFILE_VERSION};
use super::{Ear, EarError, Heard};

/// Fewest presses that make a profile.
pub const FEWEST_CLICKS: usize = 6;
/// Fewest sounds alike that are looked at as a family.
const FEWEST_ALIKE: usize = 4;
/// A release comes at most this long after its press, in seconds.
pub(super) const LONGEST_HELD_S: f64 = 0.7;
/// A sound must stand this far over the noise to be learned from, in dB.
pub(super) const LEAST_OVER_NOISE_DB: f64 = 15.0;
/// Two examples of one sound correlate at least this well.
const LEAST_ALIKE: f64 = 0.35;
/// The lower quartile of the examples must fit their mean this well.
const LEAST_AGREEMENT: f64 = 0.40;
/// Where it fits less well than this, the prints must be as alike as the next: recorded
/// lessons through codecs and rooms were at 0.79 and more.
const FAIR_AGREEMENT: f64 = 0.6;
const LEAST_PRINTS_ALIKE: f64 = 0.75;
/// A click's print has died away by this much 20 to 28 ms after its onset, in dB, also in
/// a live room.
const LEAST_DECAY_DB: f32 = 2.5;
/// Where it hardly fits, there must be at least so many examples, and their prints must be
/// more alike still.
const POOR_AGREEMENT: f64 = 0.45;
const FEW: usize = 8;
const GOOD_PRINTS_ALIKE: f64 = 0.84;

/// Why a recording cannot be learned from.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TeachError {
    /// Nothing, or too little, stood out.
    #[error(
        "only {found} clicks were found, {FEWEST_CLICKS} or more are needed: record about ten clicks, one a second or slower, nothing else in between"
    )]
    TooFew {
        /// Presses found.
        found: usize,
    },
    /// The sounds do not belong together.
    #[error(
        "the clicks are too unlike one another (agreement {agreement:.2}, at least {LEAST_AGREEMENT:.2} is needed): use one clicker, press it the same way each time, keep the microphone still, in a quiet room"
    )]
    TooUnlike {
        /// Lower quartile of the coherence with the mean.
        agreement: f64,
    },
    /// The sounds that are alike last, as notes and calls do.
    #[error(
        "the sounds that are alike sound on as notes or calls do, and are no clicks: record ten clicks alone, one a second"
    )]
    SoundsOn,
    /// No pause ends the lesson at a recording's beginning.
    #[error(
        "no pause after the first clicks was found: click ten times, wait three seconds or more, then begin the drill"
    )]
    NoPause,
    /// Other sounds, as loud as the clicks, are more than they.
    #[error(
        "{alike} sounds are alike, and {others} others lie between them: record the clicks alone, ten of them, without talk, music or other noise"
    )]
    Crowded {
        /// Sounds that are alike.
        alike: usize,
        /// Other sounds that stand out.
        others: usize,
    },
    /// The recording is overdriven and the clicks are unlike one another by it.
    #[error(
        "{clipped} of {of} clicks are clipped: move the microphone away or turn its level down, then record again"
    )]
    Clipped {
        /// Presses with flattened peaks.
        clipped: usize,
        /// All presses.
        of: usize,
    },
    /// The clicks hardly stand out.
    #[error(
        "the clicks stand only {over_noise_db:.0} dB over the noise, {LEAST_OVER_NOISE_DB:.0} dB are needed: come nearer to the microphone or find a quieter room"
    )]
    TooNoisy {
        /// Typical peak over noise RMS, in dB.
        over_noise_db: f64,
    },
    /// The ear itself could not work.
    #[error(transparent)]
    Ear(#[from] EarError),
}

/// A profile and what was heard while making it.
#[derive(Debug, Clone, PartialEq)]
pub struct Taught {
    /// The profile.
    pub profile: ClickProfile,
    /// First samples of the presses that were used.
    pub presses: Vec<u64>,
    /// First samples of the releases.
    pub releases: Vec<u64>,
    /// First samples of sounds that were left out as unlike both.
    pub left_out: Vec<u64>,
    /// How many of the presses that were found are overdriven.
    pub clipped: usize,
}

/// Learns a click called `name` from `samples` at `rate_hz`.
///
/// Cost: a few passes over the samples. Silence, a single sample or an hour of
/// talk are refused with a reason.
pub fn teach_click(name: &str, samples: &[f32], rate_hz: u32) -> Result<Taught, TeachError> {
    let view = click_view(samples, f64::from(rate_hz));
    let bangs = bang_view(samples, f64::from(rate_hz));
    let mut lesson = Lesson {
        samples,
        view: &view,
        bangs: &bangs,
        rate_hz: f64::from(rate_hz),
        noise: 0.0,
    };
    lesson.noise = lesson.noise_rms();
    let sounds = lesson.sounds()?;
    let alike = families::likenesses(&sounds);
    let families = families::families(&sounds, &alike, lesson.rate_hz, FEWEST_ALIKE);
    let mut roles = lesson.roles_by_family(&sounds, &families);
    for _ in 0..3 {
        roles = lesson.roles_by_likeness(&sounds, &roles);
    }
    let of = |role: Role| -> Vec<u64> {
        sounds
            .iter()
            .zip(&roles)
            .filter(|(_, r)| **r == role)
            .map(|(s, _)| s.at)
            .collect()
    };
    let (presses, releases, left_out) = (of(Role::Press), of(Role::Release), of(Role::Neither));
    if presses.len() < FEWEST_CLICKS {
        return Err(TeachError::TooFew {
            found: presses.len(),
        });
    }
    if lesson.others_as_loud(&presses, &left_out) > presses.len() {
        return Err(TeachError::Crowded {
            alike: presses.len(),
            others: left_out.len(),
        });
    }
    let (clipped, clear): (Vec<u64>, Vec<u64>) = presses
        .iter()
        .partition(|at| is_clipped(samples, **at, lesson.rate_hz));
    let (clipped, of) = (clipped.len(), presses.len());
    // Where enough are not overdriven, they are the lesson.
    let presses = if clear.len() >= FEWEST_CLICKS {
        clear
    } else {
        presses
    };
    let over_noise_db = median(presses.iter().map(|at| lesson.over_noise_db(*at)).collect());
    if over_noise_db < LEAST_OVER_NOISE_DB {
        return Err(TeachError::TooNoisy { over_noise_db });
    }
    let (press, onsets, lead) = lesson.mean(&presses);
    // Some may be so unlike the mean that they were left out of it.
    if onsets.len() < FEWEST_CLICKS {
        return Err(TeachError::TooFew {
            found: onsets.len(),
        });
    }
    // Releases that are few or unlike one another teach nothing.
    let (release, release_print) = if releases.len() * 2 >= presses.len() {
        let (release, anchors, _) = lesson.mean(&releases);
        (release, lesson.mean_print(&anchors)?.0)
    } else {
        (Vec::new(), None)
    };
    let (print, prints_alike) = lesson.mean_print(&onsets)?;
    let held: Vec<f64> = onsets
        .iter()
        .filter_map(|p| {
            releases
                .iter()
                .find(|r| *r > p)
                .map(|r| (r - p) as f64 / lesson.rate_hz)
        })
        .filter(|s| *s < LONGEST_HELD_S)
        .collect();
    let held_s = if release.is_empty() || held.is_empty() {
        None
    } else {
        Some((
            held.iter().copied().fold(f64::MAX, f64::min),
            held.iter().copied().fold(0.0, f64::max),
        ))
    };
    let (agreement, spread_db) = lesson.agreement(&press, &onsets)?;
    let is_unlike = agreement < LEAST_AGREEMENT
        || agreement < FAIR_AGREEMENT && prints_alike < LEAST_PRINTS_ALIKE
        || agreement < POOR_AGREEMENT && (onsets.len() < FEW || prints_alike < GOOD_PRINTS_ALIKE);
    if is_unlike || lesson.are_two_kinds(&onsets) {
        return Err(if clipped * 2 > of {
            TeachError::Clipped { clipped, of }
        } else {
            TeachError::TooUnlike { agreement }
        });
    }
    if print.is_some_and(|print| print.decay_db() < LEAST_DECAY_DB) {
        return Err(TeachError::SoundsOn);
    }
    let level = median(
        onsets
            .iter()
            .map(|at| f64::from(lesson.peak(samples, *at)))
            .collect(),
    );
    Ok(Taught {
        profile: ClickProfile {
            lead_s: lead as f64 / lesson.rate_hz,
            print,
            release_print,
            prints_alike,
            version: PROFILE_VERSION,
            name: name.to_owned(),
            rate_hz,
            press,
            release,
            held_s,
            low_over_high_db: 10.0
                * onsets
                    .iter()
                    .map(|at| low_over_high(samples, &view, *at, f64::from(rate_hz)))
                    .fold(1e-6, f64::max)
                    .log10(),
            examples: onsets.len(),
            agreement,
            spread_db,
            level_dbfs: 20.0 * level.max(1e-10).log10(),
            over_noise_db,
        },
        presses: onsets.iter().map(|at| at.saturating_sub(lead)).collect(),
        releases,
        left_out,
        clipped,
    })
}

/// A lesson at the beginning of a recording ends with a pause of at least so many seconds.
const PAUSE_S: f64 = 2.5;

/// Learns a click from the beginning of a recording: about ten clicks, then a pause, then
/// what they are taught for. Gives the first sample after the lesson, too.
///
/// # Errors
/// As [`teach_click`], of the longest beginning that ends with a pause.
pub fn teach_at_beginning(
    name: &str,
    samples: &[f32],
    rate_hz: u32,
) -> Result<(Taught, u64), TeachError> {
    let mut ear = Ear::new(rate_hz, &[])?;
    let mut sounds = Vec::new();
    let mut keep = |heard: Heard| sounds.push(heard.at);
    ear.push(samples, &mut keep)?;
    ear.finish(&mut keep)?;
    if sounds.len() < FEWEST_CLICKS {
        return Err(TeachError::TooFew {
            found: sounds.len(),
        });
    }
    let pause = (PAUSE_S * f64::from(rate_hz)) as u64;
    let mut refused = TeachError::NoPause;
    for (k, pair) in sounds.windows(2).enumerate() {
        if pair[1] - pair[0] < pause || k + 1 < FEWEST_CLICKS {
            continue;
        }
        let until = u64::midpoint(pair[0], pair[1]);
        match teach_click(name, &samples[..until as usize], rate_hz) {
            Ok(taught) => return Ok((taught, until)),
            Err(error) => refused = error,
        }
    }
    Err(refused)
}

/// Whether the press at `at` touches the ends of the scale and stays there.
pub(super) fn is_clipped(samples: &[f32], at: u64, rate_hz: f64) -> bool {
    let from = (at as usize).min(samples.len());
    let to = (from + (0.008 * rate_hz).round() as usize).min(samples.len());
    let x = &samples[from..to];
    let top = x.iter().fold(0.0f32, |a, v| a.max(v.abs()));
    let flat = x
        .windows(3)
        .filter(|w| w.iter().all(|v| v.abs() >= 0.999 * top && *v * w[0] > 0.0))
        .count();
    top >= FULL_SCALE && (flat >= 1 || x.iter().filter(|v| v.abs() >= 0.999).count() >= 4)
}

fn median(mut x: Vec<f64>) -> f64 {
    x.sort_by(f64::total_cmp);
    x.get(x.len() / 2).copied().unwrap_or(0.0)
}
