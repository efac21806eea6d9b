//! The microphone: the only folder that names cpal and ALSA.
//!
//! Streams are built, watched and dropped on a thread of their own (`keeper`), since
//! any of the three can block. The first error ends a stream (one kind of error
//! comes hundreds of thousands of times a second until the stream is dropped);
//! the thread then tries to open the device again until it returns.
//!
//! Which of the system's ways to the microphone is taken on Linux, and why, is
//! told in docs/decisions/0001-audio-host.md.

#[cfg(not(target_os = "linux"))]
mod elsewhere;
mod error;
mod found;
mod keeper;
#[cfg(target_os = "linux")]
mod linux;
#[cfg(target_os = "linux")]
mod plugin;
mod stream;

use std::sync::Arc;
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::thread::{self, Thread};
use std::time::Duration;

use super::capture::Pick;
use super::device::{Choice, Device};
use super::event::MicEvent;
use super::live::LiveInput;
use super::quiet::Hush;
use super::ring::Snapshot;
use super::source::{Flow, SampleSource};
use crate::clock::ClockFit;
#[cfg(not(target_os = "linux"))]
use elsewhere::find;
pub use error::MicError;
use found::devices_of;
use keeper::Keeper;
#[cfg(target_os = "linux")]
use linux::find;

/// How long the system may take to list or open devices.
const ANSWER_S: u64 = 8;
/// How long to wait for a stream to close when the microphone is let go.
const CLOSE: Duration = Duration::from_millis(300);

/// What was opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Opened {
    /// The device.
    pub device: Device,
    /// The way to it: "ALSA", "PulseAudio", "CoreAudio" and so on.
    pub host: String,
    /// The device's own rate in Hz.
    pub rate_hz: u32,
    /// The device's channels; they are mixed to one.
    pub channels: u16,
    /// The format of its samples, as "i16" or "f32".
    pub sample_format: String,
}

/// An open microphone.
pub struct Microphone {
    input: LiveInput,
    opened: Opened,
    keeper: Arc<Keeper>,
    thread: Thread,
    closed: std::sync::mpsc::Receiver<()>,
}

/// The microphones present, the default one first. ALSA's converters and the
/// loudspeakers' monitors are left out.
pub fn devices() -> Result<Vec<Device>, MicError> {
    let (tell, told) = channel();
    thread::spawn(move || {
        let _quiet = Hush::to_nowhere();
        let _ = tell.send(find(None).map(|all| devices_of(&all)));
    });
    answer(told.recv_timeout(Duration::from_secs(ANSWER_S)))
}

fn answer<T>(got: Result<Result<T, MicError>, RecvTimeoutError>) -> Result<T, MicError> {
    got.unwrap_or(Err(MicError::NoAnswer { waited_s: ANSWER_S }))
}

impl Microphone {
    /// Opens the chosen microphone, or the system's default, with the device's
    /// own rate and channels, and starts it.
    pub fn open(choice: Option<Choice>, channel_pick: Pick) -> Result<Self, MicError> {
        let (links, links_in) = channel();
        let (first, first_in) = channel();
        let (close, closed) = channel();
        let keeper = Arc::new(Keeper::default());
        let its = Arc::clone(&keeper);
        let thread = thread::Builder::new()
            .name("marklag-microphone".into())
            .spawn(move || {
                its.keep(choice.as_ref(), channel_pick, &links, &first);
                let _ = close.send(());
            })
            .map_err(|e| MicError::Other {
                device: "microphone".into(),
                said: e.to_string(),
            })?
            .thread()
            .clone();
        let opened =
            answer(first_in.recv_timeout(Duration::from_secs(ANSWER_S))).inspect_err(|_| {
                keeper.stop();
                thread.unpark();
            })?;
        Ok(Self {
            input: LiveInput::new(opened.rate_hz, links_in),
            opened,
            keeper,
            thread,
            closed,
        })
    }

    /// What was opened.
    pub fn opened(&self) -> &Opened {
        &self.opened
    }

    /// The fit of samples against the monotonic clock, with drift and residual.
    pub fn clock(&self) -> &ClockFit {
        self.input.clock()
    }

    /// The counters over all connections; `None` before the first one.
    pub fn counters(&self) -> Option<Snapshot> {
        self.input.counters()
    }
}

impl SampleSource for Microphone {
    fn rate_hz(&self) -> u32 {
        self.input.rate_hz()
    }

    fn pull(&mut self, patience: Duration, out: &mut Vec<f32>, events: &mut Vec<MicEvent>) -> Flow {
        self.input.pull(patience, out, events)
    }

    fn sample_at(&self, mono_ns: i64) -> Option<(f64, f64)> {
        self.input.sample_at(mono_ns)
    }
}

impl Drop for Microphone {
    fn drop(&mut self) {
        self.keeper.stop();
        self.thread.unpark();
        // A stream whose close blocks is left to its own thread.
        let _ = self.closed.recv_timeout(CLOSE);
    }
}
