//! The check in words: the rows of the screen and the report.

use std::io::{self, Write};

use crate::check::{BridgeHeard, Clock, Facts, Judged, Verdict, WordHeard};
use crate::ear::CLEAR_DB;
use crate::page::budget_lines;
use crate::screen::view::setup::lines_of;

/// Name and value of each thing that was seen, for the screen and the report.
pub(super) fn rows(facts: &Facts) -> Vec<(String, String)> {
    let mut rows: Vec<(String, String)> = facts
        .clickers
        .iter()
        .map(|c| (c.name.clone(), bridge(c)))
        .collect();
    let words = facts.words.iter();
    rows.extend(words.map(|w| (w.heard.name.clone(), word(w))));
    let mut row = |name: &str, value: String| rows.push((name.to_owned(), value));
    row("Room", room(facts));
    if facts.bangs > 0 {
        row("Other sounds", facts.bangs.to_string());
    }
    if let Some(clock) = &facts.clock {
        row("Clock", clock_words(clock, facts.sample_rate_hz));
    }
    if let Some(blocks) = facts.blocks {
        row(
            "Blocks",
            format!(
                "one every {:.1} ms, longest wait {:.0} ms",
                blocks.typical_ms, blocks.longest_ms
            ),
        );
    }
    row("Troubles", troubles(facts));
    if let Some(device) = &facts.device {
        row(
            "Microphone",
            format!(
                "{}, through {}, {} Hz, {}, {}",
                device.name,
                device.host,
                facts.sample_rate_hz,
                match device.channels {
                    1 => "1 channel".to_owned(),
                    n => format!("{n} channels"),
                },
                device.sample_format
            ),
        );
    }
    rows
}

fn word(w: &WordHeard) -> String {
    match w.in_praise {
        0 => bridge(&w.heard),
        n => format!("{}; {n} within praise or talk", bridge(&w.heard)),
    }
}

fn bridge(c: &BridgeHeard) -> String {
    let Some(level) = c.level_dbfs else {
        return "not heard yet".to_owned();
    };
    let low = c.scores.iter().copied().fold(1.0, f64::min);
    let high = c.scores.iter().copied().fold(0.0, f64::max);
    let times = if c.heard == 1 {
        "once".to_owned()
    } else {
        format!("{} times", c.heard)
    };
    format!("heard {times}, {level:.0} dB, scores {low:.2} to {high:.2}")
}

fn room(facts: &Facts) -> String {
    let noise = match facts.level.noise_dbfs {
        None => return "not known yet".to_owned(),
        Some(_) if facts.level.is_nothing => return "nothing but zeros".to_owned(),
        Some(dbfs) => format!("noise at {dbfs:.0} dB"),
    };
    match facts.level.loudest_over_noise_db {
        Some(db) if db >= CLEAR_DB => {
            format!("{noise}, the loudest sound {db:.0} dB over it: good")
        }
        Some(db) => format!("{noise}, the loudest sound only {db:.0} dB over it"),
        None => noise,
    }
}

fn clock_words(clock: &Clock, rate_hz: u32) -> String {
    match (
        clock.drift_ppm,
        clock.drift_u_ppm,
        clock.rate_hz,
        clock.residual_ms,
    ) {
        (Some(ppm), Some(u), Some(hz), Some(residual)) => {
            format!("{hz:.1} Hz for {rate_hz}: {ppm:+.1} ±{u:.1} ppm, scatter {residual:.2} ms")
        }
        _ => "being watched; five seconds are needed".to_owned(),
    }
}

fn troubles(facts: &Facts) -> String {
    let t = &facts.troubles;
    let counted = [
        (t.gaps, "gaps"),
        (t.overruns, "overruns"),
        (t.driver_overruns as usize, "driver overruns"),
        (t.extras, "stretches put in"),
        (t.stalls, "stalls"),
        (t.losses, "losses of the microphone"),
        (t.silences, "stretches of zeros"),
    ];
    let words: Vec<String> = counted
        .iter()
        .filter(|(n, _)| *n > 0)
        .map(|(n, what)| format!("{what}: {n}"))
        .collect();
    if words.is_empty() {
        "none: no gap, no overrun".to_owned()
    } else {
        words.join(", ")
    }
}

/// The whole report.
pub(super) fn report(
    out: &mut dyn Write,
    facts: &Facts,
    verdict: &Verdict,
    with_parts: bool,
    columns: usize,
) -> io::Result<()> {
    writeln!(out, "Checked for {:.0} s.", facts.watched_s)?;
    for (name, value) in rows(facts) {
        writeln!(out, "{name:<14}{value}")?;
    }
    writeln!(out)?;
    writeln!(out, "Can it be trusted? (± holds 95 lags in 100)")?;
    for judged in &verdict.uses {
        writeln!(out, "  {judged}")?;
        if with_parts {
            for line in budget_lines(&judged.parts, columns.saturating_sub(4)) {
                writeln!(out, "    {line}")?;
            }
            presser(out, facts, judged)?;
        }
    }
    if !verdict.findings.is_empty() {
        writeln!(out)?;
        writeln!(out, "What to do:")?;
        for finding in &verdict.findings {
            for (k, line) in lines_of(&finding.to_string(), columns.saturating_sub(4))
                .iter()
                .enumerate()
            {
                writeln!(out, "{} {line}", if k == 0 { "  -" } else { "   " })?;
            }
        }
    }
    Ok(())
}

/// What the hand of whoever keys the moments adds.
fn presser(out: &mut dyn Write, facts: &Facts, judged: &Judged) -> io::Result<()> {
    if let (Some(who), Some(ms)) = (&facts.presser, judged.with_presser_ms) {
        writeln!(
            out,
            "    with the hand of {}, spread {:.0} ms as measured: to ±{ms:.0} ms",
            who.name, who.spread_ms
        )?;
    } else if facts.hands.iter().any(|h| judged.of.contains(&h.name)) {
        writeln!(
            out,
            "    the hand of whoever keys is not in it; measure it: marklag drop --key-against-sound"
        )?;
    }
    Ok(())
}
