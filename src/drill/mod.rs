//! The ball-drop drill: what has happened so far, as a reducer (state, event) →
//! state, and what it comes to. Pure: the same events give the same drill.

mod advice;
mod caller;
mod pairing;
mod plan;
mod setup;
mod state;

pub use advice::{TooFewToAdvise, advice};
pub use caller::{Call, Caller};
pub use plan::{Fall, Place, Prompt, Waits};
pub use setup::{Feedback, Setup, Way};
pub use state::{Event, Phase, State, step};
