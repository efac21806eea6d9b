//! Where a live set-up command is seen: on the full screen, or as plain lines.

use std::io::{self, IsTerminal, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::sync::mpsc::{Receiver, channel};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use anyhow::Context;
use crossterm::terminal::{disable_raw_mode, enable_raw_mode};

use crate::hand::HandEvent;
use crate::hand::keys::{Keys, Read};
use crate::journal::{Home, Settings};
use crate::screen::run::BETWEEN_PICTURES;
use crate::screen::view::setup::{self, SetupView};
use crate::screen::{Binding, KeyMap, Log, Look, Screen, signals};

/// How long the reader of keys waits at a stretch.
const LOOK: Duration = Duration::from_millis(50);

const TABLE: &[Binding<()>] = &[Binding {
    action: (),
    name: "end",
    word: "end",
    help: "End.",
}];

/// What the user did.
#[derive(Debug, Default)]
pub(super) struct Done {
    /// Keys that were pressed, the one for the end left out.
    pub(super) presses: Vec<HandEvent>,
    /// Whether to end.
    pub(super) wants_out: bool,
}

/// The screen or the lines, and the keys.
pub(super) struct Show {
    screen: Option<(Screen, Look)>,
    keys: Option<KeyReader>,
    map: KeyMap<()>,
    ended: Arc<AtomicBool>,
    drawn: Option<Instant>,
}

impl Show {
    /// Takes the terminal when there is one and lines are not asked for; reads
    /// keys then, or when they are needed anyway.
    pub(super) fn open(home: &Home, plain: bool, needs_keys: bool) -> anyhow::Result<Self> {
        let settings = Settings::load(&home.settings_file())?;
        let map = KeyMap::new(TABLE, |name| settings.keys.of(name))?;
        let ended = Arc::new(AtomicBool::new(false));
        let is_terminal = io::stdout().is_terminal() && io::stdin().is_terminal();
        let mut screen = None;
        if is_terminal && !plain {
            let variable = |name: &str| std::env::var(name).ok();
            let look = Look::choose(settings.screen.colours, settings.screen.signs, &variable);
            let log = Log::open(home.folder());
            let taken = Screen::enter(&log).context("the terminal cannot be used; try --plain")?;
            screen = Some((taken, look));
        }
        let keys = if screen.is_some() || needs_keys {
            let its = Arc::clone(&ended);
            signals::watch(move |_| its.store(true, Relaxed))?;
            Some(KeyReader::start(screen.is_none())?)
        } else {
            None
        };
        Ok(Self {
            screen,
            keys,
            map,
            ended,
            drawn: None,
        })
    }

    /// Gives the terminal back before the result is printed.
    pub(super) fn close(&mut self) {
        self.keys = None;
        self.screen = None;
    }

    /// Whether there is a screen to draw on.
    pub(super) fn is_full(&self) -> bool {
        self.screen.is_some()
    }

    /// Draws when it is time for a picture.
    pub(super) fn draw(&mut self, view: impl FnOnce() -> SetupView) -> io::Result<()> {
        let is_time = self.drawn.is_none_or(|at| at.elapsed() >= BETWEEN_PICTURES);
        if let Some((screen, look)) = &mut self.screen
            && is_time
        {
            self.drawn = Some(Instant::now());
            let mut view = view();
            view.keys = self.map.short();
            let look = *look;
            screen.draw(|frame| setup::draw(&view, look, frame))?;
        }
        Ok(())
    }

    /// A line for whoever has no screen; with a screen it is seen there.
    pub(super) fn say(&self, out: &mut dyn Write, words: &str) -> io::Result<()> {
        if self.is_full() {
            return Ok(());
        }
        // Raw keys take the terminal's own carriage return away.
        let end = if self.keys.is_some() { "\r\n" } else { "\n" };
        write!(out, "{words}{end}")?;
        out.flush()
    }

    /// What the user did since it was last asked.
    pub(super) fn done(&self) -> Done {
        let mut done = Done {
            wants_out: self.ended.load(Relaxed),
            ..Done::default()
        };
        for read in self.keys.iter().flat_map(|keys| keys.told.try_iter()) {
            match read {
                Read::Quit => done.wants_out = true,
                Read::Press(press) if self.map.action(&press.key).is_some() => {
                    done.wants_out = true;
                }
                Read::Press(press) => done.presses.push(press),
                Read::Repeat(_) | Read::Resize(..) => {}
            }
        }
        done
    }
}

/// Reads the terminal's keys on a thread of its own, which does nothing else, so
/// that each is stamped as soon as it is there.
struct KeyReader {
    told: Receiver<Read>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
    /// Whether raw keys are this reader's own doing.
    is_raw: bool,
}

impl KeyReader {
    fn start(is_raw: bool) -> anyhow::Result<Self> {
        if is_raw {
            enable_raw_mode().context("keys need a terminal; without one use --pedal NAME")?;
        }
        let (tell, told) = channel();
        let stop = Arc::new(AtomicBool::new(false));
        let its = Arc::clone(&stop);
        let mut reader = Self {
            told,
            stop,
            thread: None,
            is_raw,
        };
        let thread = thread::Builder::new().name("marklag-keys".into());
        reader.thread = Some(thread.spawn(move || {
            let mut keys = Keys::default();
            while !its.load(Relaxed) {
                let read = match keys.read(LOOK) {
                    Ok(None) => continue,
                    Ok(Some(read)) => read,
                    // The terminal is gone: there is nobody to go on for.
                    Err(_) => {
                        let _ = tell.send(Read::Quit);
                        return;
                    }
                };
                if tell.send(read).is_err() {
                    return;
                }
            }
        })?);
        Ok(reader)
    }
}

impl Drop for KeyReader {
    fn drop(&mut self) {
        self.stop.store(true, Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
        if self.is_raw {
            // Nothing can be done about a terminal that is gone.
            let _ = disable_raw_mode();
        }
    }
}
