//! Sample count ↔ monotonic time. Pure: it is told when blocks arrived and
//! reads no clock itself.
//!
//! A session has one clock, the sample count of its audio. Hands are stamped
//! with the monotonic clock and are mapped onto samples by [`ClockFit`];
//! [`HoleWatch`] finds, from the same stamps, the samples that a device lost
//! without saying so.

mod envelope;
mod fit;
mod hole;
mod wall;

pub use fit::ClockFit;
pub use hole::{HoleWatch, Step};
pub use wall::WallWatch;
