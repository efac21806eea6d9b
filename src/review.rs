//! What a stretch of sound comes to: moments and marks paired, each lag with its
//! uncertainty, the whole summed up. Pure; the live drill and the recording
//! afterwards come to the same.

use crate::listen::Timeline;
use crate::measure::uncertainty::{Contribution, combine, rectangular, resolution};
use crate::measure::{Summary, Yardstick, summarise};
use crate::timeline::{Aim, Moment, MomentKind, MomentSource, Pair, Window, pair};

/// Time that sound takes for a metre at 20 °C, in milliseconds (ISO 9613-1:
/// 343.2 m/s).
pub const TRAVEL_MS_PER_M: f64 = 1_000.0 / 343.2;
/// How well a distance is known when nobody measured it: ± this many metres.
const DISTANCE_HALF_WIDTH_M: f64 = 0.25;

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
}

/// Pairs `moments` with the marks that were heard.
///
/// The sound of the ball and that of the clicker reach the microphone later than
/// they were made: the difference of the two ways is taken off each lag, so that
/// `lag_ms` differs from `mark_s − moment_s` by it when the distances differ.
pub fn judge(heard: &Timeline, moments: &[Moment], rules: &Rules) -> Outcome {
    let marks = heard.marks();
    let mark_times: Vec<f64> = marks.iter().map(|m| m.0).collect();
    let moment_times: Vec<f64> = moments.iter().map(|m| m.t_s).collect();
    let way_ms = |m: f64| m * TRAVEL_MS_PER_M;
    let mut pairs = pair(&moment_times, &mark_times, rules.window, rules.aim);
    for one in &mut pairs {
        let (Some(moment_s), Some(mark_s), Some(lag_ms)) = (one.moment_s, one.mark_s, one.lag_ms)
        else {
            continue;
        };
        let moment = moments.iter().find(|m| m.t_s == moment_s);
        let heard_moment = moment.is_some_and(|m| m.source == MomentSource::Sound);
        let mark_u_ms = marks.iter().find(|m| m.0 == mark_s).map_or(0.0, |m| m.1);
        if heard_moment {
            let lag_ms = lag_ms + way_ms(rules.ball_m) - way_ms(rules.clicker_m);
            one.lag_ms = Some(lag_ms);
            one.outcome = rules.aim.judge(lag_ms);
        }
        let moment_u_ms = match moment {
            Some(m) if heard_moment => moment_u_ms(heard, m),
            Some(m) if m.source == MomentSource::Hand => rules.hand_u_ms,
            _ => resolution(rules.file_step_ms).unwrap_or(0.0),
        };
        one.u_ms = lag_u_ms(mark_u_ms, moment_u_ms, heard_moment);
    }
    let yardstick =
        Yardstick::shared(moments.iter().map(|m| m.kind)).unwrap_or(Yardstick::Reaction);
    let summary = summarise(&pairs, yardstick, rules.aim);
    Outcome { pairs, summary }
}

/// Standard uncertainty of a moment of the ball, in milliseconds.
fn moment_u_ms(heard: &Timeline, moment: &Moment) -> f64 {
    let drop = heard
        .drops
        .iter()
        .find(|d| [d.floor_s, d.release_s, d.top_s].contains(&moment.t_s));
    let floor_u_ms = drop.and_then(|d| heard.u_ms_near(d.floor_s)).unwrap_or(0.0);
    match (moment.kind, drop) {
        (MomentKind::Release, Some(drop)) => floor_u_ms.hypot(drop.release_u_ms),
        // Half a flight is known as well as the two impacts that end it.
        (MomentKind::Top, Some(drop)) => {
            let second_u_ms = drop
                .impacts_s
                .get(1)
                .and_then(|t| heard.u_ms_near(*t))
                .unwrap_or(0.0);
            0.5 * floor_u_ms.hypot(second_u_ms)
        }
        _ => floor_u_ms,
    }
}

/// Onsets and sound travel put together as the GUM (JCGM 100:2008) does.
fn lag_u_ms(mark_u_ms: f64, moment_u_ms: f64, heard_moment: bool) -> Option<f64> {
    let mut budget = vec![
        Contribution::new("onset of the mark", mark_u_ms),
        Contribution::new("the moment", moment_u_ms),
        way_of("the mark's sound")?,
    ];
    if heard_moment {
        budget.push(way_of("the moment's sound")?);
    }
    combine(&budget).ok().map(|c| c.standard_uncertainty)
}

/// What the way of one sound adds when nobody measured it.
pub fn way_of(sound: &str) -> Option<Contribution> {
    let u_ms = rectangular(DISTANCE_HALF_WIDTH_M * TRAVEL_MS_PER_M)?;
    Some(Contribution::new(format!("way of {sound}"), u_ms))
}
