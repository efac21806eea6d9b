//! What happened, in order: events, the physics of the ball, moments, pairing.
//! Pure: no file, no device, no clock.

mod event;
pub mod pairing;
pub mod physics;

pub use event::{Aim, Moment, MomentKind, MomentSource, Outcome, Pair, Sound, SoundKind};
pub use pairing::{Window, WindowError, pair};
