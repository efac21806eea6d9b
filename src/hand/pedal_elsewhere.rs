//! A foot pedal or second keyboard read by itself: on Linux only.

/// The sentence for systems that have no input event devices.
pub const NOT_HERE: &str = "A pedal can be read by itself on Linux only. On this system set the \
    pedal to send a key (most can) and use it like one.";
