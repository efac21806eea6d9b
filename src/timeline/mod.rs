//! What happened, in order: events, the physics of the ball, moments, pairing.
//! Pure: no file, no device, no clock.

pub mod ball;
mod event;
pub mod moments_file;
pub mod pairing;
pub mod physics;
pub mod plan;
pub mod session;

pub use ball::{BallFinder, BallKind, Drop, Found, Impact, Refusal, Refused, Unproven, moment_of};
pub use event::{
    Aim, HeardSound, KnownMoment, Moment, MomentId, MomentKind, MomentSource, Outcome, Pair, Sound,
    SoundId, SoundKind,
};
pub use moments_file::{MomentsFile, MomentsFileError, parse_moments};
pub use pairing::{Window, WindowError, pair};
pub use plan::{Plan, PlanError};
