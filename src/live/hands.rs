//! The threads that read hands: keys, lines in the place of keys, a pedal.

use std::io::{self, BufRead};
use std::sync::atomic::Ordering::Relaxed;
use std::sync::mpsc::{Sender, SyncSender};
use std::thread;
use std::time::Duration;

use super::{Happening, Live, Stamp, Stamped, send};
use crate::hand::keys::{Keys, Read, TERMINAL_U_MS};
use crate::hand::pedal::Pedal;
use crate::hand::{HandEvent, Key, Source};
use crate::screen::keymap;
use crate::sound::monotonic::mono_ns;

/// How long a look for keys waits before looking whether to stop.
const LOOK: Duration = Duration::from_millis(100);

impl Live {
    /// Reads the terminal's keys, which must be in raw mode.
    ///
    /// # Errors
    /// No thread can be had.
    pub fn read_keys(&mut self) -> io::Result<()> {
        let (tell, place, stop) = self.ends();
        let mut keys = Keys::default();
        let reader = thread::Builder::new()
            .name("marklag-keys".into())
            .spawn(move || {
                while !stop.load(Relaxed) {
                    let sent = match keys.read(LOOK) {
                        Ok(Some(Read::Press(press))) => pressed(&place, &tell, press),
                        Ok(Some(Read::Resize(..))) => tell.send(Happening::Resize).is_ok(),
                        Ok(Some(Read::Quit)) => tell.send(Happening::Leave).is_ok(),
                        Ok(Some(Read::Repeat(key))) => tell.send(Happening::Again(key)).is_ok(),
                        Ok(None) => true,
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
        self.hands.push(reader);
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
    pub fn read_pedal(&mut self, mut pedal: Pedal) -> io::Result<()> {
        let name = pedal.name().to_owned();
        self.read_device(name, move |presses| pedal.read(LOOK, presses))
    }

    /// Reads a device called `name`; an error of `read` means that it is gone.
    pub(super) fn read_device(
        &mut self,
        name: String,
        mut read: impl FnMut(&mut Vec<HandEvent>) -> io::Result<()> + Send + 'static,
    ) -> io::Result<()> {
        let (tell, place, stop) = self.ends();
        let reader = thread::Builder::new()
            .name("marklag-pedal".into())
            .spawn(move || {
                let mut presses = Vec::new();
                while !stop.load(Relaxed) {
                    let is_gone = read(&mut presses).is_err();
                    for press in presses.drain(..) {
                        if !pressed(&place, &tell, press) {
                            return;
                        }
                    }
                    if is_gone {
                        let _ = tell.send(Happening::PedalGone(name));
                        return;
                    }
                }
            })?;
        self.hands.push(reader);
        Ok(())
    }
}

fn pressed(place: &Sender<Stamp>, tell: &SyncSender<Happening>, press: HandEvent) -> bool {
    let stamp = Stamp {
        mono_ns: press.mono_ns,
        what: Stamped::Press(press),
    };
    send(place, tell, stamp)
}
