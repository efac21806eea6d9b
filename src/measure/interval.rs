//! A confidence interval that carries its level.

use serde::{Deserialize, Serialize};

/// A confidence interval, in the unit of the estimate it belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// The level asked for, between 0 and 1 (0.95 for "95 %").
    pub level: f64,
}

impl Interval {
    /// Whether the value lies inside; both ends count as inside.
    pub fn contains(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }
}
