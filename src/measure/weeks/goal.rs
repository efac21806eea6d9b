//! How near the trainer's own goal is, and when it would be reached if all went
//! on as it has.

use serde::{Deserialize, Serialize};

use super::{Day, Row};
use crate::measure::median::median;
use crate::measure::proportion::Share;
use crate::measure::trend::crossing;
use crate::timeline::Aim;

/// The last days with practice, which "now" is taken from.
pub const RECENT_DAYS: usize = 5;

/// The last days with practice, which the present trend is taken from.
const TREND_DAYS: usize = 30;

/// A day farther off than this is no outlook.
const FARTHEST_DAYS: f64 = 730.0;

/// The goal and the way to it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Goal {
    /// The aim.
    pub aim: Aim,
    /// The share of moments that is to be on time, 0 to 1.
    pub wanted_share: f64,
    /// On time over the last five days with practice.
    pub now: Share,
    /// How far from the aim's middle that share of moments reaches now: the median of
    /// the last five days.
    pub reach_ms: Option<f64>,
    /// How far they may: half the aim's width.
    pub allowed_ms: f64,
    /// When.
    pub outlook: Outlook,
}

/// When the goal would be reached.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outlook {
    /// The share of the last days is at least the one wanted.
    Reached,
    /// If the last weeks' trend went on.
    AtThisPace {
        /// The day on which the line reaches the goal.
        on: Day,
        /// The earliest day of the 95 % interval.
        earliest: Day,
        /// The latest; `None` beyond two years.
        latest: Option<Day>,
    },
    /// The last weeks show no trend towards it.
    NotAtThisPace,
    /// Too few days to say.
    TooFew,
}

/// The goal's state from rows by day. The line is of least squares through the
/// reach of the wanted share of moments over the last 30 days with practice, its crossing
/// with Fieller's interval.
pub fn goal(days: &[Row], aim: Aim, wanted_share: f64) -> Goal {
    let recent = &days[days.len().saturating_sub(RECENT_DAYS)..];
    let on_time: usize = recent.iter().map(|row| row.figures.on_time.count).sum();
    let moments: usize = recent.iter().map(|row| row.figures.on_time.of).sum();
    let reaches: Vec<f64> = recent.iter().filter_map(|row| row.reach_ms).collect();
    let now = Share::new(on_time, moments);
    let allowed_ms = 0.5 * (aim.to_ms - aim.from_ms);
    let outlook = if now.share.is_some_and(|share| share >= wanted_share) {
        Outlook::Reached
    } else {
        ahead(&days[days.len().saturating_sub(TREND_DAYS)..], allowed_ms)
    };
    Goal {
        aim,
        wanted_share,
        now,
        reach_ms: median(&reaches),
        allowed_ms,
        outlook,
    }
}

