//! Keys of the terminal. A terminal tells no time, so a key is stamped right
//! after it was read; the reader thread does nothing else.

use std::collections::VecDeque;
use std::io;
use std::time::Duration;

use crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use super::event::{HandEvent, Key, Source};
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

/// Two presses of one key nearer than this are a key that is held down: terminals
/// repeat it 10 to 50 times a second. Common practice, no source.
const HELD_NS: i64 = 150_000_000;
/// The first repeat comes 250 to 660 ms after the press: a press of the same key
/// sooner than this may be one. Common practice, no source.
const FIRST_REPEAT_NS: i64 = 700_000_000;

/// Turns terminal events into presses. Pure: it is told when each was read.
///
/// A terminal does not tell the first repeat of a held key from a second press; what
/// follows does. So a press of the same key soon after is held back for a moment:
/// when another one follows at once, the key is held; when none does, it was a press,
/// and has the stamp of when it was read.
#[derive(Debug, Clone, Default)]
pub struct Keys {
    /// The last key and when it was read.
    last: Option<(Key, i64)>,
    /// A second press, or a first repeat.
    doubtful: Option<HandEvent>,
    /// What is known and was not given yet.
    ready: VecDeque<Read>,
    is_typing: bool,
}

impl Keys {
    /// Keys for typing, which is not timed: a sign that comes twice is two signs.
    pub fn typing() -> Self {
        Self {
            is_typing: true,
            ..Self::default()
        }
    }

    /// Takes a terminal event read at `mono_ns`. Nothing comes of releases and of
    /// what no program needs (mouse, focus, a lone modifier).
    pub fn take(&mut self, event: &Event, mono_ns: i64) {
        self.settle(mono_ns);
        match event {
            Event::Resize(columns, rows) => self.ready.push_back(Read::Resize(*columns, *rows)),
            Event::Key(k) if k.kind == KeyEventKind::Release => {}
            Event::Key(k) if wants_out(k) => self.ready.push_back(Read::Quit),
            Event::Key(k) => {
                if let Some(key) = key_of(k.code) {
                    self.key(key, k.kind == KeyEventKind::Repeat, mono_ns);
                }
            }
            _ => {}
        }
    }

    fn key(&mut self, key: Key, is_repeat: bool, mono_ns: i64) {
        let last = self.last.replace((key.clone(), mono_ns));
        let rest_ns = last.filter(|(k, _)| *k == key).map(|(_, at)| mono_ns - at);
        let press = HandEvent {
            mono_ns,
            source: Source::Terminal,
            key: key.clone(),
            u_ms: TERMINAL_U_MS,
        };
        let doubtful = self.doubtful.take();
        match rest_ns {
            _ if self.is_typing && !is_repeat => self.ready.push_back(Read::Press(press)),
            _ if is_repeat => self.ready.push_back(Read::Repeat(key)),
            Some(rest_ns) if rest_ns < HELD_NS => self.ready.push_back(Read::Repeat(key)),
            Some(rest_ns) if rest_ns < FIRST_REPEAT_NS => self.doubtful = Some(press),
            _ => {
                // Another key: nothing shows that the one before was held.
                self.ready.extend(doubtful.map(Read::Press));
                self.ready.push_back(Read::Press(press));
            }
        }
    }

    /// It is `mono_ns` now: a press that nothing followed at once was one.
    fn settle(&mut self, mono_ns: i64) {
        let is_sure = |press: &mut HandEvent| mono_ns - press.mono_ns >= HELD_NS;
        let sure = self.doubtful.take_if(is_sure);
        self.ready.extend(sure.map(Read::Press));
    }

