//! What the uncertainty of a lag is made of, as a trainer can read it: which part
//! weighs most, and what would make it smaller.

use serde::{Deserialize, Serialize};

use super::uncertainty::{Contribution, Shape, combine, half_width};

/// The share of lags that a stated half-width holds.
pub const LEVEL: f64 = 0.95;

/// Where a part comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Source {
    /// Where the mark's sound rises out of the noise.
    MarkOnset,
    /// Where the moment's sound rises out of the noise.
    MomentOnset,
    /// The release or the top, worked out from the bounces.
    Bounces,
    /// How far the mark's sound travels to the microphone.
    MarkWay,
    /// How far the moment's sound travels.
    MomentWay,
    /// One picture of a video, or one step of a file's times.
    Picture,
    /// The rate of the microphone's clock over one lag.
    ClockRate,
    /// A key put on the sound's clock.
    ClockFit,
    /// A key whose delay was measured and is taken off.
    Key,
    /// A key whose delay was never measured.
    KeyUnknown,
    /// A key or pedal on the sound's clock: its path and the clocks' fit together.
    Hand,
    /// The onsets of the mark and of the moment's sound together, where only the
    /// whole was kept.
    Onsets,
    /// The hand of whoever keys the moments, as it was measured.
    Presser,
}

impl Source {
    /// What it is called.
    pub fn name(self) -> &'static str {
        match self {
            Self::MarkOnset => "onset of the mark",
            Self::MomentOnset => "onset of the moment's sound",
            Self::Bounces => "moment worked out from the bounces",
            Self::MarkWay => "way of the mark's sound",
            Self::MomentWay => "way of the moment's sound",
            Self::Picture => "one picture of the video",
            Self::ClockRate => "rate of the microphone's clock",
            Self::ClockFit => "fit of the two clocks",
            Self::Key => "key, its delay taken off",
            Self::KeyUnknown => "key, its delay not known",
            Self::Hand => "key or pedal on the sound's clock",
            Self::Onsets => "onsets of the sounds",
            Self::Presser => "hand of whoever keys the moments",
        }
    }

    /// What makes it smaller.
    pub fn remedy(self) -> &'static str {
        match self {
            Self::MarkOnset => "bring the microphone nearer to the clicker, or quieten the room",
            Self::MomentOnset => "a hard floor and a hard ball, nearer to the microphone",
            Self::Bounces => "tell the height (--height), or mark the floor instead",
            Self::MarkWay => "measure from microphone to clicker; set [distance] in settings.toml",
            Self::MomentWay => "measure from microphone to ball; set [distance] in settings.toml",
            Self::Picture => "film with more pictures a second, or let the sound tell the moment",
            Self::ClockRate => "another microphone, or one on a cable",
            Self::ClockFit => "close other programs while you measure",
            Self::Key => "measure it again with more taps: marklag check hands",
            Self::KeyUnknown => "measure it: marklag check hands",
            Self::Hand => "measure the key's delay (marklag check hands), or use a pedal",
            Self::Onsets => "bring the microphone nearer, or quieten the room",
            Self::Presser => "let the ball's sound tell the moment, or key more moments",
        }
    }

    /// Whether it is the same in every lag of a drill, so that more lags do not
    /// make it smaller.
    pub fn is_shared(self) -> bool {
        !matches!(
            self,
            Self::MarkOnset | Self::MomentOnset | Self::Onsets | Self::Picture | Self::Presser
        )
    }

    fn shape(self) -> Shape {
        match self {
            Self::MarkWay | Self::MomentWay | Self::Picture | Self::ClockRate => Shape::Rectangular,
            _ => Shape::Normal,
        }
    }
}

/// One part.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Part {
    /// Where it comes from.
    pub source: Source,
    /// Its standard uncertainty in milliseconds.
    pub u_ms: f64,
}

/// All parts of one lag, or of a typical one.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Budget(Vec<Part>);

/// One line of the table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// Where it comes from.
    pub source: Source,
    /// The same in words.
    pub name: &'static str,
    /// Standard uncertainty in milliseconds.
    pub u_ms: f64,
    /// Its part of the whole variance, 0 to 1.
    pub share: f64,
    /// What makes it smaller.
    pub remedy: &'static str,
}

impl Budget {
    /// A budget of parts in milliseconds; one that is missing, no number or
    /// negative makes the whole unknown.
    pub fn new(parts: impl IntoIterator<Item = (Source, Option<f64>)>) -> Option<Self> {
        parts
            .into_iter()
            .map(|(source, u_ms)| {
                let u_ms = u_ms.filter(|u| u.is_finite() && *u >= 0.0)?;
                Some(Part { source, u_ms })
            })
            .collect::<Option<Vec<Part>>>()
            .map(Self)
    }

