//! Which microphone: the list shown to the user and the choice remembered.

use std::fmt;

/// A microphone as the system names it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Device {
    /// The system's name, the same after a restart. Not for the eye.
    pub id: String,
    /// The name for the eye; several devices may share it.
    pub description: String,
    /// Whether the system would choose it.
    pub is_default: bool,
}

/// The microphone the trainer chose. The id is looked for first; the
/// description stands in when a device came back under another id.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Choice {
    /// The system's name.
    pub id: String,
    /// The name for the eye.
    pub description: String,
}

impl From<&Device> for Choice {
    fn from(device: &Device) -> Self {
        Self {
            id: device.id.clone(),
            description: device.description.clone(),
        }
    }
}

/// Why no device was picked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PickError {
    /// There is no microphone at all.
    None,
    /// The chosen one is not there.
    Missing {
        /// What was wanted.
        wanted: String,
        /// What is there.
        present: Vec<String>,
    },
    /// Several devices have the wanted name and none the wanted id.
    Ambiguous {
        /// What was wanted.
        wanted: String,
        /// How many have the name.
        count: usize,
    },
}

impl fmt::Display for PickError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::None => f.write_str(
                "No microphone was found. Plug one in, or start the sound system, and try again.",
            ),
            Self::Missing { wanted, present } => write!(
                f,
                "The microphone \"{wanted}\" is not there. Plug it in, or choose one of: {}.",
                present.join(", ")
            ),
            Self::Ambiguous { wanted, count } => write!(
                f,
                "{count} microphones are called \"{wanted}\". Choose one of them anew."
            ),
        }
    }
}

impl std::error::Error for PickError {}

/// The device that a choice means among those present; without a choice the
/// system's default, or the only one there is.
pub fn pick<'a>(devices: &'a [Device], choice: Option<&Choice>) -> Result<&'a Device, PickError> {
    let first = devices.first().ok_or(PickError::None)?;
    let Some(choice) = choice else {
        return Ok(devices.iter().find(|d| d.is_default).unwrap_or(first));
    };
    if let Some(device) = devices.iter().find(|d| d.id == choice.id) {
        return Ok(device);
    }
    let named: Vec<&Device> = devices
        .iter()
        .filter(|d| d.description == choice.description)
        .collect();
    match named[..] {
        [device] => Ok(device),
        [] => Err(PickError::Missing {
            wanted: choice.description.clone(),
            present: devices.iter().map(|d| d.description.clone()).collect(),
        }),
        _ => Err(PickError::Ambiguous {
            wanted: choice.description.clone(),
            count: named.len(),
        }),
    }
}

/// The ALSA names worth showing when no sound server runs: each capture device
/// of a card once, by the card's name (a card's number changes when another is
/// plugged in). Everything else in ALSA's list is a converter, a mixer or a
/// second name for the same thing.
pub(super) fn keep_alsa<'a>(ids: &[&'a str]) -> Vec<&'a str> {
    let card = |id: &'a str| id.strip_prefix("hw:CARD=")?.split(',').next();
    let by_name = |id: &'a str| card(id).is_some_and(|c| c.parse::<u32>().is_err());
    let named: Vec<&str> = ids.iter().copied().filter(|id| by_name(id)).collect();
    if named.is_empty() {
        ids.iter()
            .copied()
            .filter(|id| card(id).is_some())
            .collect()
    } else {
        named
    }
}

/// Whether a sound server's source is a loudspeaker heard back rather than a microphone.
pub(super) fn is_monitor(source: &str) -> bool {
    source.ends_with(".monitor")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn device(id: &str, description: &str, is_default: bool) -> Device {
        Device {
            id: id.into(),
            description: description.into(),
            is_default,
        }
    }

    fn choice(id: &str, description: &str) -> Choice {
        Choice::from(&device(id, description, false))
    }

    #[test]
    fn the_id_goes_before_the_name_and_the_name_stands_in() {
        let all = [
            device("a1", "Lapel", false),
            device("b2", "Desk", true),
            device("c3", "Lapel", false),
        ];
        assert_eq!(pick(&all, None).unwrap().id, "b2");
        assert_eq!(pick(&all, Some(&choice("c3", "Desk"))).unwrap().id, "c3");
        assert_eq!(pick(&all, Some(&choice("gone", "Desk"))).unwrap().id, "b2");
        let two = pick(&all, Some(&choice("gone", "Lapel"))).unwrap_err();
        assert_eq!(
            two.to_string(),
            "2 microphones are called \"Lapel\". Choose one of them anew."
        );
        let none = pick(&all, Some(&choice("gone", "Barn"))).unwrap_err();
        assert!(none.to_string().contains("\"Barn\"") && none.to_string().contains("Lapel, Desk"));
        assert_eq!(pick(&[], None), Err(PickError::None));
    }

    #[test]
    fn without_a_default_the_first_is_taken() {
        let all = [device("a", "A", false), device("b", "B", false)];
        assert_eq!(pick(&all, None).unwrap().id, "a");
    }

    #[test]
    fn alsa_junk_is_hidden() {
        // Names as ALSA lists them on a machine with one card, and on one without.
        let junk = [
            "null",
            "lavrate",
            "samplerate",
            "speexrate",
            "jack",
            "oss",
            "pulse",
            "upmix",
            "vdownmix",
            "default",
            "sysdefault:CARD=PCH",
            "plughw:CARD=PCH,DEV=0",
            "front:CARD=PCH,DEV=0",
            "dsnoop:CARD=PCH,DEV=0",
            "plughw:CARD=0,DEV=0",
        ];
        let mut all = junk.to_vec();
        all.extend(["hw:CARD=PCH,DEV=0", "hw:CARD=PCH,DEV=2", "hw:CARD=0,DEV=0"]);
        assert_eq!(keep_alsa(&all), ["hw:CARD=PCH,DEV=0", "hw:CARD=PCH,DEV=2"]);
        assert!(keep_alsa(&junk).is_empty());
        assert_eq!(keep_alsa(&["hw:CARD=0,DEV=0"]), ["hw:CARD=0,DEV=0"]);
    }
}
