//! A foot pedal or second keyboard read by itself: on Linux only. Elsewhere
//! everything here says so.

use std::io;
use std::path::PathBuf;
use std::time::Duration;

use super::event::HandEvent;

/// A device that has keys.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PedalDevice {
    /// The name it gives itself.
    pub name: String,
    /// Its place.
    pub path: PathBuf,
}

/// Why a pedal could not be read.
#[derive(Debug, thiserror::Error)]
pub enum PedalError {
    /// This system has no input event devices.
    #[error(
        "The pedal \"{wanted}\" cannot be read by itself: that works on Linux only. On this system set the pedal to send a key (most can) and use it like one."
    )]
    NotHere {
        /// The name asked for.
        wanted: String,
    },
}

/// None, on this system.
pub fn devices() -> Vec<PedalDevice> {
    Vec::new()
}

/// A pedal; there is none on this system.
pub enum Pedal {}

impl Pedal {
    /// Always refuses, with a sentence that tells another way.
    pub fn open(name: &str, _grab: bool) -> Result<Self, PedalError> {
        Err(PedalError::NotHere {
            wanted: name.to_owned(),
        })
    }

    /// Cannot be called, since no pedal can be opened.
    pub fn name(&self) -> &str {
        match *self {}
    }

    /// Cannot be called, since no pedal can be opened.
    pub fn read(&mut self, _patience: Duration, _out: &mut Vec<HandEvent>) -> io::Result<()> {
        match *self {}
    }
}
