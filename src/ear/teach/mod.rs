//! Learning a click from a recording of about ten: press and release are told
//! apart by themselves, what does not belong is left out, what cannot be
//! learned from is refused with a reason.

use super::fit::Fitter;
use super::heard::{click_view, low_over_high};
use super::history::History;
use super::level::FULL_SCALE;
use super::profile::{AFTER_S, BEFORE_S, ClickProfile, PROFILE_VERSION};
use super::{Ear, EarError};

/// Fewest presses that make a profile.
pub const FEWEST_CLICKS: usize = 6;
/// Most sounds that are looked at; the strongest are kept.
const MOST_SOUNDS: usize = 120;
/// A release comes at most this long after its press, in seconds.
pub(super) const LONGEST_HELD_S: f64 = 0.7;
/// Sounds closer than this are one sound and its echo, in seconds.
const SAME_S: f64 = 0.025;
/// A sound must stand this far over the noise to be learned from, in dB.
pub(super) const LEAST_OVER_NOISE_DB: f64 = 15.0;
/// Onsets are this exact before they are aligned on one another, in seconds:
/// less than the time between the blows of one click.
const ALIGN_S: f64 = 0.0004;
/// Two examples of one sound correlate at least this well.
const LEAST_ALIKE: f64 = 0.35;
/// A press that follows a press with no release between is this much less likely
/// to be one (correlation).
const UNRELEASED: f64 = 0.2;
/// A click is over after this time, in seconds; what rings or sounds on until
/// the later time with more than this part of its power is none (−8 dB; a room's
/// echo is some 15 dB down).
const OVER_S: (f64, f64) = (0.012, 0.028);
const HEAD_S: f64 = 0.006;
const SOUNDS_ON: f64 = 0.16;
/// Presses whose two halves are this much less alike across than within are two
/// clickers (part of the mean correlation; of sixty made-up clickers alone none
/// was under 0.53, two in turn are mostly under 0.5).
const TWO_KINDS: f64 = 0.5;
/// So many presses are compared one by one.
const MOST_COMPARED: usize = 24;
/// The lower quartile of the examples must fit their mean this well.
const LEAST_AGREEMENT: f64 = 0.40;

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
    /// The recording is overdriven.
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
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Role {
    Press,
    Release,
    Neither,
}

/// Learns a click called `name` from `samples` at `rate_hz`.
///
/// Cost: a few passes over the samples. Silence, a single sample or an hour of
/// talk are refused with a reason.
pub fn teach_click(name: &str, samples: &[f32], rate_hz: u32) -> Result<Taught, TeachError> {
    let view = click_view(samples, f64::from(rate_hz));
    let mut lesson = Lesson {
        samples,
        view: &view,
        rate_hz: f64::from(rate_hz),
        noise: 0.0,
    };
    lesson.noise = lesson.noise_rms();
    let sounds = lesson.sounds(rate_hz)?;
    let mut roles = lesson.roles_by_rhythm(&sounds);
    for _ in 0..3 {
        roles = lesson.roles_by_likeness(&sounds, &roles);
    }
    let of = |role: Role| -> Vec<u64> {
        sounds
            .iter()
            .zip(&roles)
            .filter(|(_, r)| **r == role)
            .map(|(s, _)| *s)
            .collect()
    };
    let (presses, releases, left_out) = (of(Role::Press), of(Role::Release), of(Role::Neither));
    if presses.len() < FEWEST_CLICKS {
        return Err(TeachError::TooFew {
            found: presses.len(),
        });
    }
    let clipped = presses
        .iter()
        .filter(|at| is_clipped(samples, **at, lesson.rate_hz))
        .count();
    if clipped * 5 > presses.len() {
        return Err(TeachError::Clipped {
            clipped,
            of: presses.len(),
        });
    }
    let over_noise_db = median(presses.iter().map(|at| lesson.over_noise_db(*at)).collect());
    if over_noise_db < LEAST_OVER_NOISE_DB {
        return Err(TeachError::TooNoisy { over_noise_db });
    }
    let (press, onsets) = lesson.mean(&presses);
    // Some may be so unlike the mean that they were left out of it.
    if onsets.len() < FEWEST_CLICKS {
        return Err(TeachError::TooFew {
            found: onsets.len(),
        });
    }
    // Releases that are few or unlike one another teach nothing.
    let release = if releases.len() * 2 >= presses.len() {
        lesson.mean(&releases).0
    } else {
        Vec::new()
    };
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
    if agreement < LEAST_AGREEMENT || lesson.are_two_kinds(&onsets) {
        return Err(TeachError::TooUnlike { agreement });
    }
    let level = median(
        onsets
            .iter()
            .map(|at| f64::from(lesson.peak(samples, *at)))
            .collect(),
    );
    Ok(Taught {
        profile: ClickProfile {
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
        presses: onsets,
        releases,
        left_out,
    })
}

struct Lesson<'a> {
    samples: &'a [f32],
    view: &'a [f32],
    rate_hz: f64,
    noise: f64,
}

