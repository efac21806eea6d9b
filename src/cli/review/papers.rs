//! What a review writes: the summary, tables, captions, cue points.

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::ensure;

use super::ReviewCmd;
use super::contract::json;
use super::hints::hints;
use super::jobs::Done;
use crate::cli::bridges::Bridges;
use crate::cli::target::Target;
use crate::cli::{columns, summary};
use crate::ear::word::WordAt;
use crate::measure::budget::Budget;
use crate::measure::{Yardstick, summarise};
use crate::page::{budget_lines, captions, write_pairs_csv};
use crate::review::Rules;
use crate::sound::cues::{Cue, check_copy, write_cues};
use crate::timeline::{Moment, MomentKind, Pair};

/// Where the tables and captions go.
pub(super) struct Targets {
    csv: Option<Target>,
    vtt: Option<Target>,
}

impl ReviewCmd {
    /// Tries the places where results go, before minutes of listening.
    pub(super) fn targets(&self) -> anyhow::Result<Targets> {
        let open = |path: &Option<PathBuf>| path.as_deref().map(Target::open).transpose();
        if let (Some(copy), Some(file)) = (&self.cues, self.files.first()) {
            ensure!(
                matches!(Target::open(copy)?, Target::Whole { .. }),
                "{} is a device or a pipe; give --cues the name of a file",
                copy.display()
            );
            check_copy(file, copy)?;
        }
        Ok(Targets {
            csv: open(&self.csv)?,
            vtt: open(&self.vtt)?,
        })
    }

    pub(super) fn papers(
        &self,
        targets: Targets,
        done: &[Done],
        kind: MomentKind,
        rules: &Rules,
        taught: &Bridges,
        out: &mut dyn Write,
    ) -> anyhow::Result<()> {
        let is_stdout = |target: &Option<Target>| target.as_ref().is_some_and(Target::is_stdout);
        let is_taken = is_stdout(&targets.csv) || is_stdout(&targets.vtt);
        if let Some(target) = targets.csv {
            let mut text = Vec::new();
            write_pairs_csv(
                &mut text,
                &done
                    .iter()
                    .flat_map(|d| d.outcome.pairs.clone())
                    .collect::<Vec<Pair>>(),
                done.first().map_or(WordAt::Onset, |d| d.heard.word_at),
            )?;
            target.write(&text, out)?;
        }
        if let (Some(target), Some(one)) = (targets.vtt, done.first()) {
            target.write(captions_on_video(one).as_bytes(), out)?;
        }
        if let (Some(file), Some(one)) = (&self.cues, done.first()) {
            write_cues(&one.file, file, &cue_points(one, kind))?;
        }
        if self.json {
            return json(done, rules, out);
        }
        if is_taken {
            return Ok(());
        }
        for (k, one) in done.iter().enumerate() {
            if k > 0 {
                writeln!(out)?;
            }
            let title = if one.file == Path::new("-") {
                "Standard input".to_owned()
            } else {
                one.file.display().to_string()
            };
            summary::write(out, &title, &one.heard, kind, &one.outcome, columns())?;
            for hint in hints(one, taught, self.moments.is_some()) {
                writeln!(out, "{hint}")?;
            }
            if let (true, Some(budget)) = (self.budget, &one.outcome.budget) {
                write_budget(out, budget)?;
            }
        }
        if done.len() > 1 {
            let pairs: Vec<Pair> = done.iter().flat_map(|d| d.outcome.pairs.clone()).collect();
            writeln!(out, "\nAll {} recordings together:\n", done.len())?;
            summary::measures(
                out,
                &pairs,
                &summarise(&pairs, Yardstick::of(kind), rules.aim),
                columns(),
            )?;
        }
        Ok(())
    }
}

/// What the uncertainty of a typical lag is made of.
fn write_budget(out: &mut dyn Write, budget: &Budget) -> std::io::Result<()> {
    let Some(ms) = budget.half_width_ms() else {
        return Ok(());
    };
    writeln!(
        out,
        "\nA typical lag is known to ±{ms:.2} ms (95 in 100). It is made of:"
    )?;
    for line in budget_lines(&budget.rows(), columns().saturating_sub(2)) {
        writeln!(out, "  {line}")?;
    }
    Ok(())
}

fn captions_on_video(one: &Done) -> String {
    // Players show captions by the picture's clock.
    let later = |t: f64| t + one.picture_offset_s;
    let pairs: Vec<Pair> = one
        .outcome
        .pairs
        .iter()
        .map(|p| Pair {
            moment_s: p.moment_s.map(later),
            mark_s: p.mark_s.map(later),
            ..p.clone()
        })
        .collect();
    let moments: Vec<Moment> = one
        .moments
        .iter()
        .map(|m| Moment {
            t_s: later(m.t_s),
            ..m.clone()
        })
        .collect();
    captions(&pairs, &moments, one.heard.word_at)
}

fn cue_points(one: &Done, kind: MomentKind) -> Vec<Cue> {
    let sample = |t_s: f64| (t_s * f64::from(one.rate_hz)).round().max(0.0) as u64;
    let mut cues: Vec<Cue> = Vec::new();
    for pair in &one.outcome.pairs {
        if let Some(t_s) = pair.moment_s {
            cues.push(Cue {
                sample: sample(t_s),
                label: kind.word().to_owned(),
            });
        }
        if let Some(t_s) = pair.mark_s {
            let label = pair.lag_ms.map_or_else(
                || "stray mark".to_owned(),
                |lag| format!("mark {lag:+.1} ms"),
            );
            cues.push(Cue {
                sample: sample(t_s),
                label,
            });
        }
    }
    cues.sort_by_key(|c| c.sample);
    cues
}
