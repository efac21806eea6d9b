//! A day of the calendar, as a number that can be counted with.

use std::fmt;

use jiff::civil::{Date, date};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

/// A civil day, as days since 1970-01-01. No hours: a day with a change of the
/// clocks is a day like any other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Day(pub i32);

impl Day {
    /// The day of a date.
    pub fn of(on: Date) -> Self {
        // Days from the civil date (proleptic Gregorian), March first.
        let (y, m, d) = (
            i32::from(on.year()),
            i32::from(on.month()),
            i32::from(on.day()),
        );
        let y = if m <= 2 { y - 1 } else { y };
        let era = y.div_euclid(400);
        let in_era = y.rem_euclid(400);
        let in_year = (153 * ((m + 9) % 12) + 2) / 5 + d - 1;
        let days = in_era * 365 + in_era / 4 - in_era / 100 + in_year;
        Self(era * 146_097 + days - 719_468)
    }

    /// Its date; the ends of the calendar hold what lies beyond them.
    pub fn date(self) -> Date {
        let epoch = date(1970, 1, 1);
        epoch.saturating_add(jiff::Span::new().days(self.0.clamp(-4_000_000, 2_900_000)))
    }

    /// The Monday of its week.
    pub fn week(self) -> Self {
        // 1970-01-01 was a Thursday.
        Self(self.0 - (self.0 + 3).rem_euclid(7))
    }

    /// The first of its month.
    pub fn month(self) -> Self {
        Self(self.0 - i32::from(self.date().day()) + 1)
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.date())
    }
}

impl Serialize for Day {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Day {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        let on: Date = text.parse().map_err(de::Error::custom)?;
        Ok(Self::of(on))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Known days: the epoch, a leap day, the day of RFC 3339's first example.
    #[test]
    fn counts_days() {
        for (on, number) in [
            (date(1970, 1, 1), 0),
            (date(1969, 12, 31), -1),
            (date(2000, 2, 29), 11_016),
            (date(1985, 4, 12), 5_580),
        ] {
            assert_eq!(Day::of(on), Day(number), "{on}");
            assert_eq!(Day(number).date(), on);
        }
        for number in (-800_000..800_000).step_by(97) {
            assert_eq!(Day::of(Day(number).date()), Day(number));
        }
    }

    #[test]
    fn weeks_begin_on_monday_and_months_on_the_first() {
        let sunday = Day::of(date(2025, 3, 30));
        assert_eq!(sunday.week().date(), date(2025, 3, 24));
        assert_eq!(Day(sunday.0 + 1).week().date(), date(2025, 3, 31));
        assert_eq!(sunday.month().date(), date(2025, 3, 1));
        assert_eq!(sunday.to_string(), "2025-03-30");
    }
}
