//! Which key does what: a table from which the help is made, with keys of the
//! trainer's own from the settings.

use crate::hand::Key;

/// One thing that a key does on a screen.
#[derive(Debug, Clone, Copy)]
pub struct Binding<A: 'static> {
    /// What it does.
    pub action: A,
    /// Its name in the settings' section `[keys]`.
    pub name: &'static str,
    /// What it does, in one or two words, for the screen's last line.
    pub word: &'static str,
    /// What it does, in a sentence, for the help.
    pub help: &'static str,
}

/// Keys that cannot be used as they are set.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum KeyMapError {
    /// No such key.
    #[error(
        "settings.toml, keys.{name}: \"{key}\" is no key. Give one letter, digit or sign, or one of: {}",
        names()
    )]
    NoKey {
        /// The binding.
        name: String,
        /// What was given.
        key: String,
    },
    /// One key for two things.
    #[error(
        "settings.toml: keys.{first} and keys.{second} are both \"{key}\"; give one of them another key"
    )]
    Clash {
        /// The one binding.
        first: String,
        /// The other.
        second: String,
        /// The key.
        key: String,
    },
}

/// Keys with a name, as the settings write them.
const NAMED: [&str; 15] = [
    "enter",
    "esc",
    "tab",
    "backtab",
    "backspace",
    "delete",
    "insert",
    "up",
    "down",
    "left",
    "right",
    "home",
    "end",
    "pageup",
    "pagedown",
];

fn names() -> String {
    format!("space, {}, f1 to f12", NAMED.join(", "))
}

/// The keys of one screen.
#[derive(Debug, Clone)]
pub struct KeyMap<A: 'static> {
    bound: Vec<(Key, Binding<A>)>,
}

impl<A: Copy> KeyMap<A> {
    /// The table with the keys that the settings give for its names.
    ///
    /// # Errors
    /// A text that is no key, or one key for two things.
    pub fn new(
        table: &'static [Binding<A>],
        key_for: impl Fn(&str) -> String,
    ) -> Result<Self, KeyMapError> {
        let mut bound: Vec<(Key, Binding<A>)> = Vec::new();
        for binding in table {
            let text = key_for(binding.name);
            let key = parse(&text).ok_or_else(|| KeyMapError::NoKey {
                name: binding.name.to_owned(),
                key: text.clone(),
            })?;
            if let Some((_, other)) = bound.iter().find(|(k, _)| *k == key) {
                return Err(KeyMapError::Clash {
                    first: other.name.to_owned(),
                    second: binding.name.to_owned(),
                    key: text,
                });
            }
            bound.push((key, *binding));
        }
        Ok(Self { bound })
    }

    /// What a key does.
    pub fn action(&self, key: &Key) -> Option<A> {
        // A letter typed with the shift key or the caps lock on is the same key,
        // unless the other one has a meaning of its own.
        let same = |k: &Key| self.bound.iter().find(|(bound, _)| bound == k);
        let found = same(key).or_else(|| match key {
            Key::Sign(c) => same(&Key::Sign(c.to_lowercase().next()?)),
            _ => None,
        });
        found.map(|(_, binding)| binding.action)
    }

    /// Key and word of each binding, for the screen's last line.
    pub fn short(&self) -> Vec<(String, String)> {
        self.told(|b| b.word)
    }

    /// Key and sentence of each binding, for the help.
    pub fn help(&self) -> Vec<(String, String)> {
        self.told(|b| b.help)
    }

    fn told(&self, words: impl Fn(&Binding<A>) -> &'static str) -> Vec<(String, String)> {
        self.bound
            .iter()
            .map(|(key, binding)| (name(key), words(binding).to_owned()))
            .collect()
    }
}

/// A key from its name: one sign, or a word.
pub fn parse(text: &str) -> Option<Key> {
    let text = text.trim();
    let mut signs = text.chars();
    if let (Some(sign), None) = (signs.next(), signs.next()) {
        return (!sign.is_control()).then_some(Key::Sign(sign));
    }
    let word = text.to_lowercase();
    let is_f = word
        .strip_prefix('f')
        .and_then(|n| n.parse::<u8>().ok())
        .is_some_and(|n| (1..=12).contains(&n));
    match &word[..] {
        "space" => Some(Key::Sign(' ')),
        word if is_f || NAMED.contains(&word) => Some(Key::Named(word.to_owned())),
        _ => None,
    }
}

/// A key's name, as the settings write it.
pub fn name(key: &Key) -> String {
    match key {
        Key::Sign(' ') => "space".to_owned(),
        Key::Sign(sign) => sign.to_string(),
        Key::Named(word) => word.clone(),
        Key::Code(code) => format!("key {code}"),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    const TABLE: &[Binding<u8>] = &[
        Binding {
            action: 1,
            name: "pause",
            word: "pause",
            help: "Pause.",
        },
        Binding {
            action: 2,
            name: "end",
            word: "end",
            help: "End.",
        },
    ];

    fn map(pause: &str, end: &str) -> Result<KeyMap<u8>, KeyMapError> {
        KeyMap::new(TABLE, |name| {
            if name == "pause" { pause } else { end }.to_owned()
        })
    }

    #[test]
    fn keys_do_what_the_settings_say_and_the_help_tells_them() {
        let keys = map("p", "f10").unwrap();
        assert_eq!(keys.action(&Key::Sign('p')), Some(1));
        assert_eq!(keys.action(&Key::Sign('P')), Some(1));
        assert_eq!(keys.action(&Key::Named("f10".into())), Some(2));
        assert_eq!(keys.action(&Key::Sign('x')), None);
        let told = [("p", "Pause."), ("f10", "End.")];
        assert_eq!(keys.help(), told.map(|(k, h)| (k.to_owned(), h.to_owned())));
        assert_eq!(map("p", "P").unwrap().action(&Key::Sign('P')), Some(2));
    }

    #[test]
    fn clashes_and_unknown_keys_are_named() {
        let clash = map("space", "SPACE").unwrap_err();
        assert!(clash.to_string().contains("\"SPACE\""), "{clash}");
        let clash = map("e", "e").unwrap_err().to_string();
        assert!(
            clash.contains("keys.pause and keys.end are both \"e\""),
            "{clash}"
        );
        for bad in ["", "f13", "f0", "ctrl+x", "hyper"] {
            let error = map(bad, "e").unwrap_err().to_string();
            assert!(
                error.contains("keys.pause") && error.contains("space"),
                "{error}"
            );
        }
    }

    #[test]
    fn every_named_key_is_read_and_named_alike() {
        for word in NAMED
            .iter()
            .copied()
            .chain(["space", "f1", "f12", "é", "?"])
        {
            assert_eq!(name(&parse(word).unwrap()), word);
        }
    }
}