    /// Waits at most `patience` for the terminal (which must be in raw mode)
    /// and stamps what it reads.
    pub fn read(&mut self, patience: Duration) -> io::Result<Option<Read>> {
        if self.ready.is_empty() {
            let patience = match &self.doubtful {
                Some(press) => {
                    let left_ns = (press.mono_ns + HELD_NS - mono_ns()).max(0);
                    patience.min(Duration::from_nanos(left_ns.unsigned_abs()))
                }
                None => patience,
            };
            if event::poll(patience)? {
                let event = event::read()?;
                self.take(&event, mono_ns());
            } else {
                self.settle(mono_ns());
            }
        }
        Ok(self.ready.pop_front())
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

    const MS: i64 = 1_000_000;

    /// What comes of a key that the terminal tells at these milliseconds: when each
    /// press was, and how many repeats there were.
    fn told_at(times_ms: &[i64]) -> (Vec<i64>, usize) {
        let mut keys = Keys::default();
        for ms in times_ms {
            let event = key(KeyCode::Char(' '), KeyEventKind::Press);
            keys.take(&event, ms * MS);
        }
        keys.settle(i64::MAX / 2);
        let repeats = keys.ready.iter().filter(|r| matches!(r, Read::Repeat(_)));
        let repeats = repeats.count();
        let presses = keys.ready.into_iter().filter_map(|read| match read {
            Read::Press(press) => Some(press.mono_ns / MS),
            _ => None,
        });
        (presses.collect(), repeats)
    }

    #[test]
    fn a_press_is_stamped_and_a_release_is_nothing() {
        let mut keys = Keys::default();
        for kind in [KeyEventKind::Press, KeyEventKind::Release] {
            keys.take(&key(KeyCode::Char(' '), kind), 7);
        }
        let press = HandEvent {
            mono_ns: 7,
            source: Source::Terminal,
            key: Key::Sign(' '),
            u_ms: TERMINAL_U_MS,
        };
        assert_eq!(keys.ready, [Read::Press(press)]);
    }

    /// Every first delay and rate that terminals have.
    #[test]
    fn a_held_key_is_one_press() {
        for delay in [250, 400, 500, 660] {
            for between in [20, 33, 100] {
                let repeats = (0..40).map(|k| delay + between * k);
                let times: Vec<i64> = [0].into_iter().chain(repeats).collect();
                assert_eq!(told_at(&times).0, [0], "{delay} ms, then {between} ms");
            }
        }
    }

    #[test]
    fn pressed_twice_a_second_each_press_counts_at_its_instant() {
        let times = [0, 500, 1_000, 1_480, 1_990];
        assert_eq!(told_at(&times), (times.to_vec(), 0));
        // After a key was held, too.
        let times = [0, 500, 533, 566, 900, 1_400];
        assert_eq!(told_at(&times), (vec![0, 900, 1_400], 2));
    }

    #[test]
    fn a_second_press_is_given_before_the_key_that_follows() {
        let mut keys = Keys::default();
        for (sign, ms) in [('u', 0), ('u', 400), ('t', 450)] {
            keys.take(&key(KeyCode::Char(sign), KeyEventKind::Press), ms * MS);
        }
        let told = keys.ready.iter().map(|read| match read {
            Read::Press(press) => (press.key.clone(), press.mono_ns / MS),
            other => panic!("{other:?}"),
        });
        let told: Vec<_> = told.collect();
        let sign = Key::Sign;
        assert_eq!(told, [(sign('u'), 0), (sign('u'), 400), (sign('t'), 450)]);
    }

    #[test]
    fn a_terminal_that_tells_repeats_is_believed_and_typing_is_not_timed() {
        let space = KeyCode::Char(' ');
        let mut keys = Keys::default();
        keys.take(&key(space, KeyEventKind::Repeat), 900 * MS);
        assert_eq!(keys.ready, [Read::Repeat(Key::Sign(' '))]);
        let mut keys = Keys::typing();
        for ms in [0, 90, 300] {
            keys.take(&key(space, KeyEventKind::Press), ms * MS);
        }
        let is_press = |read: &Read| matches!(read, Read::Press(_));
        assert!(keys.ready.len() == 3 && keys.ready.iter().all(is_press));
    }

    #[test]
    fn ctrl_c_is_the_way_out_and_a_resize_is_told() {
        let out = Event::Key(KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL));
        let mut keys = Keys::default();
        for event in [out, Event::Resize(40, 12), Event::FocusGained] {
            keys.take(&event, 0);
        }
        keys.take(&key(KeyCode::F(5), KeyEventKind::Press), 0);
        assert_eq!(keys.ready.len(), 3);
        assert_eq!(keys.ready[0], Read::Quit);
        assert_eq!(keys.ready[1], Read::Resize(40, 12));
        assert!(matches!(&keys.ready[2], Read::Press(e) if e.key == Key::Named("f5".into())));
    }
}
