//! A session with an animal: its events, and the log that they build up, from
//! which everything else follows.

mod act;
mod event;
mod events_file;
mod log;

pub use act::{Act, ActKind, acts, breaks, practised_at};
pub use event::{Happened, SessionEvent};
pub use events_file::{EventsFileError, Line, parse_events};
pub use log::{Entry, Log};
