//! Click against word, one bridge against another, drills against sessions, the
//! first month against the last: by how much, how sure, and only then the p.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::{Day, Lot, Occasion};
use crate::measure::compare::{Statistic, hodges_lehmann, holm, mann_whitney, permutation_test};
use crate::measure::interval::Interval;
use crate::measure::median::median;
use crate::timeline::{MomentKind, SoundKind};

/// With at least this many days on both sides days are compared, not marks.
const DAYS_FROM: usize = 5;
/// Fewer values than this on a side are called few.
const FEW: usize = 10;
/// Samples with ties and fewer values than this are tested by permutation.
const PERMUTE_BELOW: usize = 20;
const PARTINGS: u64 = 10_000;
const SEED: u64 = 1;
/// The most used bridges are compared with each other, at most so many.
const BRIDGES_AT_MOST: usize = 4;

/// What a comparison rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// The median lag of each day: what is done on one day hangs together.
    DayMedians,
    /// Single lags, because there are too few days; it looks surer than it is.
    SingleLags,
}

/// How the p-value was got.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Test {
    /// Mann–Whitney.
    MannWhitney,
    /// Permutation of the medians.
    Permutation,
}

/// One comparison: `one` against `other`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Comparison {
    /// The first side's name.
    pub one: String,
    /// The second side's name.
    pub other: String,
    /// Values on each side.
    pub n: (usize, usize),
    /// What the values are.
    pub basis: Basis,
    /// By how much `one` comes later than `other`: Hodges–Lehmann, milliseconds.
    pub shift_ms: f64,
    /// Its distribution-free 95 % interval; `None` when the values are too few.
    pub interval: Option<Interval>,
    /// The chance that a value of `one` lies above a value of `other`.
    pub probability_later: f64,
    /// How p was got.
    pub test: Test,
    /// Two-sided p.
    pub p_two_sided: f64,
    /// The same after Holm's correction for all comparisons made together.
    pub p_corrected: Option<f64>,
    /// Whether a side has fewer than ten values.
    pub few: bool,
}

/// What the side of all clicks is called.
pub(super) const CLICKS: &str = "Clicks";

/// Every comparison that the lots of one kind of moment allow, Holm-corrected
/// together.
pub fn comparisons(lots: &[Lot], kind: MomentKind) -> Vec<Comparison> {
    let lots: Vec<&Lot> = lots
        .iter()
        .filter(|lot| lot.kind == kind && !lot.lags_ms.is_empty())
        .collect();
    let mut all = Vec::new();
    let of_sort = |sort| part(&lots, |lot| lot.bridge_kind == Some(sort));
    all.extend(compare(
        (CLICKS, &of_sort(SoundKind::Click)),
        ("words", &of_sort(SoundKind::Word)),
    ));
    let bridges = most_used(&lots);
    for (k, one) in bridges.iter().enumerate() {
        for other in &bridges[k + 1..] {
            let of = |name: &str| part(&lots, |lot| lot.bridge == name);
            // The only click against the only word was told above already.
            if bridges.len() > 2 || all.is_empty() {
                all.extend(compare((one, &of(one)), (other, &of(other))));
            }
        }
    }
    let of_occasion = |occasion| part(&lots, |lot| lot.occasion == occasion);
    all.extend(compare(
        ("Sessions", &of_occasion(Occasion::Session)),
        ("drills", &of_occasion(Occasion::Drill)),
    ));
    let months: BTreeSet<_> = lots.iter().map(|lot| lot.day.month()).collect();
    if let (Some(first), Some(last)) = (months.first(), months.last())
        && first != last
    {
        let named = |month: &Day| month.date().strftime("%B %Y").to_string();
        let of = |month: Day| part(&lots, |lot| lot.day.month() == month);
        all.extend(compare(
            (&named(last), &of(*last)),
            (&named(first), &of(*first)),
        ));
    }
    let tested: Vec<f64> = all.iter().map(|c| c.p_two_sided).collect();
    for (comparison, p) in all.iter_mut().zip(holm(&tested)) {
        comparison.p_corrected = p;
    }
    all
}

fn part<'a>(lots: &[&'a Lot], is_in: impl Fn(&Lot) -> bool) -> Vec<&'a Lot> {
    lots.iter().copied().filter(|lot| is_in(lot)).collect()
}

/// The names of the bridges with the most lags, those most used first.
fn most_used(lots: &[&Lot]) -> Vec<String> {
    let mut used: BTreeMap<&str, usize> = BTreeMap::new();
    for lot in lots.iter().filter(|lot| !lot.bridge.is_empty()) {
        *used.entry(&lot.bridge).or_default() += lot.lags_ms.len();
    }
    let mut used: Vec<_> = used.into_iter().collect();
    used.sort_by_key(|(name, n)| (std::cmp::Reverse(*n), *name));
    used.truncate(BRIDGES_AT_MOST);
    used.into_iter().map(|(name, _)| name.to_owned()).collect()
}

