//! Keys of the terminal. A terminal tells no time, so a key is stamped right
//! after it was read; the reader thread does nothing else.

use std::io;
use std::time::Duration;

use crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use super::event::{HandEvent, Key, Source};
use super::rearm::Rearm;
use crate::sound::monotonic::mono_ns;

/// Standard uncertainty of a terminal key's stamp in ms. Through a
/// pseudo-terminal a key was read 0.1 ms after it was sent (99 % within
/// 0.3 ms); a terminal window and the desktop add some ms that differ from
/// one to another, which is what the calibration is for.
pub const TERMINAL_U_MS: f64 = 3.0;

/// Something read from the terminal.
#[derive(Debug, Clone, PartialEq)]
pub enum Read {
    /// A new press.
    Press(HandEvent),
    /// A press of a key that is held down; for screens that scroll.
    Repeat(Key),
    /// The window has a new size in columns and rows.
    Resize(u16, u16),
    /// Ctrl+C or Ctrl+D: the user wants out.
    Quit,
}

/// Turns terminal events into presses. Pure: it is told when each was read.
#[derive(Debug, Clone)]
pub struct Keys {
    rearm: Rearm<Key>,
}

impl Default for Keys {
    fn default() -> Self {
        Self::new(Rearm::<Key>::TERMINAL_MS)
    }
}

impl Keys {
    /// Keys that must rest `quiet_ms` between two presses.
    pub fn new(quiet_ms: f64) -> Self {
        Self {
            rearm: Rearm::new(quiet_ms),
        }
    }

    /// What a terminal event read at `mono_ns` means; `None` for releases and
    /// for what no program needs (mouse, focus, a lone modifier).
    pub fn take(&mut self, event: &Event, mono_ns: i64) -> Option<Read> {
        match event {
            Event::Resize(columns, rows) => Some(Read::Resize(*columns, *rows)),
            Event::Key(k) if k.kind == KeyEventKind::Release => None,
            Event::Key(k) if wants_out(k) => Some(Read::Quit),
            Event::Key(k) => {
                let key = key_of(k.code)?;
                let new = self.rearm.is_new(key.clone(), mono_ns);
                if !new || k.kind == KeyEventKind::Repeat {
                    return Some(Read::Repeat(key));
                }
                Some(Read::Press(HandEvent {
                    mono_ns,
                    source: Source::Terminal,
                    key,
                    u_ms: TERMINAL_U_MS,
                }))
            }
            _ => None,
        }
    }

    /// Waits at most `patience` for the terminal (which must be in raw mode)
    /// and stamps what it reads.
    pub fn read(&mut self, patience: Duration) -> io::Result<Option<Read>> {
        if !event::poll(patience)? {
            return Ok(None);
        }
        let event = event::read()?;
        let at = mono_ns();
        Ok(self.take(&event, at))
    }
}

fn wants_out(k: &KeyEvent) -> bool {
    k.modifiers.contains(KeyModifiers::CONTROL)
        && matches!(k.code, KeyCode::Char('c' | 'd' | 'C' | 'D'))
}

fn key_of(code: KeyCode) -> Option<Key> {
    let name = match code {
        KeyCode::Char(c) => return Some(Key::Sign(c)),
        KeyCode::F(n) => return Some(Key::Named(format!("f{n}"))),
        KeyCode::Backspace => "backspace",
        KeyCode::Enter => "enter",
        KeyCode::Left => "left",
        KeyCode::Right => "right",
        KeyCode::Up => "up",
        KeyCode::Down => "down",
        KeyCode::Home => "home",
        KeyCode::End => "end",
        KeyCode::PageUp => "pageup",
        KeyCode::PageDown => "pagedown",
        KeyCode::Tab => "tab",
        KeyCode::BackTab => "backtab",
        KeyCode::Delete => "delete",
        KeyCode::Insert => "insert",
        KeyCode::Esc => "esc",
        _ => return None,
    };
    Some(Key::Named(name.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(code: KeyCode, kind: KeyEventKind) -> Event {
        Event::Key(KeyEvent::new_with_kind(code, KeyModifiers::NONE, kind))
    }

    #[test]
    fn presses_only_and_a_held_key_once() {
        let mut keys = Keys::default();
        let space = KeyCode::Char(' ');
        let press = keys.take(&key(space, KeyEventKind::Press), 7);
        assert_eq!(
            press,
            Some(Read::Press(HandEvent {
                mono_ns: 7,
                source: Source::Terminal,
                key: Key::Sign(' '),
                u_ms: TERMINAL_U_MS,
            }))
        );
        // A terminal that tells no repeats sends presses; one that does, says so.
        for kind in [KeyEventKind::Press, KeyEventKind::Repeat] {
            let again = keys.take(&key(space, kind), 500_000_000);
            assert_eq!(again, Some(Read::Repeat(Key::Sign(' '))));
        }
        assert_eq!(
            keys.take(&key(space, KeyEventKind::Release), 510_000_000),
            None
        );
        let later = keys.take(&key(space, KeyEventKind::Press), 1_200_000_000);
        assert!(matches!(later, Some(Read::Press(_))));
    }

    #[test]
    fn ctrl_c_is_the_way_out_and_a_resize_is_told() {
        let mut keys = Keys::default();
        let out = Event::Key(KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL));
        assert_eq!(keys.take(&out, 0), Some(Read::Quit));
        assert_eq!(
            keys.take(&Event::Resize(40, 12), 0),
            Some(Read::Resize(40, 12))
        );
        assert_eq!(keys.take(&Event::FocusGained, 0), None);
        let f5 = keys.take(&key(KeyCode::F(5), KeyEventKind::Press), 0);
        assert!(matches!(f5, Some(Read::Press(e)) if e.key == Key::Named("f5".into())));
    }
}
