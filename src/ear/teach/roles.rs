//! Which of the sounds are presses, which releases, which neither.

use super::families::Family;
use super::sounds::{Lesson, Standing};
use super::{LONGEST_HELD_S, median};
use crate::ear::print::Print;

/// A press that follows a press with no release between is this much less likely
/// to be one (correlation).
const UNRELEASED: f64 = 0.2;
/// A release comes at the earliest this long after its press, in seconds.
const SHORTEST_HELD_S: f64 = 0.03;
/// Prints less alike than this say nothing; what is over it counts in full.
const PRINTS_APART: f32 = 0.5;
/// A sound of a role is at least so alike to the others of it.
const OF_A_ROLE: f64 = 0.35;
/// Waveforms whose typical correlation lies below the first of these do not count, above
/// the second as much as prints.
const COHERENT: (f64, f64) = (0.25, 0.6);

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Role {
    Press,
    Release,
    Neither,
}

/// What the sounds of one role have in common.
struct Group {
    waveform: Vec<f32>,
    /// Median correlation of its members with the waveform.
    coherence: f64,
    print: Print,
}

impl Lesson<'_> {
    /// First guess by families: of two that follow one another, the one that is
    /// followed sooner is the presses.
    pub(super) fn roles_by_family(&self, sounds: &[Standing], families: &[Family]) -> Vec<Role> {
        let mut roles = vec![Role::Neither; sounds.len()];
        let Some(first) = families.first() else {
            return self.roles_by_rhythm(sounds);
        };
        let others = || families.iter().skip(1);
        let (press, release) = match others().find(|other| self.is_released(sounds, other, first)) {
            Some(press) => (press, Some(first)),
            None => (
                first,
                others().find(|other| self.is_released(sounds, first, other)),
            ),
        };
        for member in &press.members {
            roles[*member] = Role::Press;
        }
        for member in release.iter().flat_map(|family| &family.members) {
            roles[*member] = Role::Release;
        }
        if release.is_none() {
            self.split_by_rhythm(sounds, press, &mut roles);
        }
        roles
    }

    /// Presses and releases that are alike are one family: of two that come in turn, the one
    /// after the shorter gap is the release.
    fn split_by_rhythm(&self, sounds: &[Standing], both: &Family, roles: &mut [Role]) {
        let longest = self.span(LONGEST_HELD_S) as u64;
        let at: Vec<u64> = both.members.iter().map(|m| sounds[*m].at).collect();
        let released: Vec<usize> = (1..at.len())
            .filter(|k| {
                let before = at[*k] - at[k - 1];
                let after = at.get(k + 1).map_or(u64::MAX, |next| next - at[*k]);
                before <= longest && 4 * before < 3 * after.min(u64::MAX / 4)
            })
            .collect();
        if 3 * released.len() >= at.len() {
            for k in released {
                roles[both.members[k]] = Role::Release;
            }
        }
    }

    /// Whether most of the presses are followed by one of the releases, sooner than
    /// releases are by presses.
    fn is_released(&self, sounds: &[Standing], presses: &Family, releases: &Family) -> bool {
        let gaps = |from: &Family, to: &Family| -> Vec<f64> {
            from.members
                .iter()
                .filter_map(|k| to.members.iter().find(|m| **m > *k).map(|m| (k, m)))
                .map(|(k, m)| (sounds[*m].at - sounds[*k].at) as f64 / self.rate_hz)
                .collect()
        };
        let held = gaps(presses, releases);
        let most = |gaps: &[f64]| {
            let within = |s: &&f64| (SHORTEST_HELD_S..=LONGEST_HELD_S).contains(*s);
            2 * gaps.iter().filter(within).count() > releases.members.len()
        };
        let size = presses.members.len() as f64 / releases.members.len() as f64;
        (0.6..1.7).contains(&size) && most(&held) && median(held) < median(gaps(releases, presses))
    }

    /// A guess where no family is: a sound after a longer gap than it leaves is a press,
    /// the one after the shorter gap its release.
    fn roles_by_rhythm(&self, sounds: &[Standing]) -> Vec<Role> {
        let longest = self.span(LONGEST_HELD_S) as u64;
        let gap = |k: usize| match k.checked_sub(1) {
            Some(before) => sounds
                .get(k)
                .map_or(u64::MAX, |sound| sound.at - sounds[before].at),
            None => u64::MAX,
        };
        (0..sounds.len())
            .map(|k| {
                if gap(k) <= longest && gap(k) < gap(k + 1) {
                    Role::Release
                } else {
                    Role::Press
                }
            })
            .collect()
    }

    /// Each sound goes to the group that it is more like, in waveform and print, as far
    /// as a dome can move: it goes back only after it was pressed.
    pub(super) fn roles_by_likeness(&self, sounds: &[Standing], roles: &[Role]) -> Vec<Role> {
        let group = |role: Role| -> Vec<&Standing> {
            sounds
                .iter()
                .zip(roles)
                .filter(|(_, r)| **r == role)
                .map(|(s, _)| s)
                .collect()
        };
        let (presses, releases) = (group(Role::Press), group(Role::Release));
        if presses.len() < 2 {
            return roles.to_vec();
        }
        let press = self.common(&presses);
        let release = if releases.len() >= 2 {
            self.common(&releases)
        } else {
            None
        };
        let alike: Vec<(f64, f64)> = sounds
            .iter()
            .map(|sound| {
                let to = |group: &Option<Group>| {
                    group.as_ref().map_or(0.0, |group| self.alike(group, sound))
                };
                (to(&press), to(&release))
            })
            .collect();
        let places: Vec<u64> = sounds.iter().map(|s| s.at).collect();
        self.likeliest_order(&places, &alike)
    }

    /// What the sounds of a group have in common.
    fn common(&self, group: &[&Standing]) -> Option<Group> {
        let first = group.first()?;
        let places: Vec<u64> = group.iter().map(|s| s.at).collect();
        let waveform = self.centre(&places);
        let coherence = median(
            places
                .iter()
                .map(|at| self.likeness(&waveform, *at).0)
                .collect(),
        );
        let mut print = first.prints[0];
        for _ in 0..2 {
            let best: Vec<Print> = group.iter().map(|s| *s.best(&print).0).collect();
            print = Print::mean(&best)?;
        }
        Some(Group {
            waveform,
            coherence,
            print,
        })
    }

    /// How alike a sound is to a group: 1 as its members are, 0 as strangers are.
    fn alike(&self, group: &Group, sound: &Standing) -> f64 {
        let (least, full) = COHERENT;
        let weight = 0.5 * ((group.coherence - least) / (full - least)).clamp(0.0, 1.0);
        let print = (sound.alike(&group.print) - PRINTS_APART) / (1.0 - PRINTS_APART);
        let print = f64::from(print.clamp(0.0, 1.0));
        if weight <= 0.0 {
            return print;
        }
        let wave = (self.likeness(&group.waveform, sound.at).0 / group.coherence).min(1.0);
        weight * wave + (1.0 - weight) * print
    }

    /// Of all the ways to name the sounds press, release or neither, in which a
    /// release comes at most [`LONGEST_HELD_S`] after its press (or first of all,
    /// before any press), the one with the largest sum of likenesses.
    pub(super) fn likeliest_order(&self, sounds: &[u64], alike: &[(f64, f64)]) -> Vec<Role> {
        let longest = self.span(LONGEST_HELD_S) as u64;
        // Best sum over sounds 0..=k with sound k named, over what neither gets,
        // and the named sound before it.
        type Way = (f64, Option<(usize, Role)>);
        let mut ways: Vec<[Way; 2]> = Vec::with_capacity(sounds.len());
        let better = |a: Way, b: Way| if b.0 > a.0 { b } else { a };
        for (k, (p, r)) in alike.iter().enumerate() {
            let (p, r) = (p - OF_A_ROLE, r - OF_A_ROLE);
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
}
