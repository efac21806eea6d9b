//! What happens live, through one receiver: a thread takes samples to the ear and
//! puts hands in their place on the sound's clock, another reads the keys. The
//! ear, the ball and their order are those of a review (`listen.rs`).

mod hands;
mod listener;

use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
use std::thread::{self, JoinHandle};

use crate::hand::{HandEvent, Key};
use crate::listen::{Listening, News, Timeline};
use crate::screen::signals;
use crate::sound::wav_out::WavOut;
use crate::sound::{MicEvent, SampleSource};
use listener::Listener;

/// Happenings that may wait to be taken; then the ear waits (the microphone's ring
/// holds on meanwhile).
const WAITING: usize = 4096;

/// Something that happened. Times are seconds from the first sample.
#[derive(Debug)]
pub enum Happening {
    /// Something was heard: in detection order, exactly once.
    Heard(News),
    /// Stream position, and the loudest sample since the last one, in dBFS.
    Now {
        /// Seconds.
        t_s: f64,
        /// dB re full scale.
        peak_dbfs: f64,
    },
    /// Something about the sound's way in, at this place.
    Mic(f64, MicEvent),
    /// A stamp with its place on the sound's clock: seconds and standard
    /// uncertainty in milliseconds; `None` where it has none.
    Placed(Stamp, Option<(f64, f64)>),
    /// A key came again too soon to be a press of its own: it is held down, or was
    /// hit twice.
    Again(Key),
    /// The window has another size.
    Resize,
    /// The user wants out.
    Leave,
    /// The system wants the program to end.
    Signal(i32),
    /// The sound is over, or was stopped: all that was heard. What became known by
    /// the end was told before.
    Ended(Timeline),
    /// The sound is kept no longer, and why not; it is listened to as before.
    NotKept(String),
    /// A pedal is gone; its name.
    PedalGone(String),
    /// Listening failed; what to say about it.
    Failed(String),
}

/// An instant to be put in its place on the sound's clock.
#[derive(Debug, Clone, PartialEq)]
pub struct Stamp {
    /// CLOCK_MONOTONIC in ns.
    pub mono_ns: i64,
    /// What happened then.
    pub what: Stamped,
}

/// What a stamp is of.
#[derive(Debug, Clone, PartialEq)]
pub enum Stamped {
    /// A press of a key or pedal.
    Press(HandEvent),
    /// Something of the command's own, which knows the number.
    Own(u32),
}

/// The threads of a live command.
pub struct Live {
    tell: SyncSender<Happening>,
    place: Sender<Stamp>,
    stop: Arc<AtomicBool>,
    listener: Option<JoinHandle<()>>,
    /// The readers of keys and pedals.
    hands: Vec<JoinHandle<()>>,
}

impl Live {
    /// Starts to listen; sound goes to `kept` as well where there is one. The
    /// receiver gets all that happens.
    ///
    /// # Errors
    /// No thread can be had.
    pub fn start(
        source: Box<dyn SampleSource>,
        listening: Listening,
        kept: Option<WavOut>,
    ) -> io::Result<(Self, Receiver<Happening>)> {
        let (tell, told) = sync_channel(WAITING);
        let (place, places) = channel();
        let stop = Arc::new(AtomicBool::new(false));
        let ear = Listener {
            source,
            kept,
            tell: tell.clone(),
            places,
            stop: Arc::clone(&stop),
        };
        let listener = thread::Builder::new()
            .name("marklag-ear".into())
            .spawn(move || {
                let tell = ear.tell.clone();
                let ended = match catch_unwind(AssertUnwindSafe(|| ear.listen(listening))) {
                    Ok(Ok(heard)) => Happening::Ended(heard),
                    Ok(Err(words)) => Happening::Failed(words),
                    Err(_) => Happening::Failed(
                        "the listener crashed (internal error); what was kept is kept".to_owned(),
                    ),
                };
                let _ = tell.send(ended);
            })?;
        let live = Self {
            tell,
            place,
            stop,
            listener: Some(listener),
            hands: Vec::new(),
        };
        Ok((live, told))
    }

    /// Tells the system's wish to end as [`Happening::Signal`].
    ///
    /// # Errors
    /// Signals cannot be watched.
    pub fn watch_signals(&self) -> io::Result<()> {
        let tell = self.tell.clone();
        signals::watch(move |signal| {
            let _ = tell.send(Happening::Signal(signal));
        })
    }

    /// Asks for the place of an instant of the command's own.
    pub fn place(&self, mono_ns: i64, own: u32) {
        let what = Stamped::Own(own);
        send(&self.place, &self.tell, Stamp { mono_ns, what });
    }

    /// Ends the listening; [`Happening::Ended`] follows.
    pub fn stop(&self) {
        self.stop.store(true, Relaxed);
    }

    /// Lets sound and hands go: once this has returned, nothing of it reads the
    /// terminal's keys or a pedal any more. (Lines are read for good.)
    pub fn close(&mut self, told: Receiver<Happening>) {
        self.stop();
        // Nobody is told any more, so that no thread waits for room to tell.
        drop(told);
        for hand in self.hands.drain(..) {
            // A reader that panicked has nothing more to read.
            let _ = hand.join();
        }
    }

    fn ends(&self) -> (SyncSender<Happening>, Sender<Stamp>, Arc<AtomicBool>) {
        (
            self.tell.clone(),
            self.place.clone(),
            Arc::clone(&self.stop),
        )
    }
}

impl Drop for Live {
    fn drop(&mut self) {
        self.stop();
        // The receiver is gone by now or empty enough: the ear sends one thing
        // more and lets the microphone go.
        if let Some(listener) = self.listener.take().filter(JoinHandle::is_finished) {
            let _ = listener.join();
        }
    }
}

/// To be placed by the listening thread, or, when that has ended, told without a
/// place. Whether anybody was there.
fn send(place: &Sender<Stamp>, tell: &SyncSender<Happening>, stamp: Stamp) -> bool {
    match place.send(stamp) {
        Ok(()) => true,
        Err(unsent) => tell.send(Happening::Placed(unsent.0, None)).is_ok(),
    }
}

#[cfg(test)]
mod tests;
