//! Where samples come from: the microphone, a recording played through the
//! same path, a made-up room.

mod capture;
mod device;
mod event;
mod live;
mod mic_error;
pub mod microphone;
pub mod monotonic;
mod played;
mod quiet;
mod ring;
mod source;
mod watchdog;

pub use capture::{Intake, Pick};
pub use device::{Choice, Device, PickError, pick};
pub use event::MicEvent;
pub use live::{Connection, Link, LiveInput};
pub use mic_error::MicError;
pub use played::{Pace, Played};
pub use quiet::Hush;
pub use ring::{Counters, Snapshot, ring};
pub use source::{Flow, SampleSource};
