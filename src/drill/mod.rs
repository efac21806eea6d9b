//! The ball-drop drill: what has happened so far, as a reducer (state, event) →
//! state, and what it comes to. Pure: the same events give the same drill.

mod advice;
mod caller;
mod plan;
mod state;

pub use advice::{TooFewToAdvise, advice};
pub use caller::{Call, Caller};
pub use plan::{Fall, Place, Prompt, Waits};
pub use state::{Event, Feedback, Phase, Setup, State, Way, step};
