//! Families: sounds of a lesson that are alike among themselves.

use super::sounds::Standing;

/// Members of a family are at least this far apart, in seconds: what comes sooner is a
/// release, or the echo of a room.
const APART_S: f64 = 0.3;
/// A family's members are as alike to its first as its nearest ones are, less this.
const LESS_ALIKE: f32 = 0.15;
/// Sounds less alike than this are strangers.
const STRANGERS: f32 = 0.45;
/// So many of the nearest say how alike a family is.
const NEAREST: usize = 5;
/// Families that are looked for.
const MOST_FAMILIES: usize = 6;

/// Sounds that are alike, by their places in the lesson, ascending.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Family {
    pub(super) members: Vec<usize>,
    /// Sum of the members' likenesses over that of strangers.
    weight: f32,
}

/// How alike each two sounds are; 1 on the diagonal.
pub(super) fn likenesses(sounds: &[Standing]) -> Vec<Vec<f32>> {
    let n = sounds.len();
    let mut alike = vec![vec![1.0f32; n]; n];
    for j in 0..n {
        for k in 0..j {
            let both = sounds[j]
                .alike(&sounds[k].prints[0])
                .max(sounds[k].alike(&sounds[j].prints[0]));
            (alike[j][k], alike[k][j]) = (both, both);
        }
    }
    alike
}

/// The families among the sounds, of at least `fewest` members, the heaviest first; no
/// sound is in two.
pub(super) fn families(
    sounds: &[Standing],
    alike: &[Vec<f32>],
    rate_hz: f64,
    fewest: usize,
) -> Vec<Family> {
    let mut free = vec![true; sounds.len()];
    let mut found = Vec::new();
    while found.len() < MOST_FAMILIES {
        let best = (0..sounds.len())
            .filter(|seed| free[*seed])
            .map(|seed| around(seed, sounds, alike, &free, rate_hz))
            .filter(|family| family.members.len() >= fewest)
            .max_by(|a, b| a.weight.total_cmp(&b.weight));
        let Some(family) = best else { break };
        for member in &family.members {
            free[*member] = false;
        }
        found.push(family);
    }
    found
}

/// The family around one sound.
fn around(
    seed: usize,
    sounds: &[Standing],
    alike: &[Vec<f32>],
    free: &[bool],
    rate_hz: f64,
) -> Family {
    let apart = (APART_S * rate_hz) as u64;
    let mut others: Vec<usize> = (0..sounds.len())
        .filter(|k| *k != seed && free[*k] && sounds[*k].at.abs_diff(sounds[seed].at) >= apart)
        .collect();
    others.sort_by(|a, b| alike[seed][*b].total_cmp(&alike[seed][*a]));
    let nearest = &others[..others.len().min(NEAREST)];
    let mean = nearest.iter().map(|k| alike[seed][*k]).sum::<f32>() / nearest.len().max(1) as f32;
    let bar = (mean - LESS_ALIKE).max(STRANGERS);
    let mut members = vec![seed];
    let mut weight = 0.0;
    for k in others {
        if alike[seed][k] < bar {
            break;
        }
        if members
            .iter()
            .all(|m| sounds[*m].at.abs_diff(sounds[k].at) >= apart)
        {
            weight += alike[seed][k] - STRANGERS;
            members.push(k);
        }
    }
    members.sort_unstable();
    Family { members, weight }
}
