//! Where samples come from and where kept sound goes: recordings read in a
//! stream, WAV files written in a stream, cue points put into a copy of a WAV.

pub mod cues;
pub mod recording;
mod riff;
pub mod wav_out;
