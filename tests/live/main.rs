//! The real capture path against a sound server of its own, fed by a
//! microphone whose every sample's time is known. Run by tests/live/run.sh,
//! which needs pulseaudio, pulseaudio-utils and libasound2-plugins and fails
//! when these tests do not run; under a plain `cargo test` they are ignored.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod drop;
mod faults;
mod heard;
mod help;
mod pattern;
mod plan;
mod pty;
mod rig;
mod setup;
mod stage;
mod timing;
mod train;
mod words;
