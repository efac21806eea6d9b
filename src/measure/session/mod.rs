//! What a session with an animal comes to: tries and their outcome, treats,
//! pace, where the evidence leans, and what is worth a word while it goes on.
//! Rules of the trade in here are common practice, no findings; each can be set.

mod lean;
mod pace;
mod rules;
mod treats;
mod tries;
mod waits;
mod warn;

pub use lean::{Lean, Leaning, lean};
pub use pace::{Pace, pace};
pub(crate) use rules::number;
pub use rules::{SessionRules, WarnRules};
pub use treats::{Paid, Payment, Unpaid, treats};
pub use tries::{Try, TryOutcome, tries};
pub use waits::{Waits, waits};
pub use warn::{Looked, Rule, Warning, warnings};