impl Lesson<'_> {
    fn span(&self, s: f64) -> usize {
        (s * self.rate_hz).round() as usize
    }

    /// RMS of the quieter half of the recording, in the click view.
    fn noise_rms(&self) -> f64 {
        let block = self.span(0.01).max(1);
        let powers: Vec<f64> = self
            .view
            .chunks(block)
            .map(|c| c.iter().map(|v| f64::from(*v) * f64::from(*v)).sum::<f64>() / c.len() as f64)
            .collect();
        median(powers).sqrt()
    }

    fn peak(&self, x: &[f32], at: u64) -> f32 {
        let from = (at as usize).min(x.len());
        let to = (from + self.span(0.008)).min(x.len());
        x[from..to].iter().fold(0.0, |a, v| a.max(v.abs()))
    }

    fn over_noise_db(&self, at: u64) -> f64 {
        20.0 * (f64::from(self.peak(self.view, at)) / self.noise.max(1e-9))
            .max(1e-9)
            .log10()
    }

    /// Whether the sound at `at` is over as soon as a click is, what was there
    /// before it taken off.
    fn is_short(&self, at: u64) -> bool {
        let power = |from: usize, to: usize| {
            let x = &self.view[from.min(self.view.len())..to.min(self.view.len())];
            let sum: f64 = x.iter().map(|v| f64::from(*v) * f64::from(*v)).sum();
            sum / x.len().max(1) as f64
        };
        let (at, span) = (at as usize, |s: f64| self.span(s));
        let before = power(
            at.saturating_sub(span(0.012)),
            at.saturating_sub(span(0.002)),
        );
        let noise = before.min(self.noise * self.noise);
        let head = power(at, at + span(HEAD_S));
        let later = power(at + span(OVER_S.0), at + span(OVER_S.1));
        later - noise <= SOUNDS_ON * (head - noise)
    }

    /// Short sounds that stand out, in order of time, each with its exact onset.
    fn sounds(&self, rate_hz: u32) -> Result<Vec<u64>, TeachError> {
        let mut ear = Ear::new(rate_hz, &[])?;
        let mut sounds = Vec::new();
        let mut keep = |heard: super::Heard| sounds.push(heard.at);
        ear.push(self.samples, &mut keep)?;
        ear.finish(&mut keep)?;
        let mut strong: Vec<(u64, f32)> = sounds
            .into_iter()
            .filter(|at| {
                self.over_noise_db(*at) > 10.0
                    && (self.is_short(*at) || is_clipped(self.samples, *at, self.rate_hz))
            })
            .map(|at| (at, self.peak(self.view, at)))
            .collect();
        strong.sort_by(|a, b| b.1.total_cmp(&a.1));
        let near = self.span(SAME_S) as u64;
        let mut kept: Vec<u64> = Vec::new();
        for (at, _) in strong {
            if kept.len() < MOST_SOUNDS && kept.iter().all(|k| k.abs_diff(at) > near) {
                kept.push(at);
            }
        }
        kept.sort_unstable();
        Ok(kept)
    }

    /// First guess: a sound after a longer gap than it leaves is a press, the one
    /// after the shorter gap its release.
    fn roles_by_rhythm(&self, sounds: &[u64]) -> Vec<Role> {
        let longest = self.span(LONGEST_HELD_S) as u64;
        let gap = |k: usize| {
            if k == 0 {
                u64::MAX
            } else {
                sounds[k] - sounds[k - 1]
            }
        };
        (0..sounds.len())
            .map(|k| {
                let before = gap(k);
                let after = if k + 1 < sounds.len() {
                    gap(k + 1)
                } else {
                    u64::MAX
                };
                if before <= longest && before < after {
                    Role::Release
                } else {
                    Role::Press
                }
            })
            .collect()
    }

    /// Each sound goes to the group whose mean it correlates with more, as far as
    /// a dome can move: it goes back only after it was pressed.
    fn roles_by_likeness(&self, sounds: &[u64], roles: &[Role]) -> Vec<Role> {
        let group = |role: Role| -> Vec<u64> {
            sounds
                .iter()
                .zip(roles)
                .filter(|(_, r)| **r == role)
                .map(|(s, _)| *s)
                .collect()
        };
        let (presses, releases) = (group(Role::Press), group(Role::Release));
        if presses.len() < 2 {
            return roles.to_vec();
        }
        let press = self.centre(&presses);
        let release = if releases.len() >= 2 {
            self.centre(&releases)
        } else {
            Vec::new()
        };
        let alike: Vec<(f64, f64)> = sounds
            .iter()
            .map(|at| {
                let p = self.likeness(&press, *at).0;
                let r = if release.is_empty() {
                    0.0
                } else {
                    self.likeness(&release, *at).0
                };
                (p, r)
            })
            .collect();
        self.likeliest_order(sounds, &alike)
    }

    /// Of all the ways to name the sounds press, release or neither, in which a
    /// release comes at most [`LONGEST_HELD_S`] after its press (or first of all,
    /// before any press), the one with the largest sum of likenesses.
    fn likeliest_order(&self, sounds: &[u64], alike: &[(f64, f64)]) -> Vec<Role> {
        let longest = self.span(LONGEST_HELD_S) as u64;
        // Best sum over sounds 0..=k with sound k named, over what neither gets,
        // and the named sound before it.
        type Way = (f64, Option<(usize, Role)>);
        let mut ways: Vec<[Way; 2]> = Vec::with_capacity(sounds.len());
        let better = |a: Way, b: Way| if b.0 > a.0 { b } else { a };
        for (k, (p, r)) in alike.iter().enumerate() {
            let (p, r) = (p - LEAST_ALIKE, r - LEAST_ALIKE);
            let mut press = (p, None);
            let mut release = (if k == 0 { r } else { f64::MIN }, None);
            for (j, [pressed, released]) in ways.iter().enumerate() {
                let held = sounds[k] - sounds[j] <= longest;
                let pressed_again = pressed.0 + p - if held { UNRELEASED } else { 0.0 };
                press = better(press, (pressed_again, Some((j, Role::Press))));
                press = better(press, (released.0 + p, Some((j, Role::Release))));
                if held {
                    release = better(release, (pressed.0 + r, Some((j, Role::Press))));
                }
            }
            ways.push([press, release]);
        }
        let mut roles = vec![Role::Neither; sounds.len()];
        let ends = ways.iter().enumerate().flat_map(|(k, [press, release])| {
            [(press.0, (k, Role::Press)), (release.0, (k, Role::Release))]
        });
        let mut at = ends
            .filter(|(sum, _)| *sum > 0.0)
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, end)| end);
        while let Some((k, role)) = at {
            roles[k] = role;
            at = ways[k][usize::from(role == Role::Release)].1;
        }
        roles
    }

    /// The stretch of the click view around `at`, 1 ms before to 11 ms after.
    fn cut(&self, at: i64) -> Vec<f32> {
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
    fn likeness(&self, template: &[f32], at: u64) -> (f64, i64) {
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
    fn centre(&self, group: &[u64]) -> Vec<f32> {
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
    fn average(&self, template: &[f32], group: &[u64]) -> (Vec<f32>, Vec<u64>) {
        let mut sum = vec![0.0f64; template.len()];
        let mut places = Vec::new();
        for at in group {
            let (r, shift) = self.likeness(template, *at);
            if r < LEAST_ALIKE {
                continue;
            }
            let place = at.saturating_add_signed(shift);
            let x = self.cut(place as i64);
            let scale = 1.0
                / x.iter()
                    .map(|v| f64::from(*v) * f64::from(*v))
                    .sum::<f64>()
                    .sqrt()
                    .max(1e-12);
            for (s, v) in sum.iter_mut().zip(&x) {
                *s += scale * f64::from(*v);
            }
            places.push(place);
        }
        (sum.iter().map(|v| *v as f32).collect(), places)
    }

    /// Mean waveform (peak 1) of a group with its onset at [`BEFORE_S`], and the
    /// exact onset of each example.
    fn mean(&self, group: &[u64]) -> (Vec<f32>, Vec<u64>) {
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
            let x = self.cut(*onset as i64);
            let scale = 1.0
                / x.iter()
                    .map(|v| f64::from(*v) * f64::from(*v))
                    .sum::<f64>()
                    .sqrt()
                    .max(1e-12);
            for (s, v) in sum.iter_mut().zip(&x) {
                *s += scale * f64::from(*v);
            }
        }
        let peak = sum.iter().fold(1e-12f64, |a, v| a.max(v.abs()));
        (sum.iter().map(|v| (v / peak) as f32).collect(), onsets)
    }

    /// Whether the presses fall into two kinds: groups of three or more, the
    /// least alike two at their heads, that are much less alike across than within.
    fn are_two_kinds(&self, presses: &[u64]) -> bool {
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
    fn agreement(&self, press: &[f32], onsets: &[u64]) -> Result<(f64, f64), TeachError> {
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
            spreads.push(f64::from(fit.spread_db));
        }
        coherences.sort_by(f64::total_cmp);
        Ok((
            coherences.get(coherences.len() / 4).copied().unwrap_or(0.0),
            median(spreads),
        ))
    }
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
