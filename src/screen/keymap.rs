//! Which key does what: a table from which the help is made, with keys and pedals
//! of the trainer's own from the settings.

use std::collections::BTreeMap;

use crate::hand::{Key, Source};

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
    /// A pedal's line that cannot be used.
    #[error("settings.toml, pedals.\"{device}\": {why}")]
    Pedal {
        /// The device.
        device: String,
        /// What is wrong.
        why: String,
    },
}

/// The name of a pedal's line for all keys that have no line of their own.
const ANY: &str = "any";
/// The highest code of a key (linux/input-event-codes.h, KEY_MAX).
const KEY_MAX: u16 = 0x2ff;

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
    table: &'static [Binding<A>],
    bound: Vec<(Key, Binding<A>)>,
    pedals: Vec<(String, Option<u16>, Binding<A>)>,
}

impl<A: Copy> KeyMap<A> {
    /// The table with the keys that the settings give for its names: one, or
    /// several with spaces between.
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
            let no_key = |key: &str| KeyMapError::NoKey {
                name: binding.name.to_owned(),
                key: key.to_owned(),
            };
            if text.trim().is_empty() {
                return Err(no_key(&text));
            }
            for word in text.split_whitespace() {
                let key = parse(word).ok_or_else(|| no_key(word))?;
                if let Some((_, other)) = bound.iter().find(|(k, _)| *k == key) {
                    return Err(KeyMapError::Clash {
                        first: other.name.to_owned(),
                        second: binding.name.to_owned(),
                        key: word.to_owned(),
                    });
                }
                bound.push((key, *binding));
            }
        }
        Ok(Self {
            table,
            bound,
            pedals: Vec::new(),
        })
    }

    /// The same with what pedals do: from a device's name and its key's code, or
    /// "any", to a name of the table.
    ///
    /// # Errors
    /// A code or a name that does not exist.
    pub fn with_pedals(
        mut self,
        pedals: &BTreeMap<String, BTreeMap<String, String>>,
    ) -> Result<Self, KeyMapError> {
        for (device, lines) in pedals {
            for (key, name) in lines {
                let wrong = |why: String| KeyMapError::Pedal {
                    device: device.clone(),
                    why,
                };
                let code = match key.parse::<u16>() {
                    _ if key == ANY => None,
                    Ok(code) if code <= KEY_MAX => Some(code),
                    _ => {
                        return Err(wrong(format!(
                            "{key:?} is no key's code; give a number up to {KEY_MAX}, or any"
                        )));
                    }
                };
                let Some(binding) = self.table.iter().find(|b| b.name == name) else {
                    let names: Vec<&str> = self.table.iter().map(|b| b.name).collect();
                    return Err(wrong(format!(
                        "{name:?} is nothing that a key can do; give one of {}",
                        names.join(", ")
                    )));
                };
                self.pedals.push((device.clone(), code, *binding));
            }
        }
        Ok(self)
    }

    /// What a key of the terminal does.
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

    /// What a key of the terminal or of a pedal does. All keys of a pedal that the
    /// settings do not name are `first`, and so is the enter key, which many
    /// pedals that act as keyboards send, unless it has a meaning of its own.
    pub fn action_of(&self, source: &Source, key: &Key, first: A) -> Option<A> {
        let Source::Device(device) = source else {
            let is_enter = *key == Key::Named("enter".to_owned());
            return self.action(key).or_else(|| is_enter.then_some(first));
        };
        let code = match key {
            Key::Code(code) => Some(*code),
            _ => None,
        };
        let mut of_device = self.pedals.iter().filter(|(d, ..)| d == device).peekable();
        if of_device.peek().is_none() {
            return Some(first);
        }
        let lines: Vec<_> = of_device.collect();
        let found = lines.iter().find(|(_, c, _)| c.is_some() && *c == code);
        let found = found.or_else(|| lines.iter().find(|(_, c, _)| c.is_none()));
        found.map(|(.., binding)| binding.action)
    }

    /// The first key that does the thing with this name.
    pub fn key_of(&self, name: &str) -> String {
        let found = self.bound.iter().find(|(_, b)| b.name == name);
        found.map_or_else(String::new, |(key, _)| self::name(key))
    }

    /// Key and word of each binding, for the screen's last line.
    pub fn short(&self) -> Vec<(String, String)> {
        let all = self.table.iter();
        all.map(|b| (self.key_of(b.name), b.word.to_owned()))
            .collect()
    }

    /// Keys and sentence of each binding, for the help.
    pub fn help(&self) -> Vec<(String, String)> {
        let keys = |name: &str| {
            let of = self.bound.iter().filter(|(_, b)| b.name == name);
            of.map(|(key, _)| self::name(key))
                .collect::<Vec<_>>()
                .join(" ")
        };
        let all = self.table.iter();
        all.map(|b| (keys(b.name), b.help.to_owned())).collect()
    }

    /// What each line of the settings' pedals does: device, key, sentence.
    pub fn pedals(&self) -> Vec<(String, String, &'static str)> {
        let key = |code: &Option<u16>| match code {
            Some(code) => format!("key {code}"),
            None => "any other key".to_owned(),
        };
        let all = self.pedals.iter();
        all.map(|(device, code, b)| (device.clone(), key(code), b.help))
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
    fn several_keys_do_one_thing() {
        let keys = map("p enter", "e").unwrap();
        for key in [Key::Sign('p'), Key::Named("enter".into())] {
            assert_eq!(keys.action(&key), Some(1));
        }
        assert_eq!(keys.help()[0], ("p enter".into(), "Pause.".into()));
        assert_eq!(keys.short()[0], ("p".into(), "pause".into()));
        assert_eq!(keys.key_of("pause"), "p");
        let clash = map("p e", "e").unwrap_err().to_string();
        assert!(clash.contains("both \"e\""), "{clash}");
    }

    #[test]
    fn pedals_do_what_the_settings_say() {
        let pedals = |lines: &[(&str, &str)]| {
            let lines = lines
                .iter()
                .map(|(k, v)| ((*k).to_owned(), (*v).to_owned()));
            BTreeMap::from([("Feet".to_owned(), lines.collect())])
        };
        let with = |lines: &[(&str, &str)]| map("p", "e").unwrap().with_pedals(&pedals(lines));
        let of = |name: &str| Source::Device(name.to_owned());
        let keys = with(&[("48", "end")]).unwrap();
        assert_eq!(keys.action_of(&of("Feet"), &Key::Code(48), 7), Some(2));
        assert_eq!(keys.action_of(&of("Feet"), &Key::Code(30), 7), None);
        assert_eq!(keys.action_of(&of("Other"), &Key::Code(30), 7), Some(7));
        let keys = with(&[("48", "end"), ("any", "pause")]).unwrap();
        assert_eq!(keys.action_of(&of("Feet"), &Key::Code(30), 7), Some(1));
        assert_eq!(keys.pedals()[1].1, "any other key");
        let enter = Key::Named("enter".into());
        assert_eq!(keys.action_of(&Source::Terminal, &enter, 7), Some(7));
        let own = map("p", "enter").unwrap();
        assert_eq!(own.action_of(&Source::Terminal, &enter, 7), Some(2));
        for (lines, words) in [
            (
                ("48", "jump"),
                "\"jump\" is nothing that a key can do; give one of pause, end",
            ),
            (("left", "end"), "\"left\" is no key's code"),
            (("999", "end"), "up to 767"),
        ] {
            let error = with(&[lines]).unwrap_err().to_string();
            assert!(error.contains(words) && error.contains("Feet"), "{error}");
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
