//! Hands in: keys of the terminal, a foot pedal or second keyboard, and how
//! late each of them is.

mod calibration;
mod event;
pub mod keys;
#[cfg_attr(not(target_os = "linux"), path = "pedal_elsewhere.rs")]
pub mod pedal;
mod rearm;

pub use calibration::{CalibrationError, KeyPath, calibrate, delays_ms};
pub use event::{HandEvent, Key, Source};
pub use rearm::Rearm;
