//! Which plan, where none was named; and how the last session with it went.

use std::cmp::Reverse;
use std::io::{self, BufRead, Write};

use jiff::Timestamp;

use crate::cli::journal::local;
use crate::journal::{Home, Journal, PlanRow};
use crate::page::{minutes, next_time};
use crate::timeline::Plan;

/// More plans than this are not listed.
const MOST: usize = 9;

/// The kept plans, of one animal or of all, the latest used first; those never used
/// come last.
pub(super) fn plans(home: &Home, animal: Option<&str>) -> anyhow::Result<Vec<PlanRow>> {
    let mut plans = match Journal::open_existing(&home.journal_file())? {
        Some(journal) => journal.plans()?,
        None => Vec::new(),
    };
    plans.retain(|plan| animal.is_none_or(|animal| plan.animal == animal));
    plans.sort_by_key(|plan| Reverse(plan.latest.as_ref().map(|(_, at)| *at)));
    plans.truncate(MOST);
    Ok(plans)
}

/// Asks for a plan by its number; `None` for practice without one.
pub(super) fn ask<'a>(
    plans: &'a [PlanRow],
    answers: &mut dyn BufRead,
    out: &mut dyn Write,
) -> io::Result<Option<&'a str>> {
    writeln!(out, "No plan was named. The plans, the latest used first:")?;
    for (number, plan) in (1..).zip(plans) {
        let used = match &plan.latest {
            Some((_, at)) => format!("last used {}", local(*at, None)),
            None => "not used yet".to_owned(),
        };
        writeln!(out, "  {number}  {} ({}), {used}", plan.name, plan.animal)?;
    }
    loop {
        write!(out, "Its number, or enter to practise without a plan: ")?;
        out.flush()?;
        let mut answer = String::new();
        if answers.read_line(&mut answer)? == 0 || answer.trim().is_empty() {
            return Ok(None);
        }
        let picked = answer.trim().parse::<usize>().ok();
        let picked = picked.and_then(|number| plans.get(number.checked_sub(1)?));
        if let Some(plan) = picked {
            return Ok(Some(&plan.name));
        }
        writeln!(out, "{:?} is none of these numbers.", answer.trim())?;
    }
}

/// Says which plans there are where nobody can be asked.
pub(super) fn tell(plans: &[PlanRow], out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "Note: no plan was named, so this is practice without one. With a plan, the latest used first:"
    )?;
    for plan in plans {
        writeln!(
            out,
            "  marklag train {:?} (with {})",
            plan.name, plan.animal
        )?;
    }
    Ok(())
}

/// How the last session by a plan went, what its rules say of this one, and how long
/// ago it was; `None` where there was none or it never ended.
pub(super) fn last_time(
    home: &Home,
    plan: &Plan,
    now: Timestamp,
) -> anyhow::Result<Option<String>> {
    let Some(journal) = Journal::open_existing(&home.journal_file())? else {
        return Ok(None);
    };
    let mut plans = journal.plans()?.into_iter();
    let row = plans.find(|row| !plan.name.is_empty() && row.name == plan.name);
    let Some((id, _)) = row.and_then(|row| row.latest) else {
        return Ok(None);
    };
    let stored = journal.read_session(&id)?;
    let (Some(measures), Some(ended_at)) = (&stored.measures, stored.bout.ended_at) else {
        return Ok(None);
    };
    let marks = match measures.marks {
        1 => "1 mark".to_owned(),
        n => format!("{n} marks"),
    };
    let ago = minutes_ago(now.duration_since(ended_at).as_secs_f64());
    let mut words = format!(
        "Last time, {ago}: {marks} in {}.",
        minutes(measures.length_s)
    );
    // Its first lines are those of the steps, one each.
    for line in next_time(measures, &stored.setup)
        .iter()
        .take(measures.steps.len())
    {
        words += &format!(" {line}");
    }
    if let Some(again_min) = plan.again_after_min {
        words += &format!(" Your plan says again after {}.", minutes(again_min * 60.0));
    }
    Ok(Some(words))
}

/// "20 min ago", "3 days ago".
fn minutes_ago(s: f64) -> String {
    let count = |n: f64, one: &str, many: &str| match n.max(0.0).floor() {
        1.0 => format!("1 {one} ago"),
        n => format!("{n:.0} {many} ago"),
    };
    match s {
        s if s < 3_600.0 => count(s / 60.0, "min", "min"),
        s if s < 172_800.0 => count(s / 3_600.0, "hour", "hours"),
        s => count(s / 86_400.0, "day", "days"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(name: &str) -> PlanRow {
        PlanRow {
            name: name.to_owned(),
            animal: "Juniper".to_owned(),
            length_min: 5.0,
            sessions: 0,
            latest: None,
        }
    }

    fn answered(with: &str) -> (Option<String>, String) {
        let plans = [row("target"), row("mat")];
        let mut out = Vec::new();
        let picked = ask(&plans, &mut with.as_bytes(), &mut out).unwrap();
        let picked = picked.map(str::to_owned);
        (picked, String::from_utf8(out).unwrap())
    }

    #[test]
    fn a_plan_is_picked_by_its_number() {
        let (picked, asked) = answered("2\n");
        assert_eq!(picked.as_deref(), Some("mat"));
        assert!(
            asked.contains("  1  target (Juniper), not used yet"),
            "{asked}"
        );
        for none in ["\n", "", "3\n\n"] {
            assert_eq!(answered(none).0, None, "{none:?}");
        }
        for wrong in ["0\n1\n", "mat\n1\n"] {
            let (picked, asked) = answered(wrong);
            assert_eq!(picked.as_deref(), Some("target"));
            assert!(asked.contains("is none of these numbers"), "{asked}");
        }
    }

    #[test]
    fn how_long_ago_in_words() {
        for (s, words) in [
            (30.0, "0 min ago"),
            (61.0, "1 min ago"),
            (3_599.0, "59 min ago"),
            (3_600.0, "1 hour ago"),
            (90_000.0, "25 hours ago"),
            (200_000.0, "2 days ago"),
            (-5.0, "0 min ago"),
        ] {
            assert_eq!(minutes_ago(s), words);
        }
    }
}