    /// The parts, in the order in which they were given.
    pub fn parts(&self) -> &[Part] {
        &self.0
    }

    fn contributions(&self) -> Vec<Contribution> {
        let of = |part: &Part| {
            let made = Contribution::new(part.source.name(), part.u_ms);
            match part.source.shape() {
                Shape::Normal => made,
                Shape::Rectangular => made.rectangular(),
            }
        };
        self.0.iter().map(of).collect()
    }

    /// The combined standard uncertainty in milliseconds (JCGM 100:2008, 5.1.2);
    /// `None` without parts.
    pub fn standard_ms(&self) -> Option<f64> {
        Some(combine(&self.contributions()).ok()?.standard_uncertainty)
    }

    /// The half-width in milliseconds that holds 95 lags in 100, by the shapes of
    /// the parts.
    pub fn half_width_ms(&self) -> Option<f64> {
        half_width(&self.contributions(), LEVEL)
    }

    /// The combined standard uncertainty in milliseconds of what all lags of a
    /// drill have in common.
    pub fn shared_ms(&self) -> f64 {
        let shared = self.0.iter().filter(|p| p.source.is_shared());
        shared.map(|p| p.u_ms).fold(0.0, f64::hypot)
    }

    /// The budget of a typical lag: of each source the root mean square over the
    /// lags. `None` without budgets.
    pub fn typical<'a>(budgets: impl IntoIterator<Item = &'a Self>) -> Option<Self> {
        let (mut squares, mut n) = (Vec::<(Source, f64)>::new(), 0.0);
        for budget in budgets {
            n += 1.0;
            for part in &budget.0 {
                match squares.iter_mut().find(|s| s.0 == part.source) {
                    Some(sum) => sum.1 += part.u_ms.powi(2),
                    None => squares.push((part.source, part.u_ms.powi(2))),
                }
            }
        }
        let part = |(source, sum): (Source, f64)| Part {
            source,
            u_ms: (sum / n).sqrt(),
        };
        (n > 0.0).then(|| Self(squares.into_iter().map(part).collect()))
    }

    /// The table, the largest part first.
    pub fn rows(&self) -> Vec<Row> {
        let whole: f64 = self.0.iter().map(|p| p.u_ms.powi(2)).sum();
        let mut rows: Vec<Row> = self
            .0
            .iter()
            .map(|part| Row {
                source: part.source,
                name: part.source.name(),
                u_ms: part.u_ms,
                share: part.u_ms.powi(2) / whole.max(f64::MIN_POSITIVE),
                remedy: part.source.remedy(),
            })
            .collect();
        rows.sort_by(|a, b| b.u_ms.total_cmp(&a.u_ms));
        rows
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn budget(parts: &[(Source, f64)]) -> Budget {
        Budget::new(parts.iter().map(|(s, u)| (*s, Some(*u)))).unwrap()
    }

    /// By hand: 3, 4 and 12 make 13; shares 9, 16 and 144 of 169.
    #[test]
    fn the_largest_part_comes_first() {
        let made = budget(&[
            (Source::MarkOnset, 3.0),
            (Source::Hand, 12.0),
            (Source::MomentOnset, 4.0),
        ]);
        assert!((made.standard_ms().unwrap() - 13.0).abs() < 1e-12);
        assert!((made.half_width_ms().unwrap() - 13.0 * 1.959_964).abs() < 1e-4);
        assert_eq!(made.shared_ms(), 12.0);
        let rows = made.rows();
        let order: Vec<Source> = rows.iter().map(|r| r.source).collect();
        assert_eq!(
            order,
            [Source::Hand, Source::MomentOnset, Source::MarkOnset]
        );
        assert!((rows[0].share - 144.0 / 169.0).abs() < 1e-12);
    }

    /// By hand: the root mean square of 3 and 4 is √12.5; a source that only one
    /// lag has counts as nothing in the other.
    #[test]
    fn a_typical_lag() {
        let typical = Budget::typical([
            &budget(&[(Source::MarkOnset, 3.0)]),
            &budget(&[(Source::MarkOnset, 4.0), (Source::Picture, 2.0)]),
        ])
        .unwrap();
        let u: Vec<f64> = typical.parts().iter().map(|p| p.u_ms).collect();
        assert!((u[0] - 12.5f64.sqrt()).abs() < 1e-12 && (u[1] - 2f64.sqrt()).abs() < 1e-12);
        assert_eq!(Budget::typical([]), None);
        assert_eq!(Budget::default().standard_ms(), None);
    }

    #[test]
    fn a_part_that_is_not_known_makes_the_whole_unknown() {
        for bad in [None, Some(f64::NAN), Some(-1.0)] {
            assert_eq!(
                Budget::new([(Source::Key, Some(1.0)), (Source::ClockFit, bad)]),
                None
            );
        }
    }
}
