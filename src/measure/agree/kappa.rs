//! Cohen's kappa: agreement beyond chance on categories.

use serde::{Deserialize, Serialize};

use crate::measure::distributions::z_two_sided;
use crate::measure::interval::Interval;

/// Cohen's kappa of a table of counts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Kappa {
    /// How many subjects were judged.
    pub n: u64,
    /// pₒ, the share on which the two agree, 0 to 1.
    pub observed: f64,
    /// pₑ, the share on which they would agree by chance, 0 to 1.
    pub expected: f64,
    /// (pₒ − pₑ)/(1 − pₑ): 1 is full agreement, 0 is chance's.
    pub kappa: f64,
    /// Large-sample standard error (Fleiss, Cohen, Everitt 1969).
    pub se: f64,
}

impl Kappa {
    /// kappa ± z·SE, held within −1 to 1; `None` unless the level is between 0 and 1.
    pub fn interval(&self, level: f64) -> Option<Interval> {
        let half = z_two_sided(level)? * self.se;
        let (low, high) = ((self.kappa - half).max(-1.0), (self.kappa + half).min(1.0));
        Some(Interval { low, high, level })
    }

    /// The customary words for a kappa: Landis JR, Koch GG (1977) Biometrics
    /// 33:159–174. A convention, with no claim about what is good enough.
    pub fn landis_koch_words(&self) -> &'static str {
        match self.kappa {
            k if k < 0.0 => "no agreement beyond chance",
            k if k <= 0.2 => "slight agreement",
            k if k <= 0.4 => "fair agreement",
            k if k <= 0.6 => "moderate agreement",
            k if k <= 0.8 => "substantial agreement",
            _ => "almost perfect agreement",
        }
    }
}

/// Kappa of a square table: `table[i][j]` counts subjects that the first
/// observer put into category i and the second into j.
///
/// `None` for an empty or not square table, one of zeros, or when both put all
/// into one category (chance then explains everything). O(cells). Sources:
/// Cohen J (1960) Educ Psychol Meas 20:37–46; standard error Fleiss JL, Cohen
/// J, Everitt BS (1969) Psychol Bull 72:323–327.
pub fn cohens_kappa(table: &[Vec<u64>]) -> Option<Kappa> {
    let Shares {
        n,
        cells,
        rows,
        columns,
    } = shares(table)?;
    let size = rows.len();
    let observed: f64 = (0..size).map(|i| cells[i][i]).sum();
    let expected: f64 = (0..size).map(|i| rows[i] * columns[i]).sum();
    let room = 1.0 - expected;
    if room <= 1e-12 {
        return None;
    }
    let kappa = (observed - expected) / room;
    let mut on = 0.0;
    let mut off = 0.0;
    for i in 0..size {
        on += cells[i][i] * (1.0 - (rows[i] + columns[i]) * (1.0 - kappa)).powi(2);
        for j in (0..size).filter(|j| *j != i) {
            off += cells[i][j] * (columns[i] + rows[j]).powi(2);
        }
    }
    let chance = kappa - expected * (1.0 - kappa);
    let variance = (on + (1.0 - kappa).powi(2) * off - chance * chance) / (room * room * n as f64);
    Some(Kappa {
        n,
        observed,
        expected,
        kappa,
        se: variance.max(0.0).sqrt(),
    })
}

struct Shares {
    n: u64,
    cells: Vec<Vec<f64>>,
    rows: Vec<f64>,
    columns: Vec<f64>,
}

