//! Click against word, then against now: is one set of lags really different,
//! and by how much.

mod hodges_lehmann;
mod holm;
mod mann_whitney;
mod permutation;

pub use hodges_lehmann::{Shift, hodges_lehmann};
pub use holm::holm;
pub use mann_whitney::{MannWhitney, mann_whitney};
pub use permutation::{Permutation, Statistic, permutation_test};
