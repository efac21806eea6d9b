//! Is it getting better: a slope that no single bad day can bend, and a test
//! of whether there is a trend at all.

mod counting;
mod crossing;
mod mann_kendall;
mod serial;
mod theil_sen;

pub use crossing::{Crossing, crossing};
pub use mann_kendall::{MannKendall, mann_kendall};
pub use theil_sen::{Scatter, TheilSen, theil_sen};
