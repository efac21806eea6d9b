//! The file in which the sound of a drill or a session is kept.

use std::fs;
use std::path::PathBuf;

use anyhow::Context;
use jiff::Timestamp;

use crate::journal::Home;
use crate::sound::wav_out::{Depth, WavOut, WavShape};
use crate::system::files::create_new_private_file;

/// Begins the file for the sound of a `what` ("drill"): its name in the sounds'
/// folder, and it. Floats, so that a review hears to the last digit what was heard live.
pub(super) fn begin_sound(
    home: &Home,
    what: &str,
    rate_hz: u32,
) -> anyhow::Result<(String, WavOut)> {
    home.create()?;
    let name = format!("{what}-{}.wav", Timestamp::now().strftime("%Y%m%d-%H%M%S"));
    let path: PathBuf = home.sounds_folder().join(&name);
    create_new_private_file(&path)
        .with_context(|| format!("cannot keep sound in {}", path.display()))?;
    let shape = WavShape {
        sample_rate_hz: rate_hz,
        channels: 1,
        depth: Depth::Float32,
    };
    Ok((name, WavOut::create(&path, shape)?))
}

/// Takes the file away again, where nothing came of what it was begun for.
pub(super) fn forget_sound(home: &Home, name: &str) {
    // What cannot be taken away stays; the error that led here is told.
    let _ = fs::remove_file(home.sounds_folder().join(name));
}
