//! One drop: what its impacts say about the ball.

use super::super::event::{Moment, MomentKind, MomentSource};
use super::bounce::{Bouncing, INSTANT_SD_S};

/// One fall of the ball, recognised by its bounces. Times in seconds.
#[derive(Debug, Clone, PartialEq)]
pub struct Drop {
    /// The impacts heard, the floor first; missed ones are not filled in.
    pub impacts_s: Vec<f64>,
    /// The first impact, exactly as it was given.
    pub floor_s: f64,
    /// The ball left the hand: from the bounces, and from the told height where there
    /// is one, each by what it is worth.
    pub release_s: f64,
    /// Standard uncertainty of the release in milliseconds; the floor's and the
    /// top's are those of the impacts.
    pub release_u_ms: f64,
    /// The ball stood at the top of its first bounce: a little less than midway between
    /// the first two impacts, because the air makes the fall longer than the rise.
    pub top_s: f64,
    /// What the air leaves open of the top, as a standard uncertainty in milliseconds;
    /// the two impacts' own comes on top.
    pub top_u_ms: f64,
    /// Coefficient of restitution at the floor.
    pub restitution: f64,
    /// Height of the drop in metres, from the bounces alone.
    pub height_m: f64,
    /// Its standard uncertainty in metres.
    pub height_u_m: f64,
    /// Root mean square of the intervals about what those before them foretold, in
    /// milliseconds; `None` with three impacts, which always fit.
    pub residual_ms: Option<f64>,
    /// Times an hour that chance would give a chain as ball-like, at most.
    pub chance_per_hour: f64,
    /// Whether the ball is silent. Before, the floor stands, and the release and the
    /// top may still get better.
    pub is_settled: bool,
}

/// Standard uncertainty of a told height, as a share: a convention (2 cm in a
/// metre).
pub(super) const TOLD_HEIGHT_U: f64 = 0.02;

impl Drop {
    /// Measures a drop from its impacts in seconds, their bounce numbers (from 0,
    /// ascending, at least two) and how the ball bounces.
    pub(super) fn from_impacts(
        impacts_s: Vec<f64>,
        numbers: &[u8],
        bouncing: &Bouncing,
        told_height_m: Option<f64>,
        chance_per_hour: f64,
    ) -> Self {
        let floor_s = impacts_s[0];
        let gap_s = impacts_s[1] - floor_s;
        let first_s = if numbers[1] == 1 {
            gap_s
        } else {
            bouncing.first_of_two_s(gap_s)
        };
        let before = bouncing.before(first_s, INSTANT_SD_S, told_height_m);
        let alone = bouncing.before(first_s, INSTANT_SD_S, None);
        Self {
            floor_s,
            release_s: floor_s - before.fall_s,
            release_u_ms: before.u_s * 1000.0,
            top_s: floor_s + before.rise_s,
            restitution: before.restitution,
            height_m: alone.height_m,
            // The height goes with the square of the fall.
            height_u_m: 2.0 * alone.height_m * alone.u_s / alone.fall_s,
            top_u_ms: before.rise_u_s * 1000.0,
            residual_ms: Self::residual_ms(&Self::intervals(&impacts_s, numbers), bouncing),
            chance_per_hour,
            is_settled: true,
            impacts_s,
        }
    }

    /// The intervals between impacts of bounces that follow each other, each with the
    /// number of the bounce before it.
    pub(super) fn intervals(impacts_s: &[f64], numbers: &[u8]) -> Vec<(u8, f64)> {
        let pairs = impacts_s.windows(2).zip(numbers.windows(2));
        pairs
            .filter(|(_, n)| n[1] == n[0] + 1)
            .map(|(t, n)| (n[0], t[1] - t[0]))
            .collect()
    }

    fn residual_ms(intervals: &[(u8, f64)], bouncing: &Bouncing) -> Option<f64> {
        let off = intervals
            .windows(2)
            .filter(|pair| pair[1].0 == pair[0].0 + 1)
            .map(|pair| pair[1].1 - bouncing.next_s(pair[0].1, 0.0).0);
        let off: Vec<f64> = off.collect();
        let squares: f64 = off.iter().map(|s| s * s).sum();
        (off.len() > 1).then(|| (squares / off.len() as f64).sqrt() * 1000.0)
    }
}

impl Drop {
    /// Whether its bounces agree with a told height, as far as they say one.
    pub(super) fn agrees_with(&self, told_m: f64) -> bool {
        // The release holds the told height; the height found does not.
        let off_m = (self.height_m - told_m).abs();
        off_m <= (super::HEIGHT_TOLERANCE * told_m).max(1.5 * self.height_u_m)
    }

    /// Whether its bounces may say a height that a ball is dropped from by hand.
    pub(super) fn is_plausible(&self) -> bool {
        let (low_m, high_m) = super::PLAUSIBLE_HEIGHT_M;
        self.height_m + self.height_u_m >= low_m && self.height_m - 2.0 * self.height_u_m <= high_m
    }

    /// Whether the two cannot be drops of one ball, one after the other.
    pub(crate) fn overlaps(&self, other: &Self) -> bool {
        let last_s = |d: &Self| d.impacts_s.last().copied().unwrap_or(d.floor_s);
        self.release_s < last_s(other) && other.release_s < last_s(self)
    }
}

/// A chain that looked like a ball and was refused.
#[derive(Debug, Clone, PartialEq)]
pub struct Refused {
    /// The drop it would have been.
    pub drop: Drop,
    /// Why not.
    pub reason: Refusal,
}

/// Why a chain of impacts is not taken for a drop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Refusal {
    /// The bounces say another height than was told.
    HeightDisagrees {
        /// From the bounces, in metres.
        found_m: f64,
        /// As told, in metres.
        told_m: f64,
    },
    /// No height was told, and nobody drops a ball from there.
    HeightImplausible {
        /// From the bounces, in metres.
        found_m: f64,
    },
    /// Among so many other impacts it may be chance.
    PerhapsChance {
        /// Times an hour that chance would give as much, at most.
        per_hour: f64,
    },
}

impl std::fmt::Display for Refusal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::HeightDisagrees { found_m, told_m } => write!(
                f,
                "bounces like a drop from {found_m:.2} m, but {told_m:.2} m was told; \
                 if the first impact was too faint to hear, drop on a harder floor or \
                 nearer the microphone, else check the height"
            ),
            Self::HeightImplausible { found_m } => write!(
                f,
                "bounces like a drop from {found_m:.2} m, which is not a height a ball is \
                 dropped from by hand; tell the height if it is right"
            ),
            Self::PerhapsChance { per_hour } => write!(
                f,
                "looks like a ball, but among so many other bangs chance gives as much \
                 {per_hour:.1} times an hour; let the ball bounce longer, or tell the height"
            ),
        }
    }
}

/// The moment of a drop that is to be marked; a drop has no behaviour, so that
/// kind gives `None`.
pub fn moment_of(drop: &Drop, kind: MomentKind) -> Option<Moment> {
    let t_s = match kind {
        MomentKind::Floor => drop.floor_s,
        MomentKind::Release => drop.release_s,
        MomentKind::Top => drop.top_s,
        MomentKind::Behaviour => return None,
    };
    Some(Moment {
        t_s,
        kind,
        source: MomentSource::Sound,
        label: String::new(),
    })
}