fn ahead(days: &[Row], allowed_ms: f64) -> Outlook {
    let points: Vec<(f64, f64)> = days
        .iter()
        .filter_map(|row| Some((f64::from(row.from.0), row.reach_ms?)))
        .collect();
    let (times, values): (Vec<f64>, Vec<f64>) = points.into_iter().unzip();
    let Some(last) = days.last().map(|row| row.from) else {
        return Outlook::TooFew;
    };
    let Some(found) = crossing(&times, &values, allowed_ms, 0.95) else {
        return Outlook::TooFew;
    };
    let day_of = |t: f64| Day(t.round() as i32);
    let farthest = f64::from(last.0) + FARTHEST_DAYS;
    // Not clearly falling, or the line is past it while the days are not.
    match found.interval {
        Some(interval) if found.slope < 0.0 && interval.high > f64::from(last.0) => {
            if found.at > farthest {
                return Outlook::NotAtThisPace;
            }
            Outlook::AtThisPace {
                on: day_of(found.at.max(f64::from(last.0) + 1.0)),
                earliest: day_of(interval.low.max(f64::from(last.0) + 1.0)),
                latest: (interval.high <= farthest).then(|| day_of(interval.high)),
            }
        }
        _ => Outlook::NotAtThisPace,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::Chance;
    use crate::measure::weeks::rows::{By, rows};
    use crate::measure::weeks::{Lot, Occasion};
    use crate::timeline::{MomentKind, SoundKind};

    const AIM: Aim = Aim {
        from_ms: -50.0,
        to_ms: 50.0,
    };

    /// Days of made-up practice: the reach of 8 in 10 marks on each day is given.
    fn practice(reach_ms: impl Fn(i32) -> f64, days: i32, chance: &mut Chance) -> Vec<Row> {
        practice_for(0.8, reach_ms, days, chance)
    }

    /// The same, looked at for another goal.
    fn practice_for(
        share: f64,
        reach_ms: impl Fn(i32) -> f64,
        days: i32,
        chance: &mut Chance,
    ) -> Vec<Row> {
        // 8 in 10 of a normal lie within 1.2816 standard deviations.
        let lots: Vec<Lot> = (0..days)
            .map(|day| {
                let sd = reach_ms(day) / 1.281_551_565_5 * (0.08 * chance.normal()).exp();
                Lot {
                    bout: i64::from(day),
                    day: Day(day),
                    occasion: Occasion::Drill,
                    duration_s: None,
                    kind: MomentKind::Floor,
                    bridge_kind: Some(SoundKind::Click),
                    bridge: "blue".to_owned(),
                    lags_ms: (0..30).map(|_| sd * chance.normal()).collect(),
                    missed: 0,
                    strays: 0,
                }
            })
            .collect();
        rows(&lots.iter().collect::<Vec<_>>(), By::Day, AIM, share)
    }

    /// 1,500 made-up people whose reach comes down in a straight line, and the day
    /// on which it is down at the aim: how often the interval that is told holds
    /// that day, and who is told one.
    #[test]
    fn the_day_lies_in_the_interval_as_often_as_is_said() {
        let mut chance = Chance::new(98);
        let (mut told, mut held) = (0, 0);
        for _ in 0..1_500 {
            let days = practice(|day| 110.0 - 1.2 * f64::from(day), 30, &mut chance);
            if let Outlook::AtThisPace {
                earliest, latest, ..
            } = goal(&days, AIM, 0.8).outlook
            {
                told += 1;
                // 110 − 1.2·50 = 50: on day 50.
                held += i32::from(earliest <= Day(50) && latest.is_none_or(|l| l >= Day(50)));
            }
        }
        let share = f64::from(held) / f64::from(told);
        println!("told {told} of 1500, held {share}");
        assert!(told > 1_300, "{told}");
        assert!((0.95..=0.99).contains(&share), "{share}");
    }

    /// Nobody who stands still is often given a day.
    #[test]
    fn who_does_not_change_is_seldom_given_a_day() {
        let mut chance = Chance::new(99);
        let mut told = 0;
        for _ in 0..1_500 {
            let days = practice(|_| 90.0, 30, &mut chance);
            let outlook = goal(&days, AIM, 0.8).outlook;
            told += i32::from(matches!(outlook, Outlook::AtThisPace { .. }));
        }
        println!("told {told} of 1500");
        assert!(told < 60, "{told}");
    }

    #[test]
    fn reached_too_few_and_away_from_it() {
        let mut chance = Chance::new(100);
        let near = practice(|_| 20.0, 8, &mut chance);
        assert_eq!(goal(&near, AIM, 0.8).outlook, Outlook::Reached);
        let few = practice(|_| 90.0, 4, &mut chance);
        assert_eq!(goal(&few, AIM, 0.8).outlook, Outlook::TooFew);
        let away = practice(|day| 70.0 + 2.0 * f64::from(day), 20, &mut chance);
        assert_eq!(goal(&away, AIM, 0.8).outlook, Outlook::NotAtThisPace);
        assert_eq!(goal(&[], AIM, 0.8).outlook, Outlook::TooFew);
    }

    /// Who wants 95 in 100 on time is given a later day than who wants 80: of a normal,
    /// 95 in 100 lie within 1.960 standard deviations, 80 within 1.2816. The median of
    /// what 200 made-up people are told.
    #[test]
    fn a_higher_share_takes_longer() {
        let on = |share| {
            let mut chance = Chance::new(101);
            let days: Vec<f64> = (0..200)
                .filter_map(|_| {
                    let reach = |day| 110.0 - 1.2 * f64::from(day);
                    let days = practice_for(share, reach, 30, &mut chance);
                    match goal(&days, AIM, share).outlook {
                        Outlook::AtThisPace { on, .. } => Some(f64::from(on.0)),
                        _ => None,
                    }
                })
                .collect();
            median(&days).unwrap()
        };
        // 110 − 1.2·d = 50 on day 50; 1.529·(110 − 1.2·d) = 50 on day 64.4.
        let (eighty, most) = (on(0.8), on(0.95));
        assert!((eighty - 50.0).abs() < 2.5, "{eighty}");
        assert!((most - 64.4).abs() < 4.0, "{most}");
    }

    /// A miss lies beyond every lag: with 2 of 10 missed, 8 in 10 reach as far as the
    /// farthest lag and 9 in 10 nowhere.
    #[test]
    fn misses_take_their_share() {
        let lot = Lot {
            bout: 1,
            day: Day(1),
            occasion: Occasion::Drill,
            duration_s: None,
            kind: MomentKind::Floor,
            bridge_kind: Some(SoundKind::Click),
            bridge: "blue".to_owned(),
            lags_ms: (1..=8).map(f64::from).collect(),
            missed: 2,
            strays: 0,
        };
        let reach = |share| rows(&[&lot], By::Day, AIM, share)[0].reach_ms;
        assert_eq!(reach(0.8), Some(8.0));
        assert_eq!(reach(0.9), None);
    }
}
