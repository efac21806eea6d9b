//! What happens live, through one receiver: a thread takes samples to the ear and
//! puts hands in their place on the sound's clock, another reads the keys. The
//! ear, the ball and their order are those of a review (`listen.rs`).

use std::io::{self, BufRead};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use crate::hand::keys::{Keys, Read, TERMINAL_U_MS};
use crate::hand::pedal::Pedal;
use crate::hand::{HandEvent, Key, Source};
use crate::listen::{Listening, News, Timeline};
use crate::screen::{keymap, signals};
use crate::sound::monotonic::mono_ns;
use crate::sound::wav_out::WavOut;
use crate::sound::{Flow, MicEvent, SampleSource};

/// How long a look for sound or keys waits.
const LOOK: Duration = Duration::from_millis(10);
const KEY_LOOK: Duration = Duration::from_millis(100);
/// Happenings that may wait to be taken; then the ear waits (the microphone's ring
/// holds on meanwhile).
const WAITING: usize = 4096;
/// How often it is told how late it is, in seconds of sound.
const NOW_EVERY_S: f64 = 0.05;

/// Something that happened. Times are seconds from the first sample.
#[derive(Debug)]
pub enum Happening {
    /// Something was heard, in the order of knowing, each thing once.
    Heard(News),
    /// So much was heard; the loudest sample since the last time, in dBFS.
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
    /// The window has another size.
    Resize,
    /// The user wants out.
    Leave,
    /// The system wants the program to end.
    Signal(i32),
    /// The sound is over, or was stopped: all that was heard. What became known by
    /// the end was told before.
    Ended(Timeline),
    /// Listening or keeping the sound failed; what to say about it.
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
                        "listening broke off by a fault of marklag's own; what was kept is kept"
                            .to_owned(),
                    ),
                };
                let _ = tell.send(ended);
            })?;
        let live = Self {
            tell,
            place,
            stop,
            listener: Some(listener),
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

    /// Reads the terminal's keys, which must be in raw mode.
    ///
    /// # Errors
    /// No thread can be had.
    pub fn read_keys(&self) -> io::Result<()> {
        let (tell, place, stop) = self.ends();
        let mut keys = Keys::default();
        thread::Builder::new()
            .name("marklag-keys".into())
            .spawn(move || {
                while !stop.load(Relaxed) {
                    let sent = match keys.read(KEY_LOOK) {
                        Ok(Some(Read::Press(press))) => pressed(&place, &tell, press),
                        Ok(Some(Read::Resize(..))) => tell.send(Happening::Resize).is_ok(),
                        Ok(Some(Read::Quit)) => tell.send(Happening::Leave).is_ok(),
                        Ok(Some(Read::Repeat(_)) | None) => true,
                        // The terminal is gone, and so is its user.
                        Err(_) => {
                            let _ = tell.send(Happening::Leave);
                            false
                        }
                    };
                    if !sent {
                        return;
                    }
                }
            })?;
        Ok(())
    }

    /// Reads lines in the place of keys: a key's name, or nothing for enter.
    ///
    /// # Errors
    /// No thread can be had.
    pub fn read_lines(&self) -> io::Result<()> {
        let (tell, place, _) = self.ends();
        thread::Builder::new()
            .name("marklag-lines".into())
            .spawn(move || {
                for line in io::stdin().lock().lines() {
                    let mono_ns = mono_ns();
                    let Ok(line) = line else { return };
                    let key = match line.trim() {
                        "" => Some(Key::Named("enter".to_owned())),
                        word => keymap::parse(word),
                    };
                    let Some(key) = key else { continue };
                    let press = HandEvent {
                        mono_ns,
                        source: Source::Terminal,
                        key,
                        u_ms: TERMINAL_U_MS,
                    };
                    if !pressed(&place, &tell, press) {
                        return;
                    }
                }
            })?;
        Ok(())
    }

    /// Reads a pedal until it is gone.
    ///
    /// # Errors
    /// No thread can be had.
    pub fn read_pedal(&self, mut pedal: Pedal) -> io::Result<()> {
        let (tell, place, stop) = self.ends();
        thread::Builder::new()
            .name("marklag-pedal".into())
            .spawn(move || {
                let mut presses = Vec::new();
                while !stop.load(Relaxed) {
                    if pedal.read(KEY_LOOK, &mut presses).is_err() {
                        let words = "the pedal is gone; plug it in and begin again";
                        let _ = tell.send(Happening::Failed(words.to_owned()));
                        return;
                    }
                    for press in presses.drain(..) {
                        if !pressed(&place, &tell, press) {
                            return;
                        }
                    }
                }
            })?;
        Ok(())
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

fn pressed(place: &Sender<Stamp>, tell: &SyncSender<Happening>, press: HandEvent) -> bool {
    let stamp = Stamp {
        mono_ns: press.mono_ns,
        what: Stamped::Press(press),
    };
    send(place, tell, stamp)
}

/// To be placed by the listening thread, or, when that has ended, told without a
/// place. Whether anybody was there.
fn send(place: &Sender<Stamp>, tell: &SyncSender<Happening>, stamp: Stamp) -> bool {
    match place.send(stamp) {
        Ok(()) => true,
        Err(unsent) => tell.send(Happening::Placed(unsent.0, None)).is_ok(),
    }
}

struct Listener {
    source: Box<dyn SampleSource>,
    kept: Option<WavOut>,
    tell: SyncSender<Happening>,
    places: Receiver<Stamp>,
    stop: Arc<AtomicBool>,
}

impl Listener {
    /// Listens to the end. What cannot be told to anybody is let go: the
    /// command has left.
    fn listen(mut self, mut listening: Listening) -> Result<Timeline, String> {
        let rate_hz = f64::from(self.source.rate_hz());
        let (mut samples, mut events) = (Vec::new(), Vec::new());
        let (mut count, mut told_s, mut peak) = (0u64, 0.0, 0.0f32);
        loop {
            samples.clear();
            let flow = self.source.pull(LOOK, &mut samples, &mut events);
            count += samples.len() as u64;
            let now_s = count as f64 / rate_hz;
            if let Some(kept) = &mut self.kept {
                kept.write(&samples).map_err(|e| e.to_string())?;
            }
            peak = samples.iter().fold(peak, |peak, s| peak.max(s.abs()));
            listening
                .push_and_tell(&samples, &mut |news| told(&self.tell, news))
                .map_err(|e| e.to_string())?;
            for event in events.drain(..) {
                if let Some(at_s) = place_of(&event, rate_hz, now_s) {
                    let _ = self.tell.send(Happening::Mic(at_s, event));
                }
            }
            while let Ok(stamp) = self.places.try_recv() {
                let at = self.source.sample_at(stamp.mono_ns);
                let at = at.map(|(sample, u_ms)| (sample / rate_hz, u_ms));
                let _ = self.tell.send(Happening::Placed(stamp, at));
            }
            if now_s - told_s >= NOW_EVERY_S {
                let peak_dbfs = 20.0 * f64::from(peak).log10();
                let now = Happening::Now {
                    t_s: now_s,
                    peak_dbfs,
                };
                if self.tell.send(now).is_err() {
                    break;
                }
                (told_s, peak) = (now_s, 0.0);
            }
            if flow == Flow::Ended || self.stop.load(Relaxed) {
                break;
            }
        }
        if let Some(kept) = self.kept.take() {
            kept.finish().map_err(|e| e.to_string())?;
        }
        listening
            .finish_and_tell(&mut |news| told(&self.tell, news))
            .map_err(|e| e.to_string())
    }
}

fn told(tell: &SyncSender<Happening>, news: News) {
    let _ = tell.send(Happening::Heard(news));
}

/// Where an event of the sound's way in belongs; `None` for mere samples.
fn place_of(event: &MicEvent, rate_hz: f64, now_s: f64) -> Option<f64> {
    match event {
        MicEvent::Samples { .. } => None,
        MicEvent::Gap { at_sample, .. }
        | MicEvent::Extra { at_sample, .. }
        | MicEvent::Overrun { at_sample, .. } => Some(*at_sample as f64 / rate_hz),
        _ => Some(now_s),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::sound::{Pace, Played};

    fn start(pace: Pace) -> (Live, Receiver<Happening>) {
        let samples = vec![0.25; 4_000];
        let source = Box::new(Played::from_samples(8_000, pace, samples));
        let listening = Listening::new(8_000, &[], None).unwrap();
        Live::start(source, listening, None).unwrap()
    }

    #[test]
    fn a_recording_is_told_to_its_end() {
        let (_live, told) = start(Pace::AsFast);
        let mut now = 0.0;
        loop {
            match told.recv_timeout(Duration::from_secs(5)).unwrap() {
                Happening::Now { t_s, peak_dbfs } => {
                    assert!(t_s > now && (peak_dbfs + 12.04).abs() < 0.01);
                    now = t_s;
                }
                Happening::Ended(heard) => {
                    assert_eq!(heard.duration_s, 0.5);
                    break;
                }
                other => panic!("{other:?}"),
            }
        }
    }

    #[test]
    fn an_instant_gets_its_place_and_none_once_the_sound_is_over() {
        let (live, told) = start(Pace::RealTime);
        let mut placed = Vec::new();
        let asked = mono_ns() + 100_000_000;
        live.place(asked, 7);
        thread::sleep(Duration::from_millis(700));
        live.place(asked, 8);
        while let Ok(happening) = told.recv_timeout(Duration::from_millis(500)) {
            if let Happening::Placed(stamp, at) = happening {
                placed.push((stamp.what, at));
            }
        }
        assert_eq!(placed[0].0, Stamped::Own(7));
        let (t_s, _) = placed[0].1.unwrap();
        assert!((0.05..=0.1).contains(&t_s), "{t_s}");
        assert_eq!(placed[1], (Stamped::Own(8), None));
    }

    #[test]
    fn stopped_before_its_end_it_tells_what_was_heard() {
        let (live, told) = start(Pace::RealTime);
        thread::sleep(Duration::from_millis(120));
        live.stop();
        let ended = told.iter().find_map(|h| match h {
            Happening::Ended(heard) => Some(heard.duration_s),
            _ => None,
        });
        assert!((0.05..0.45).contains(&ended.unwrap()), "{ended:?}");
    }
}
