//! What the lags are worth: quantiles, intervals, errors, trends, comparison,
//! agreement, uncertainty. Pure: numbers in, numbers (or words) out.
//!
//! Rules of the room:
//! - A statistic that the data cannot give is `None` (or a reason), never 0
//!   and never NaN.
//! - Values that are not finite (NaN, infinite) are left out before anything
//!   is computed; of a pair of values, the whole pair is left out. The `n`
//!   that is returned counts what was used.
//! - Every interval says its level. Where the achieved coverage is known
//!   exactly it is given too.
//! - The distributions (normal, t, F, gamma) are the `statrs` crate's: well
//!   kept, small without its optional parts, and checked here against scipy;
//!   its erfc is only good to 2e-11 in the tails, so that one is `libm`'s.
//!   Its random numbers are not used; `rand_pcg` is, because its streams do
//!   not change between versions, so a seeded result can be repeated.

pub mod agree;
pub mod budget;
pub mod compare;
mod distributions;
pub mod errors;
pub mod ewma;
pub mod exgauss;
mod interval;
pub mod median;
mod nelder_mead;
pub mod observer;
pub mod proportion;
pub mod quantile;
pub mod running;
mod sample;
pub mod session;
pub mod summary;
#[cfg(test)]
mod testing;
pub mod trend;
pub mod uncertainty;
pub mod unheard;
pub mod weeks;
pub mod words;
mod yardstick;

pub use interval::Interval;
pub use summary::{Summary, summarise};
pub use yardstick::Yardstick;