/// `None` when a side is empty.
fn compare(one: (&str, &[&Lot]), other: (&str, &[&Lot])) -> Option<Comparison> {
    let medians = (day_medians(one.1), day_medians(other.1));
    let (basis, x, y) = if medians.0.len().min(medians.1.len()) >= DAYS_FROM {
        (Basis::DayMedians, medians.0, medians.1)
    } else {
        (Basis::SingleLags, all_lags(one.1), all_lags(other.1))
    };
    let shift = hodges_lehmann(&x, &y, 0.95)?;
    let rank = mann_whitney(&x, &y)?;
    // Few values with ties: Mann–Whitney's normal curve does not hold.
    let permuted = (!rank.exact && x.len().max(y.len()) < PERMUTE_BELOW)
        .then(|| permutation_test(&x, &y, Statistic::MedianDifference, PARTINGS, SEED))
        .flatten();
    Some(Comparison {
        one: one.0.to_owned(),
        other: other.0.to_owned(),
        n: (x.len(), y.len()),
        basis,
        shift_ms: shift.shift,
        interval: shift.interval,
        probability_later: rank.probability_x_above_y,
        test: permuted.map_or(Test::MannWhitney, |_| Test::Permutation),
        p_two_sided: permuted.map_or(rank.p_two_sided, |p| p.p_two_sided),
        p_corrected: None,
        few: x.len().min(y.len()) < FEW,
    })
}

fn all_lags(lots: &[&Lot]) -> Vec<f64> {
    lots.iter().flat_map(|lot| lot.lags_ms.clone()).collect()
}

fn day_medians(lots: &[&Lot]) -> Vec<f64> {
    let mut days: BTreeMap<Day, Vec<f64>> = BTreeMap::new();
    for lot in lots {
        days.entry(lot.day).or_default().extend(&lot.lags_ms);
    }
    days.into_values()
        .filter_map(|lags| median(&lags))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{Chance, assert_close};

    fn lot(bout: i64, bridge: &str, kind: SoundKind, lags_ms: Vec<f64>) -> Lot {
        Lot {
            bout,
            day: Day(20_000 + bout as i32),
            occasion: Occasion::Drill,
            duration_s: None,
            kind: MomentKind::Floor,
            bridge_kind: Some(kind),
            bridge: bridge.to_owned(),
            lags_ms,
            missed: 0,
            strays: 0,
        }
    }

    #[test]
    fn a_slower_word_is_seen_and_the_family_is_corrected() {
        let mut chance = Chance::new(94);
        let lots: Vec<Lot> = (0..24)
            .map(|bout| {
                let (name, sort, level) = if bout % 2 == 0 {
                    ("blue", SoundKind::Click, 20.0)
                } else {
                    ("yes", SoundKind::Word, 90.0)
                };
                let lags = (0..12).map(|_| level + 25.0 * chance.normal()).collect();
                lot(bout, name, sort, lags)
            })
            .collect();
        let all = comparisons(&lots, MomentKind::Floor);
        let words = &all[0];
        assert_eq!(
            (words.one.as_str(), words.other.as_str()),
            ("Clicks", "words")
        );
        assert_eq!((words.n, words.basis), ((12, 12), Basis::DayMedians));
        assert_close(words.shift_ms, -70.0, 12.0);
        assert!(words.interval.unwrap().high < -50.0);
        // Holm: the smallest of k p-values is multiplied by k.
        let k = all.len() as f64;
        let least = all.iter().map(|c| c.p_two_sided).fold(1.0, f64::min);
        let corrected = all.iter().filter_map(|c| c.p_corrected).fold(1.0, f64::min);
        assert_close(corrected, (least * k).min(1.0), 1e-12);
        assert!(comparisons(&lots, MomentKind::Top).is_empty());
    }

    /// Made-up people who have not changed, with a shift of their own on each day
    /// and two drills a day: how often the interval of this month against the first
    /// holds nothing at all (nominal 95 %), and how often p lies under 0.05.
    #[test]
    fn drills_of_one_day_do_not_count_double() {
        let mut chance = Chance::new(96);
        let (mut held, mut low_p) = (0, 0);
        const RUNS: u32 = 1_000;
        for _ in 0..RUNS {
            let mut lots = Vec::new();
            for day in 0..40 {
                let day_ms = 20.0 * chance.normal();
                for drill in 0..2 {
                    let lags = (0..10).map(|_| 30.0 + day_ms + 25.0 * chance.normal());
                    let made = lot(2 * day + drill, "blue", SoundKind::Click, lags.collect());
                    // 2025-01-17 on: the last days of January and some of February.
                    let day = Day(20_105 + day as i32);
                    lots.push(Lot { day, ..made });
                }
            }
            let all = comparisons(&lots, MomentKind::Floor);
            let months = all.iter().find(|c| c.one.contains("2025")).unwrap();
            held += u32::from(months.interval.unwrap().contains(0.0));
            low_p += u32::from(months.p_two_sided < 0.05);
        }
        let (held, low_p) = (f64::from(held) / 1e3, f64::from(low_p) / 1e3);
        println!("held {held}, p under 0.05 {low_p}");
        assert!((0.93..=0.97).contains(&held), "{held}");
        assert!((0.03..=0.07).contains(&low_p), "{low_p}");
    }

    #[test]
    fn few_days_are_said_to_be_few() {
        let lots = [
            lot(1, "blue", SoundKind::Click, vec![10.0, 10.0, 12.0]),
            lot(2, "yes", SoundKind::Word, vec![30.0, 31.0, 30.0]),
        ];
        let all = comparisons(&lots, MomentKind::Floor);
        assert!(all[0].few && all[0].basis == Basis::SingleLags);
        assert_eq!(all[0].test, Test::Permutation);
        // Of the 20 ways to part the six values, the 4 with both tens on one side
        // and their 4 mirrors part the medians by 20.
        assert_close(all[0].p_two_sided, 0.4, 1e-12);
        assert_eq!(all[0].interval, None);
    }
}
