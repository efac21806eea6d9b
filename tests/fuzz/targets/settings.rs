//! The settings file.
#![no_main]

use std::path::Path;

use libfuzzer_sys::fuzz_target;
use marklag::journal::Settings;

fuzz_target!(|text: &str| {
    let _ = Settings::parse(text, Path::new("settings.toml"));
});
