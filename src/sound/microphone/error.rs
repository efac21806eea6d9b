//! Why a microphone could not be opened, in words that tell what to do.

use crate::sound::device::PickError;

/// Why a microphone could not be opened.
#[derive(Debug, thiserror::Error)]
pub enum MicError {
    /// The device asked for is not there.
    #[error(transparent)]
    Pick(#[from] PickError),
    /// Another program holds the device.
    #[error(
        "The microphone \"{device}\" is in use by another program ({said}). Close that program and try again."
    )]
    Busy {
        /// The device's name.
        device: String,
        /// What the system said.
        said: String,
    },
    /// The system does not allow it.
    #[error(
        "marklag may not use the microphone \"{device}\" ({said}). Allow it for this terminal under the system's privacy settings, or on Linux add yourself to the group \"audio\"."
    )]
    Denied {
        /// The device's name.
        device: String,
        /// What the system said.
        said: String,
    },
    /// The device gives sound in a form that cannot be used.
    #[error(
        "The microphone \"{device}\" gives sound in a form marklag cannot use ({said}). Try another microphone."
    )]
    Unsupported {
        /// The device's name.
        device: String,
        /// What the system said.
        said: String,
    },
    /// The system did not answer.
    #[error(
        "The sound system did not answer for {waited_s} s. Restart the sound service or plug the microphone in again."
    )]
    NoAnswer {
        /// How long it was waited for, in s.
        waited_s: u64,
    },
    /// Anything else.
    #[error(
        "The microphone \"{device}\" could not be opened ({said}). Plug it in again or try another one."
    )]
    Other {
        /// The device's name.
        device: String,
        /// What the system said.
        said: String,
    },
}
