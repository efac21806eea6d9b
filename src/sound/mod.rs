//! Where samples come from: recordings, the microphone, a made-up room.

pub mod room;
