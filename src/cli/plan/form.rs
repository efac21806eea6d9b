//! A plan as a form on the screen.

use std::io::{self, IsTerminal};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::time::Duration;

use anyhow::Context;

use crate::cli::bridges::Bridges;
use crate::hand::Key;
use crate::hand::keys::{Keys, Read};
use crate::journal::{Home, Settings};
use crate::screen::view::FormView;
use crate::screen::{Log, Look, Screen, signals, view};
use crate::timeline::Plan;
use crate::timeline::plan::form::{Ending, Form, FormKey};

/// How long a look for keys waits.
const LOOK: Duration = Duration::from_millis(100);

/// Whether there is a screen to fill a form in on.
pub(super) fn has_screen() -> bool {
    io::stdin().is_terminal() && io::stdout().is_terminal()
}

/// Fills a plan in; `None` when it was left.
pub(super) fn fill(home: &Home, before: Option<&Plan>) -> anyhow::Result<Option<Plan>> {
    let settings = Settings::load(&home.settings_file())?;
    let taught = Bridges::all(home)?;
    let clicks = taught.clicks.into_iter().map(|p| p.name);
    let words = taught.words.into_iter().map(|p| p.name);
    let mut form = Form::new(before, &clicks.chain(words).collect::<Vec<_>>());
    let title = match before {
        Some(plan) => format!("Change the plan {}", plan.name),
        None => "A new plan".to_owned(),
    };
    let look = Look::choose(settings.screen.colours, settings.screen.signs, &|name| {
        std::env::var(name).ok()
    });
    let ended = Arc::new(AtomicBool::new(false));
    let its = Arc::clone(&ended);
    signals::watch(move |_| its.store(true, Relaxed))?;
    let log = Log::open(home.folder());
    let mut screen = Screen::enter(&log).context("the terminal cannot be used; try --plain")?;
    let mut keys = Keys::typing();
    loop {
        let view = seen(&form, &title);
        screen.draw(|frame| view::form::draw(&view, look, frame))?;
        let key = loop {
            match keys.read(LOOK)? {
                _ if ended.load(Relaxed) => return Ok(None),
                Some(Read::Press(press)) => break key_of(&press.key),
                Some(Read::Repeat(key)) => break key_of(&key),
                Some(Read::Resize(..)) => break None,
                Some(Read::Quit) => return Ok(None),
                None => {}
            }
        };
        match key.and_then(|key| form.take(key)) {
            Some(Ending::Kept(plan)) => return Ok(Some(plan)),
            Some(Ending::Left) => return Ok(None),
            None => {}
        }
    }
}

fn seen(form: &Form, title: &str) -> FormView {
    let keys = [
        ("tab", "next"),
        ("up down", "move"),
        ("left right", "choose"),
        ("enter", "add, keep"),
        ("esc", "leave"),
    ];
    FormView {
        title: title.to_owned(),
        rows: form.rows(),
        hint: form.hint().to_owned(),
        told: form.told().to_owned(),
        keys: keys.map(|(k, w)| (k.to_owned(), w.to_owned())).to_vec(),
    }
}

fn key_of(key: &Key) -> Option<FormKey> {
    let Key::Named(name) = key else {
        return match key {
            Key::Sign(sign) => Some(FormKey::Sign(*sign)),
            _ => None,
        };
    };
    Some(match name.as_str() {
        "enter" => FormKey::Enter,
        "esc" => FormKey::Esc,
        "tab" | "down" => FormKey::Down,
        "backtab" | "up" => FormKey::Up,
        "pagedown" => FormKey::PageDown,
        "pageup" => FormKey::PageUp,
        "left" => FormKey::Left,
        "right" => FormKey::Right,
        "home" => FormKey::Home,
        "end" => FormKey::End,
        "backspace" => FormKey::Backspace,
        "delete" => FormKey::Delete,
        _ => return None,
    })
}
