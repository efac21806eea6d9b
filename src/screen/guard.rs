//! Holds the terminal in full-screen mode and gives it back on every way out:
//! the end, an error, a panic, a signal.

#[cfg(not(unix))]
use std::io::Write;
use std::io::{self, Stdout};
use std::sync::Once;
use std::sync::atomic::{AtomicBool, Ordering};

use crossterm::cursor::{Hide, Show};
use crossterm::terminal::{
    EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode,
};
use crossterm::{execute, queue};
use ratatui::backend::CrosstermBackend;
use ratatui::{Frame, Terminal};

use super::log::Log;
use crate::sound::Hush;

/// Whether the terminal is ours at this instant.
static UP: AtomicBool = AtomicBool::new(false);

/// The terminal in full-screen mode. While it lives, what libraries print on
/// standard error goes into the log.
pub struct Screen {
    terminal: Terminal<CrosstermBackend<Stdout>>,
    _quiet: Option<Hush>,
}

impl Screen {
    /// Takes the terminal: raw keys, the other screen, no cursor.
    ///
    /// # Errors
    /// What the system says; the terminal is then as it was.
    pub fn enter(log: &Log) -> io::Result<Self> {
        restore_on_panic();
        let terminal = Terminal::new(CrosstermBackend::new(io::stdout()))?;
        UP.store(true, Ordering::SeqCst);
        let entered =
            enable_raw_mode().and_then(|()| execute!(io::stdout(), EnterAlternateScreen, Hide));
        if let Err(error) = entered {
            restore();
            return Err(error);
        }
        Ok(Self {
            terminal,
            _quiet: log.file().and_then(|file| Hush::to(file).ok()),
        })
    }

    /// Draws one picture.
    ///
    /// # Errors
    /// What the system says, for instance when the terminal is gone.
    pub fn draw(&mut self, picture: impl FnOnce(&mut Frame<'_>)) -> io::Result<()> {
        self.terminal.draw(picture).map(|_| ())
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        restore();
    }
}

/// Gives the terminal back, once; does nothing when it is not ours. Safe to call
/// from any thread, as a signal's watcher does before it ends the program.
pub fn restore() {
    if UP.swap(false, Ordering::SeqCst) {
        // Nothing can be done about a terminal that is gone.
        let mut words = Vec::new();
        let _ = queue!(words, LeaveAlternateScreen, Show);
        let _ = write_now(&words);
        let _ = disable_raw_mode();
    }
}

/// Writes past Rust's lock on standard output, which the drawing thread may hold.
#[cfg(unix)]
fn write_now(words: &[u8]) -> io::Result<()> {
    // SAFETY: the slice outlives the call; descriptor 1 is only written to.
    let done = unsafe { libc::write(1, words.as_ptr().cast(), words.len()) };
    if done < 0 {
        return Err(io::Error::last_os_error());
    }
    Ok(())
}

#[cfg(not(unix))]
fn write_now(words: &[u8]) -> io::Result<()> {
    let mut out = io::stdout();
    out.write_all(words)?;
    out.flush()
}

/// The words of a panic belong on the screen that was there before. Only the
/// thread that draws gives the terminal back: the others' panics are told to it.
fn restore_on_panic() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let drawing = std::thread::current().id();
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            if std::thread::current().id() == drawing {
                restore();
            }
            before(info);
        }));
    });
}
