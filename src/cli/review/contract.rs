//! Reviews as the contract's JSON.

use std::io::Write;

use serde::Serialize;

use super::jobs::Done;
use crate::listen::Timeline;
use crate::measure::{Yardstick, summarise};
use crate::page::{Compression, Recording as Reviewed, Review};
use crate::review::{Outcome, Rules};
use crate::timeline::{Moment, MomentKind, MomentSource, Pair};

/// What several recordings come to together.
#[derive(Serialize)]
struct Together<'a> {
    format: &'static str,
    reviews: Vec<&'a serde_json::value::RawValue>,
    summary: crate::measure::Summary,
}

/// All three moments of each drop, or those that a file or a hand told.
fn all_moments(heard: &Timeline, moments: &[Moment]) -> Vec<Moment> {
    if heard.drops.is_empty() || moments.iter().any(|m| m.source != MomentSource::Sound) {
        return moments.to_vec();
    }
    let mut all: Vec<Moment> = [MomentKind::Release, MomentKind::Floor, MomentKind::Top]
        .iter()
        .flat_map(|kind| heard.moments(*kind))
        .map(|m| m.moment)
        .collect();
    all.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    all
}

pub(super) fn json(done: &[Done], rules: &Rules, out: &mut dyn Write) -> anyhow::Result<()> {
    let texts: Vec<String> = done
        .iter()
        .map(|one| {
            let reviewed = Reviewed {
                path: one.file.display().to_string(),
                sample_rate_hz: one.rate_hz,
                channels: one.channels,
                duration_s: one.heard.duration_s,
                track: one.track,
                compression: one.compression.as_ref().map(|c| Compression {
                    codec: c.codec.clone(),
                    kbit_s: c.kbit_s,
                    lossy: c.lossy,
                }),
            };
            contract(reviewed, &one.heard, &one.moments, &one.outcome)
        })
        .collect::<Result<_, _>>()?;
    if let [only] = &texts[..] {
        return Ok(out.write_all(only.as_bytes())?);
    }
    let pairs: Vec<Pair> = done.iter().flat_map(|d| d.outcome.pairs.clone()).collect();
    let kinds = done.iter().flat_map(|d| d.moments.iter().map(|m| m.kind));
    let yardstick = Yardstick::shared(kinds).unwrap_or(Yardstick::Reaction);
    let together = Together {
        format: "marklag.reviews/1",
        reviews: texts
            .iter()
            .map(|t| serde_json::from_str(t))
            .collect::<Result<_, _>>()?,
        summary: summarise(&pairs, yardstick, rules.aim),
    };
    serde_json::to_writer_pretty(&mut *out, &together)?;
    Ok(writeln!(out)?)
}

/// One recording, or what was heard live, as the contract's JSON.
pub(in crate::cli) fn contract(
    reviewed: Reviewed,
    heard: &Timeline,
    moments: &[Moment],
    outcome: &Outcome,
) -> serde_json::Result<String> {
    Review::new(
        reviewed,
        heard.sounds.iter().map(|s| s.sound.clone()).collect(),
        all_moments(heard, moments),
        outcome.pairs.clone(),
        &outcome.summary,
    )
    .with_words(heard.in_praise.clone(), heard.word_at)
    .to_json()
}
