//! One drop: what its impacts say about the ball.

use super::super::event::{Moment, MomentKind, MomentSource};
use super::super::physics::{fall_height_m, fall_time_from_bounce_s, fall_time_s};

/// One fall of the ball, recognised by its bounces. Times in seconds.
#[derive(Debug, Clone, PartialEq)]
pub struct Drop {
    /// The impacts heard, the floor first; missed ones are not filled in.
    pub impacts_s: Vec<f64>,
    /// The first impact, exactly as it was given.
    pub floor_s: f64,
    /// The ball left the hand: from the told height, or else from the bounces.
    pub release_s: f64,
    /// Standard uncertainty of the release in milliseconds; the floor's and the
    /// top's are those of the impacts.
    pub release_u_ms: f64,
    /// The ball stood at the top of its first bounce: midway between the first
    /// two impacts.
    pub top_s: f64,
    /// Coefficient of restitution.
    pub restitution: f64,
    /// Height of the drop in metres, from the bounces alone.
    pub height_m: f64,
    /// Root mean square of the gaps between impacts about the fitted ones, in
    /// milliseconds; `None` with three impacts, which always fit.
    pub residual_ms: Option<f64>,
    /// Times an hour that chance would give a chain as ball-like, at most.
    pub chance_per_hour: f64,
}

/// Share by which the restitution of the first bounce may differ from the later
/// ones' (it is lower at higher speed): a convention; Cross (1999) Am J Phys
/// 67:222 shows the effect, the figure has no source.
const RESTITUTION_CHANGE: f64 = 0.025;
/// Standard uncertainty of a told height, as a share: a convention (2 cm in a
/// metre, and the air).
const TOLD_HEIGHT_U: f64 = 0.02;

impl Drop {
    /// Measures a drop from its impacts in seconds and their bounce numbers
    /// (from 0, ascending, at least three).
    ///
    /// The intervals T·eⁿ are fitted by least squares on their logarithms, each
    /// weighted by its square, because an instant's error weighs less on a longer
    /// interval; a gap over missed bounces is the sum of its intervals. Without a
    /// told height, the release's uncertainty is that of a restitution that
    /// changes by 2.5 %; with it, that of a height known to 2 %.
    pub(super) fn from_impacts(
        impacts_s: Vec<f64>,
        numbers: &[u8],
        told_height_m: Option<f64>,
        chance_per_hour: f64,
    ) -> Self {
        let (first_s, e) = fit(&impacts_s, numbers);
        let gap = |n: usize| gap_s(first_s, e, numbers[n], numbers[n + 1]);
        let gaps = impacts_s.len() - 1;
        let squares: f64 = (0..gaps)
            .map(|n| (impacts_s[n + 1] - impacts_s[n] - gap(n)).powi(2))
            .sum();
        let fall_s = fall_time_from_bounce_s(first_s, e);
        let (release_fall_s, share) = match told_height_m {
            // Half, because the fall time grows with the height's root.
            Some(height_m) => (fall_time_s(height_m), TOLD_HEIGHT_U / 2.0),
            None => (fall_s, RESTITUTION_CHANGE),
        };
        let floor_s = impacts_s[0];
        let first_interval_s = if numbers[1] == 1 {
            impacts_s[1] - floor_s
        } else {
            first_s
        };
        Self {
            floor_s,
            release_s: floor_s - release_fall_s,
            release_u_ms: release_fall_s * share * 1000.0,
            top_s: floor_s + first_interval_s / 2.0,
            restitution: e,
            height_m: fall_height_m(fall_s),
            residual_ms: (gaps > 2).then(|| (squares / gaps as f64).sqrt() * 1000.0),
            chance_per_hour,
            impacts_s,
        }
    }
}

impl Drop {
    /// Whether the two cannot be drops of one ball, one after the other.
    pub(crate) fn overlaps(&self, other: &Self) -> bool {
        let last_s = |d: &Self| d.impacts_s.last().copied().unwrap_or(d.floor_s);
        self.release_s < last_s(other) && other.release_s < last_s(self)
    }
}

/// The time from bounce `from` to bounce `to` for a first interval and a ratio.
fn gap_s(first_s: f64, e: f64, from: u8, to: u8) -> f64 {
    (from..to).map(|n| first_s * e.powi(i32::from(n))).sum()
}

/// First interval in seconds and restitution. A gap over missed bounces counts as
/// its first interval, with the restitution of the round before, until it
/// settles.
fn fit(impacts_s: &[f64], numbers: &[u8]) -> (f64, f64) {
    let mut e: f64 = 0.75;
    let mut first_s = 0.0;
    for _ in 0..20 {
        let (mut w, mut wx, mut wy, mut wxx, mut wxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (pair, number) in impacts_s.windows(2).zip(numbers.windows(2)) {
            let share = gap_s(1.0, e, 0, number[1] - number[0]);
            let interval = (pair[1] - pair[0]) / share;
            let (x, y, weight) = (f64::from(number[0]), interval.ln(), interval * interval);
            w += weight;
            wx += weight * x;
            wy += weight * y;
            wxx += weight * x * x;
            wxy += weight * x * y;
        }
        let slope = (w * wxy - wx * wy) / (w * wxx - wx * wx);
        first_s = ((wy - slope * wx) / w).exp();
        let settled = (slope.exp() - e).abs() < 1e-12;
        e = slope.exp();
        if settled {
            break;
        }
    }
    (first_s, e)
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
