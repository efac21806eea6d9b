//! Builds streams on a thread of its own, follows each to its end and opens the
//! device again until it returns.

use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::sync::mpsc::Sender;
use std::sync::{Arc, OnceLock};
use std::thread::{self, Thread};
use std::time::Duration;

use cpal::traits::StreamTrait;

use super::Opened;
use super::error::MicError;
use super::stream::{Stream, build};
use crate::sound::capture::Pick;
use crate::sound::device::Choice;
use crate::sound::live::Link;
use crate::sound::quiet::Hush;

/// How often a lost device is looked for.
const RETRY: Duration = Duration::from_millis(500);

/// Owns the streams, one after the other.
#[derive(Default)]
pub(super) struct Keeper {
    stop: AtomicBool,
}

impl Keeper {
    /// Lets the microphone go, once the thread looks.
    pub fn stop(&self) {
        self.stop.store(true, Relaxed);
    }

    /// Streams until told to stop; what was opened first goes to `first`.
    pub fn keep(
        &self,
        choice: Option<&Choice>,
        channel_pick: Pick,
        links: &Sender<Link>,
        first: &Sender<Result<Opened, MicError>>,
    ) {
        let mut rate_hz = None;
        while !self.stop.load(Relaxed) {
            let failure = Arc::new(Failure::of_this_thread());
            let built = {
                let _quiet = Hush::to_nowhere();
                build(choice, rate_hz, channel_pick, &failure)
            };
            let (mut stream, opened, connection) = match built {
                Ok(built) => built,
                Err(error) if rate_hz.is_none() => {
                    let _ = first.send(Err(error));
                    return;
                }
                Err(_) => {
                    thread::park_timeout(RETRY);
                    continue;
                }
            };
            let device = connection.device.clone();
            if links.send(Link::Up(connection)).is_err() {
                return;
            }
            if rate_hz.replace(opened.rate_hz).is_none() {
                let _ = first.send(Ok(opened));
            }
            let ended = match &mut stream {
                Stream::Cpal(stream) => self.watch(stream, &failure),
                #[cfg(target_os = "linux")]
                Stream::Plugin(plugin) => plugin.run(&self.stop).err().map(|e| e.to_string()),
            };
            if let Some(reason) = ended {
                let _ = links.send(Link::Down { device, reason });
            }
            let _quiet = Hush::to_nowhere();
            drop(stream);
        }
    }

    /// Waits for the end of a stream that has a thread of its own; why it ended.
    fn watch(&self, stream: &cpal::Stream, failure: &Failure) -> Option<String> {
        // On one of the ways play() waits for the first sound, for ever if need be.
        if let Err(e) = stream.play() {
            failure.set(&e.to_string());
        }
        while !self.stop.load(Relaxed) && failure.said.get().is_none() {
            thread::park_timeout(Duration::from_secs(1));
        }
        failure.said.get().cloned()
    }
}

/// The first error of a stream. Later ones cost one load.
pub(super) struct Failure {
    said: OnceLock<String>,
    keeper: Thread,
}

impl Failure {
    fn of_this_thread() -> Self {
        Self {
            said: OnceLock::new(),
            keeper: thread::current(),
        }
    }

    pub fn set(&self, said: &str) {
        if self.said.get().is_none() && self.said.set(said.to_owned()).is_ok() {
            self.keeper.unpark();
        }
    }
}
