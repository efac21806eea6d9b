//! Counting ordered pairs in O(n log n), the common ground of Mann–Kendall's S
//! and of large Theil–Sen medians.

/// Counts of already seen values by rank (a Fenwick tree).
struct Seen(Vec<u64>);

impl Seen {
    fn new(ranks: usize) -> Self {
        Self(vec![0; ranks + 1])
    }

    fn add(&mut self, rank: usize) {
        let mut i = rank + 1;
        while i < self.0.len() {
            self.0[i] += 1;
            i += i & i.wrapping_neg();
        }
    }

    /// How many seen values have a rank below `rank`.
    fn below(&self, rank: usize) -> u64 {
        let (mut i, mut sum) = (rank, 0);
        while i > 0 {
            sum += self.0[i];
            i -= i & i.wrapping_neg();
        }
        sum
    }
}

/// Pairs of points at different times, by what the value does from the earlier
/// to the later.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PairCounts {
    pub(super) rises: u64,
    pub(super) falls: u64,
    pub(super) level: u64,
}

/// Counts rises, falls and level pairs of `values`, whose times are given by
/// `group_ends`: the end (exclusive) of each run of equal times, ascending.
pub(super) fn count_pairs(values: &[f64], group_ends: &[usize]) -> PairCounts {
    let mut distinct = values.to_vec();
    distinct.sort_unstable_by(f64::total_cmp);
    distinct.dedup();
    let ranks: Vec<usize> = values
        .iter()
        .map(|v| distinct.partition_point(|d| d < v))
        .collect();
    let mut seen = Seen::new(distinct.len());
    let mut counts = PairCounts {
        rises: 0,
        falls: 0,
        level: 0,
    };
    let mut start = 0;
    for end in group_ends {
        let before = start as u64;
        for rank in &ranks[start..*end] {
            let below = seen.below(*rank);
            let up_to = seen.below(*rank + 1);
            counts.rises += below;
            counts.level += up_to - below;
            counts.falls += before - up_to;
        }
        for rank in &ranks[start..*end] {
            seen.add(*rank);
        }
        start = *end;
    }
    counts
}

/// The ends (exclusive) of the runs of equal times in ascending times.
pub(super) fn group_ends(times: &[f64]) -> Vec<usize> {
    times
        .chunk_by(|a, b| a == b)
        .scan(0, |end, run| {
            *end += run.len();
            Some(*end)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn counts_as_the_double_loop_does(
            points in prop::collection::vec((0u8..12, 0u8..12), 0..60),
        ) {
            let mut points = points;
            points.sort_by_key(|p| p.0);
            let times: Vec<f64> = points.iter().map(|p| f64::from(p.0)).collect();
            let values: Vec<f64> = points.iter().map(|p| f64::from(p.1)).collect();
            let mut want = PairCounts { rises: 0, falls: 0, level: 0 };
            for i in 0..points.len() {
                for j in i + 1..points.len() {
                    if times[i] < times[j] {
                        match values[j].total_cmp(&values[i]) {
                            std::cmp::Ordering::Greater => want.rises += 1,
                            std::cmp::Ordering::Less => want.falls += 1,
                            std::cmp::Ordering::Equal => want.level += 1,
                        }
                    }
                }
            }
            prop_assert_eq!(count_pairs(&values, &group_ends(&times)), want);
        }
    }
}
