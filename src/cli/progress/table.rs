//! Everyone in one table. One person is read at a time, so that memory is
//! bounded by the busiest one.

use std::io::Write;

use serde::Serialize;

use super::choose::Choice;
use super::{KINDS, name_of};
use crate::journal::{Journal, Settings};
use crate::measure::weeks::{By, Day, Figures, Progress, Trend, Verdict, progress};
use crate::timeline::MomentKind;

/// One line of the table.
#[derive(Serialize)]
struct Line<'a> {
    person: Option<&'a str>,
    kind: MomentKind,
    days: usize,
    first_day: Day,
    last_day: Day,
    whole: &'a Figures,
    lag_trend: &'a Trend,
    spread_trend: &'a Trend,
}

/// Writes a line for each person and kind of moment. The corrected p-values are
/// those of the two trends of one line; lines are not corrected for each other.
pub(super) fn everyone(
    journal: &Journal,
    choice: &Choice,
    settings: &Settings,
    json: bool,
    out: &mut dyn Write,
) -> anyhow::Result<()> {
    if json {
        write!(out, "{{\"format\":\"marklag.everyone/1\",\"lines\":[")?;
    } else {
        writeln!(
            out,
            "{:<12} {:<9} {:>5} {:>8} {:>6} {:>6} {:>7}  a week",
            "who", "moment", "days", "moments", "median", "spread", "on time"
        )?;
    }
    let mut first = true;
    for person in journal.people()? {
        let lots = choice.lots(journal, person.as_deref())?;
        for kind in KINDS {
            let share = settings.goal.on_time_share;
            let Some(p) = progress(&lots, kind, settings.aim.of(kind), share, By::Day) else {
                continue;
            };
            if json {
                if !first {
                    write!(out, ",")?;
                }
                let line = Line {
                    person: person.as_deref(),
                    kind,
                    days: p.n_days,
                    first_day: p.first_day,
                    last_day: p.last_day,
                    whole: &p.whole,
                    lag_trend: &p.lag_trend,
                    spread_trend: &p.spread_trend,
                };
                serde_json::to_writer(&mut *out, &line).map_err(std::io::Error::from)?;
            } else {
                writeln!(out, "{}", line(person.as_deref(), &p))?;
            }
            first = false;
        }
    }
    if json {
        writeln!(out, "]}}")?;
    } else if first {
        writeln!(out, "Nothing fits.")?;
    } else {
        writeln!(
            out,
            "\nLags and spread in ms, negative early. A week: the change of the median, with\n\
             its 95 % interval; a ? where no trend can be told."
        )?;
    }
    Ok(())
}

fn line(person: Option<&str>, p: &Progress) -> String {
    let ms = |value: Option<f64>| value.map_or("-".to_owned(), |v| format!("{v:.0}"));
    let signed = |value: Option<f64>| value.map_or("-".to_owned(), |v| format!("{v:+.0}"));
    let percent = p.whole.on_time.share.map(|s| format!("{:.0} %", 100.0 * s));
    let trend = match (p.lag_trend.verdict, p.lag_trend.per_week_ms) {
        (Verdict::TooFew { .. }, _) | (_, None) => "too few days".to_owned(),
        (verdict, Some(slope)) => {
            let clear = matches!(verdict, Verdict::Falls | Verdict::Rises);
            let ends = p.lag_trend.per_week_interval;
            let ends = ends.map_or(String::new(), |i| {
                format!(" ({} {})", brief(i.low), brief(i.high))
            });
            format!("{}{ends}{}", brief(slope), if clear { "" } else { "?" })
        }
    };
    let who: String = name_of(person).chars().take(12).collect();
    format!(
        "{who:<12} {:<9} {:>5} {:>8} {:>6} {:>6} {:>7}  {trend}",
        p.kind.word(),
        p.n_days,
        p.whole.on_time.of,
        signed(p.whole.median_ms),
        ms(p.whole.spread_ms),
        percent.unwrap_or("-".to_owned()),
    )
}

/// A slope in a narrow column.
fn brief(ms: f64) -> String {
    if ms.abs() < 9.95 {
        format!("{ms:+.1}")
    } else {
        format!("{ms:+.0}")
    }
}