fn shares(table: &[Vec<u64>]) -> Option<Shares> {
    let size = table.len();
    if table.iter().any(|row| row.len() != size) {
        return None;
    }
    let n: u64 = table.iter().flatten().sum();
    if n == 0 {
        return None;
    }
    let cells: Vec<Vec<f64>> = table
        .iter()
        .map(|row| row.iter().map(|c| *c as f64 / n as f64).collect())
        .collect();
    let rows = cells.iter().map(|row| row.iter().sum()).collect();
    let columns = (0..size)
        .map(|j| cells.iter().map(|row| row[j]).sum())
        .collect();
    Some(Shares {
        n,
        cells,
        rows,
        columns,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::testing::{Chance, assert_close, reference};

    fn kappa_of(table: &[&[u64]]) -> Kappa {
        let table: Vec<Vec<u64>> = table.iter().map(|row| row.to_vec()).collect();
        cohens_kappa(&table).unwrap()
    }

    /// Sources: the textbook 2×2 table 20 5/10 15; the R package Delta's help
    /// (kappa 0.5, SE 0.09682458); Cohen's 3×3 example as in the R package
    /// psych; two tables of equal pₒ.
    #[test]
    fn published_tables() {
        let a = kappa_of(&[&[20, 5], &[10, 15]]);
        assert_close(a.observed, 0.70, 1e-12);
        assert_close(a.expected, 0.50, 1e-12);
        assert_close(a.kappa, 0.40, 1e-12);
        let b = kappa_of(&[&[50, 10], &[10, 20]]);
        assert_close(b.kappa, 0.5, 1e-12);
        assert_close(b.se, 0.09682458, 5e-9);
        let c = kappa_of(&[&[44, 5, 1], &[7, 20, 3], &[9, 5, 6]]);
        assert_close(c.observed, 0.70, 1e-12);
        assert_close(c.expected, 0.41, 1e-12);
        assert_close(c.kappa, 0.491525, 5e-7);
        let d = kappa_of(&[&[45, 15], &[25, 15]]);
        let e = kappa_of(&[&[25, 35], &[5, 35]]);
        assert_close(d.kappa, 0.130435, 5e-7);
        assert_close(e.kappa, 0.259259, 5e-7);
    }

    /// Source: statsmodels cohens_kappa (kappa and std_kappa).
    #[test]
    fn agrees_with_statsmodels() {
        for case in reference()["agree"]["kappa"].as_array().unwrap() {
            let table: Vec<Vec<u64>> = serde_json::from_value(case["table"].clone()).unwrap();
            let got = cohens_kappa(&table).unwrap();
            assert_close(got.kappa, case["kappa"].as_f64().unwrap(), 1e-10);
            assert_close(got.se, case["se"].as_f64().unwrap(), 1e-10);
        }
    }

    #[test]
    fn words_and_edges() {
        assert_eq!(
            kappa_of(&[&[20, 5], &[10, 15]]).landis_koch_words(),
            "fair agreement"
        );
        assert_eq!(cohens_kappa(&[]), None);
        assert_eq!(cohens_kappa(&[vec![0, 0], vec![0, 0]]), None);
        assert_eq!(cohens_kappa(&[vec![1, 2]]), None);
        assert_eq!(cohens_kappa(&[vec![9, 0], vec![0, 0]]), None);
        let full = kappa_of(&[&[9, 0], &[0, 4]]);
        assert_eq!((full.kappa, full.se), (1.0, 0.0));
        assert_eq!(full.interval(2.0), None);
    }

    /// A large-sample interval; at 120 subjects it covers 93–97 %.
    #[test]
    fn interval_covers_as_often_as_it_says() {
        let mut chance = Chance::new(61);
        // Cells .35 .10 / .15 .40: pₒ .75, pₑ .45·.5 + .55·.5 = .5, kappa .5.
        let mut covered = 0;
        for _ in 0..3_000 {
            let mut table = vec![vec![0u64; 2]; 2];
            for _ in 0..120 {
                let u = chance.uniform();
                let cell = [0.35, 0.45, 0.60].iter().filter(|edge| u > **edge).count();
                table[cell / 2][cell % 2] += 1;
            }
            let interval = cohens_kappa(&table).unwrap().interval(0.95).unwrap();
            covered += u32::from(interval.contains(0.5));
        }
        let share = f64::from(covered) / 3_000.0;
        assert!((0.93..=0.97).contains(&share), "covered {share}");
    }
}
