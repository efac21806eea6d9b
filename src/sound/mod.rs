//! Where samples come from and where kept sound goes: recordings read in a
//! stream, a made-up room, WAV files written in a stream, cue points put into a
//! copy of a WAV.

pub mod cues;
pub mod recording;
mod riff;
pub mod room;
pub mod wav_out;
