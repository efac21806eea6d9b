//! How late each key or pedal is, as it was measured and kept in the home folder.

use std::collections::BTreeMap;
use std::fs;
use std::io::ErrorKind;

use anyhow::Context;

use super::trouble::cannot_read;
use crate::hand::{KeyPath, Source};
use crate::journal::Home;

/// The measured path of a device; `None` where it was never measured. The file
/// `hands.json` holds an object: device name ("terminal" for the terminal's own
/// keyboard) → path.
pub(super) fn key_path(home: &Home, device: &Source) -> anyhow::Result<Option<KeyPath>> {
    let file = home.folder().join("hands.json");
    let text = match fs::read_to_string(&file) {
        Ok(text) => text,
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(cannot_read("how late the keys are from", &file, &e)),
    };
    let paths: BTreeMap<String, KeyPath> = serde_json::from_str(&text).with_context(|| {
        format!(
            "{} is damaged; take it away and check again",
            file.display()
        )
    })?;
    let name = match device {
        Source::Terminal => "terminal",
        Source::Device(name) => name,
    };
    Ok(paths.get(name).copied())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_path_is_found_by_its_device_and_damage_is_named() {
        let scratch = tempfile::tempdir().unwrap();
        let home = Home::at(scratch.path());
        let pedal = Source::Device("Foot".into());
        assert_eq!(key_path(&home, &pedal).unwrap(), None);
        let file = scratch.path().join("hands.json");
        let text = r#"{"Foot":{"delay_ms":21.5,"jitter_ms":2.0,"taps":20}}"#;
        fs::write(&file, text).unwrap();
        let path = key_path(&home, &pedal).unwrap().unwrap();
        assert_eq!((path.delay_ms, path.jitter_ms, path.taps), (21.5, 2.0, 20));
        assert_eq!(key_path(&home, &Source::Terminal).unwrap(), None);
        fs::write(&file, "{").unwrap();
        let error = key_path(&home, &pedal).unwrap_err().to_string();
        assert!(error.contains("hands.json is damaged"), "{error}");
    }
}
