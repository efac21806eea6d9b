//! What a review judges by: the line before the settings; moments from a file.

use std::fs;
use std::io::Read;
use std::path::Path;

use anyhow::{Context, bail};

use crate::cli::trouble::{BadUsage, cannot_read};
use crate::journal::Settings;
use crate::review::Rules;
use crate::timeline::{Aim, Moment, MomentKind, Window, parse_moments};

/// Aim, window and distances: the line before the settings.
pub(in crate::cli) fn rules(
    settings: &Settings,
    kind: MomentKind,
    aim: Option<(f64, f64)>,
    window: Option<Window>,
) -> anyhow::Result<Rules> {
    let aim = aim.map_or(settings.aim.of(kind), |(from_ms, to_ms)| Aim {
        from_ms,
        to_ms,
    });
    let window = match window {
        Some(window) => window,
        None => Window::new(settings.pairing.before_ms, settings.pairing.after_ms)?,
    };
    Ok(Rules {
        aim,
        window,
        ball_m: settings.distance.microphone_to_ball_m,
        clicker_m: settings.distance.microphone_to_clicker_m,
        known_within_m: settings.distance.known_within_m,
        file_step_ms: 1e3 / 30.0,
        hand_u_ms: 0.0,
    })
}

/// Whether a table has a column of events: then it is no table of moments.
pub(in crate::cli) fn is_events_table(text: &str) -> bool {
    let text = text.trim_start_matches('\u{feff}');
    let mut lines = text.lines();
    let header = lines.find(|l| !l.trim().is_empty() && !l.starts_with('#'));
    header.is_some_and(|h| h.split([',', ';', '\t']).any(|c| c.trim() == "event"))
}

pub(super) fn read_moments(file: &Path) -> anyhow::Result<(Vec<Moment>, Vec<String>)> {
    let mut text = String::new();
    if file == Path::new("-") {
        std::io::stdin()
            .read_to_string(&mut text)
            .context("cannot read the moments from standard input")?;
    } else {
        let bytes = fs::read(file).map_err(|e| cannot_read("the moments from", file, &e))?;
        text = String::from_utf8_lossy(&bytes).into_owned();
    }
    if is_events_table(&text) {
        bail!(BadUsage(format!(
            "{0} is a table of events, not of moments; give it with: --session --events {0}",
            file.display()
        )));
    }
    let read =
        parse_moments(&text).with_context(|| format!("the moments in {}", file.display()))?;
    let notes = read
        .warnings
        .iter()
        .map(|w| format!("{}: {w}", file.display()))
        .collect();
    Ok((read.moments, notes))
}
