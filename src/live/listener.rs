//! The thread that takes samples to the ear and puts instants in their place on the
//! sound's clock.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::sync::mpsc::{Receiver, SyncSender};
use std::time::Duration;

use super::{Happening, Stamp};
use crate::listen::{Listening, News, Timeline};
use crate::sound::wav_out::{WavOut, WavOutError};
use crate::sound::{Flow, MicEvent, SampleSource};

/// How long a look for sound waits.
const LOOK: Duration = Duration::from_millis(10);
/// How often it is told how late it is, in seconds of sound.
const NOW_EVERY_S: f64 = 0.05;

pub(super) struct Listener {
    pub source: Box<dyn SampleSource>,
    pub kept: Option<WavOut>,
    pub tell: SyncSender<Happening>,
    pub places: Receiver<Stamp>,
    pub stop: Arc<AtomicBool>,
}

impl Listener {
    /// Listens to the end. What cannot be told to anybody is let go: the
    /// command has left.
    pub fn listen(mut self, mut listening: Listening) -> Result<Timeline, String> {
        let rate_hz = f64::from(self.source.rate_hz());
        let (mut samples, mut events) = (Vec::new(), Vec::new());
        let (mut count, mut told_s, mut peak) = (0u64, 0.0, 0.0f32);
        loop {
            samples.clear();
            let flow = self.source.pull(LOOK, &mut samples, &mut events);
            count += samples.len() as u64;
            let now_s = count as f64 / rate_hz;
            if let Some(Err(error)) = self.kept.as_mut().map(|kept| kept.write(&samples)) {
                self.kept = None;
                self.not_kept(&error);
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
            self.put_in_place(rate_hz, f64::INFINITY);
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
        if let Some(Err(error)) = self.kept.take().map(WavOut::finish) {
            self.not_kept(&error);
        }
        let heard = listening
            .finish_and_tell(&mut |news| told(&self.tell, news))
            .map_err(|e| e.to_string());
        // What was pressed while the ear finished; after the sound there is no place.
        self.put_in_place(rate_hz, count as f64 / rate_hz);
        heard
    }

    /// Tells the place of every stamp that waits for one, where it lies before
    /// `end_s`.
    fn put_in_place(&self, rate_hz: f64, end_s: f64) {
        while let Ok(stamp) = self.places.try_recv() {
            let at = self.source.sample_at(stamp.mono_ns);
            let at = at.map(|(sample, u_ms)| (sample / rate_hz, u_ms));
            let at = at.filter(|(t_s, _)| *t_s <= end_s);
            let _ = self.tell.send(Happening::Placed(stamp, at));
        }
    }

    fn not_kept(&self, error: &WavOutError) {
        let _ = self.tell.send(Happening::NotKept(error.to_string()));
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
