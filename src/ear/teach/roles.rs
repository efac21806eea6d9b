//! Which of the sounds are presses, which releases, which neither.

use super::sounds::Lesson;
use super::{LEAST_ALIKE, LONGEST_HELD_S};

/// A press that follows a press with no release between is this much less likely
/// to be one (correlation).
const UNRELEASED: f64 = 0.2;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Role {
    Press,
    Release,
    Neither,
}

impl Lesson<'_> {
    /// First guess: a sound after a longer gap than it leaves is a press, the one
    /// after the shorter gap its release.
    pub(super) fn roles_by_rhythm(&self, sounds: &[u64]) -> Vec<Role> {
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
    pub(super) fn roles_by_likeness(&self, sounds: &[u64], roles: &[Role]) -> Vec<Role> {
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
    pub(super) fn likeliest_order(&self, sounds: &[u64], alike: &[(f64, f64)]) -> Vec<Role> {
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
}
