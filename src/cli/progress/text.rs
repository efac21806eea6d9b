//! Progress as plain text for 80 columns.

use std::io::Write;

use super::{Told, name_of};
use crate::cli::prose::wrapped;
use crate::measure::weeks::words::{self, marks_of, span};
use crate::measure::weeks::{By, Day, Progress, RULE, Row};
use crate::page::{Glyphs, lag_chart};
use crate::words::count;

/// Rows of the picture.
const CHART_ROWS: usize = 11;

/// Writes everything about a person.
pub(super) fn write(
    out: &mut dyn Write,
    told: &Told,
    lines: usize,
    compare: bool,
    width: usize,
) -> anyhow::Result<()> {
    let who = name_of(told.person.as_deref());
    if told.kinds.is_empty() {
        writeln!(out, "{who}: nothing that fits has been kept.")?;
        return Ok(());
    }
    for (k, (progress, compared)) in told.kinds.iter().zip(&told.comparisons).enumerate() {
        if k > 0 {
            writeln!(out)?;
        }
        kind(out, &who, told, progress, lines, width)?;
        if compare {
            writeln!(out)?;
            if compared.is_empty() {
                wrapped(out, "There is nothing to compare yet.", width)?;
            }
            for one in compared {
                wrapped(out, &words::comparison(one), width)?;
            }
            if compared.len() > 1 {
                let told = "Each p is corrected for all comparisons made together (Holm).";
                wrapped(out, told, width)?;
            }
        }
    }
    if let Some(words) = words::at_centre(told.at_centre) {
        writeln!(out)?;
        wrapped(out, &words, width)?;
    }
    if let Some(next) = &told.next {
        writeln!(out)?;
        wrapped(out, &words::suggestion(next), width)?;
        wrapped(out, &format!("The rule: {RULE}"), width)?;
    }
    Ok(())
}

fn kind(
    out: &mut dyn Write,
    who: &str,
    told: &Told,
    progress: &Progress,
    lines: usize,
    width: usize,
) -> anyhow::Result<()> {
    let aim = progress.aim;
    wrapped(
        out,
        &format!(
            "{who}: {}, {} of practice from {} to {} ({}), aim {:+.0} to {:+.0} ms",
            marks_of(progress.kind),
            count(progress.n_days, "day", "days"),
            progress.first_day,
            progress.last_day,
            span((progress.last_day.0 - progress.first_day.0).max(1)),
            aim.from_ms,
            aim.to_ms
        ),
        width,
    )?;
    writeln!(out)?;
    let by_days: Vec<(Day, f64)> = progress
        .rows
        .iter()
        .filter_map(|row| Some((row.from, row.figures.median_ms?)))
        .collect();
    if by_days.len() > 1 {
        write!(
            out,
            "{}",
            lag_chart(
                &by_days,
                of(told.by),
                aim,
                width,
                CHART_ROWS,
                Glyphs::Unicode
            )
        )?;
        writeln!(out)?;
    }
    table(out, &progress.rows, lines)?;
    writeln!(out)?;
    wrapped(out, &words::standing(progress), width)?;
    for sentence in words::trends(progress)
        .into_iter()
        .chain(words::goal(&progress.goal))
    {
        wrapped(out, &sentence, width)?;
    }
    Ok(())
}

/// What a value of the picture is the median of.
fn of(by: By) -> &'static str {
    match by {
        By::Bout => "a bout",
        By::Day => "a day",
        By::Week => "a week",
        By::Month => "a month",
    }
}

fn table(out: &mut dyn Write, rows: &[Row], lines: usize) -> anyhow::Result<()> {
    writeln!(
        out,
        "{:<10}  {:>5}  {:>6}  {:>13}  {:>6}  {:>9}  {:>6}  {:>5}  {:>4}",
        "from", "bouts", "median", "95 % interval", "spread", "on time", "missed", "stray", "/min"
    )?;
    let skipped = rows.len().saturating_sub(lines);
    for row in &rows[skipped..] {
        let f = &row.figures;
        let ms = |v: Option<f64>| v.map_or("-".to_owned(), |v| format!("{v:+.0}"));
        let interval = match f.low_ms.zip(f.high_ms) {
            Some((low, high)) => format!("{low:+.0} to {high:+.0}"),
            None => "too few".to_owned(),
        };
        writeln!(
            out,
            "{:<10}  {:>5}  {:>6}  {interval:>13}  {:>6}  {:>9}  {:>6}  {:>5}  {:>4}",
            row.from.to_string(),
            row.bouts,
            ms(f.median_ms),
            f.spread_ms.map_or("-".to_owned(), |v| format!("{v:.0}")),
            format!("{}/{}", f.on_time.count, f.on_time.of),
            f.missed.count,
            f.stray.count,
            f.per_minute.map_or("-".to_owned(), |v| format!("{v:.1}")),
        )?;
    }
    if skipped > 0 {
        writeln!(out, "… and {skipped} earlier; --lines N shows more")?;
    }
    Ok(())
}
