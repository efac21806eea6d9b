//! Where samples come from and where kept sound goes: the microphone, recordings
//! read in a stream or played through the microphone's path, a made-up room; WAV
//! files written in a stream, cue points put into a copy of a WAV.

mod capture;
pub mod cues;
mod device;
mod event;
mod live;
pub mod microphone;
pub mod monotonic;
mod played;
mod quiet;
pub mod recording;
mod riff;
mod ring;
pub mod room;
mod source;
mod watchdog;
pub mod wav_out;

pub use capture::{Intake, Pick};
pub use device::{Choice, Device, PickError, pick};
pub use event::MicEvent;
pub use live::{Connection, Link, LiveInput};
pub use microphone::MicError;
pub use played::{Pace, Played, Reel};
pub use quiet::Hush;
pub use ring::{Counters, Snapshot, ring};
pub use source::{Flow, SampleSource};
