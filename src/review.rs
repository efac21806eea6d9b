//! What a stretch of sound comes to: moments and marks paired, each lag with its
//! uncertainty, the whole summed up. Pure; the live drill and the recording
//! afterwards come to the same.

use crate::measure::budget::{Budget, Source};
use crate::measure::uncertainty::{rectangular, resolution};
use crate::measure::{Summary, Yardstick, summarise};
use crate::timeline::{Aim, HeardSound, KnownMoment, MomentKind, MomentSource, Pair, Window, pair};

/// Time that sound takes for a metre at 20 °C, in milliseconds (ISO 9613-1:
/// 343.2 m/s).
pub const TRAVEL_MS_PER_M: f64 = 1_000.0 / 343.2;
/// How well a distance is known when nobody measured it: ± this many metres.
pub const DISTANCE_HALF_WIDTH_M: f64 = 0.25;

/// What moments and marks are judged by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rules {
    /// The window of lags that counts as on time.
    pub aim: Aim,
    /// How far apart a moment and its mark may be.
    pub window: Window,
    /// From the microphone to the ball, in metres.
    pub ball_m: f64,
    /// From the microphone to the clicker or the speaker, in metres.
    pub clicker_m: f64,
    /// How well both distances are known: ± this many metres.
    pub known_within_m: f64,
    /// Resolution of moments that come from a file, in milliseconds: one picture
    /// of a video at 30 a second unless told otherwise.
    pub file_step_ms: f64,
    /// Standard uncertainty of moments that a hand told, in milliseconds.
    pub hand_u_ms: f64,
}

/// Pairs of a kind of moment, summed up.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// The pairs, in order of time.
    pub pairs: Vec<Pair>,
    /// Their measures.
    pub summary: Summary,
    /// What the uncertainty of a typical lag is made of; `None` without lags.
    pub budget: Option<Budget>,
}

/// Pairs `moments` with the marks that were heard.
///
/// The sound of the ball and that of the clicker reach the microphone later than
/// they were made: the difference of the two ways is taken off each lag, so that
/// `lag_ms` differs from `mark_s − moment_s` by it when the distances differ.
pub fn judge<'a>(
    marks: impl IntoIterator<Item = &'a HeardSound>,
    moments: impl IntoIterator<Item = &'a KnownMoment>,
    rules: &Rules,
) -> Outcome {
    let marks: Vec<&HeardSound> = marks.into_iter().collect();
    let moments: Vec<&KnownMoment> = moments.into_iter().collect();
    let mark_times: Vec<f64> = marks.iter().map(|m| m.sound.t_s).collect();
    let moment_times: Vec<f64> = moments.iter().map(|m| m.moment.t_s).collect();
    let way_ms = |m: f64| m * TRAVEL_MS_PER_M;
    let mut pairs = pair(&moment_times, &mark_times, rules.window, rules.aim);
    let mut budgets = Vec::new();
    for one in &mut pairs {
        let moment = one.moment.map(|id| moments[id.place()]);
        let mark = one.mark.map(|id| marks[id.place()]);
        (one.moment, one.mark) = (moment.map(|m| m.id), mark.map(|m| m.id));
        let (Some(moment), Some(mark), Some(lag_ms)) = (moment, mark, one.lag_ms) else {
            continue;
        };
        let heard_moment = moment.moment.source == MomentSource::Sound;
        if heard_moment {
            let lag_ms = lag_ms + way_ms(rules.ball_m) - way_ms(rules.clicker_m);
            one.lag_ms = Some(lag_ms);
            one.outcome = rules.aim.judge(lag_ms);
        }
        let moment_u_ms = match (moment.moment.source, moment.moment.kind) {
            (MomentSource::Sound, MomentKind::Release) => {
                (Source::Bounces, moment.u_ms.or(Some(0.0)))
            }
            (MomentSource::Sound, _) => (Source::MomentOnset, moment.u_ms.or(Some(0.0))),
            (MomentSource::Hand, _) => (Source::Hand, Some(rules.hand_u_ms)),
            (MomentSource::File, _) => (Source::Picture, resolution(rules.file_step_ms)),
        };
        let mut parts = vec![(Source::MarkOnset, Some(mark.u_ms)), moment_u_ms];
        if heard_moment {
            let way_u_ms = way_u_ms(rules.known_within_m);
            parts.extend([(Source::MarkWay, way_u_ms), (Source::MomentWay, way_u_ms)]);
        } else {
            let whole_u_ms = whole_way_u_ms(rules.clicker_m, rules.known_within_m);
            parts.push((Source::MarkWay, whole_u_ms));
        }
        let budget = Budget::new(parts);
        one.u_ms = budget.as_ref().and_then(Budget::standard_ms);
        budgets.extend(budget);
    }
    let yardstick =
        Yardstick::shared(moments.iter().map(|m| m.moment.kind)).unwrap_or(Yardstick::Reaction);
    let budget = Budget::typical(&budgets);
    let mut summary = summarise(&pairs, yardstick, rules.aim);
    summary.add_what_lags_share(budget.as_ref().map_or(0.0, Budget::shared_ms));
    Outcome {
        pairs,
        summary,
        budget,
    }
}

/// The budget of lags that were kept: of each only the whole standard uncertainty
/// (milliseconds) is there, and where its moment came from says what it was made of.
/// The distances are those of [`Rules`]. `None` without lags.
pub fn budget_of_kept(
    lags: impl IntoIterator<Item = (MomentSource, f64)>,
    clicker_m: f64,
    known_within_m: f64,
) -> Option<Budget> {
    let budgets: Vec<Budget> = lags
        .into_iter()
        .filter_map(|(source, u_ms)| {
            let (ways, way) = match source {
                MomentSource::Sound => (2.0, way_u_ms(known_within_m)),
                _ => (1.0, whole_way_u_ms(clicker_m, known_within_m)),
            };
            let rest = (u_ms.powi(2) - ways * way?.powi(2)).max(0.0).sqrt();
            let mut parts = vec![(Source::MarkWay, way)];
            match source {
                MomentSource::Sound => {
                    parts.extend([(Source::MomentWay, way), (Source::Onsets, Some(rest))]);
                }
                MomentSource::File => parts.push((Source::Picture, Some(rest))),
                MomentSource::Hand => parts.push((Source::Hand, Some(rest))),
            }
            Budget::new(parts)
        })
        .collect();
    Budget::typical(&budgets)
}

/// What the way of one sound adds, in milliseconds, when the distance is known to
/// ± `known_within_m`; `None` when that is no number or negative.
pub fn way_u_ms(known_within_m: f64) -> Option<f64> {
    rectangular(known_within_m * TRAVEL_MS_PER_M)
}

/// The same where no other way is set against it, in milliseconds: the way is not
/// taken off then, so all of it counts.
fn whole_way_u_ms(clicker_m: f64, known_within_m: f64) -> Option<f64> {
    Some((clicker_m * TRAVEL_MS_PER_M).hypot(way_u_ms(known_within_m)?))
}
