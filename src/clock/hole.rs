//! Samples that a device lost without saying so, found from arrival times.

/// Lateness that counts as a step, in ms: on a quiet machine the best arrival
/// of any second stays within a fraction of a ms of the line.
const STEP_MS: f64 = 5.0;
/// How early is early, in ms. Arrivals are never early, so this can be tighter.
const EARLY_MS: f64 = 2.0;
/// How long no block may come back to the line before samples are called
/// lost, in s: a stall catches up long before.
const PATIENCE_S: f64 = 1.0;
/// Blocks that must agree on the step's length, and how closely, in ms. After
/// a hole many blocks are late by just its length; the lateness of a machine
/// that is overrun by work (seen at 6 ms and more for a whole second) scatters.
const AGREEING: u32 = 8;
const AGREEMENT_MS: f64 = 1.5;
/// After so long off the line, in s, it is a step whether they agree or not.
const LONGEST_S: f64 = 5.0;

/// What the arrivals say about the sample count.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Step {
    /// Samples are missing before this one.
    Missing {
        /// First sample of the first block after the hole.
        at_sample: u64,
        /// When that block arrived, CLOCK_MONOTONIC in ns: the fit's new
        /// segment starts here.
        since_ns: i64,
        /// Length of the hole in ms.
        missing_ms: f64,
    },
    /// More samples came than time passed: the driver put some in.
    Extra {
        /// First sample of the first block that was early.
        at_sample: u64,
        /// When that block arrived, CLOCK_MONOTONIC in ns.
        since_ns: i64,
        /// Length of what was put in, in ms.
        extra_ms: f64,
    },
}

/// Tells a stall (blocks come late, then catch up) from a hole (every later
/// block stays late by the same length). A hole shorter than 5 ms is below
/// what it can see and shows as the clock fit's residual instead.
#[derive(Debug, Clone, Default)]
pub struct HoleWatch {
    run: Option<Run>,
}

#[derive(Debug, Clone, Copy)]
struct Run {
    late: bool,
    at_sample: u64,
    since_ns: i64,
    /// The lowest lateness of the run (of early blocks: below zero).
    least_ms: f64,
    /// What blocks are counted against, and those within reach of it.
    anchor_ms: f64,
    agreeing: u32,
}

impl HoleWatch {
    /// Takes one block: its first sample, its arrival in ns (CLOCK_MONOTONIC)
    /// and its lateness against the clock fit in ms. A step is told once, about
    /// a second after it happened; then restart the fit. NaN lateness is not a step.
    pub fn push(&mut self, first_sample: u64, arrival_ns: i64, late_ms: f64) -> Option<Step> {
        let late = late_ms >= STEP_MS;
        let early = late_ms <= -EARLY_MS;
        if !late && !early {
            self.run = None;
            return None;
        }
        let new = Run {
            late,
            at_sample: first_sample,
            since_ns: arrival_ns,
            least_ms: late_ms,
            anchor_ms: late_ms,
            agreeing: 0,
        };
        let run = self.run.get_or_insert(new);
        if run.late != late {
            *run = new;
        }
        run.least_ms = run.least_ms.min(late_ms);
        if late_ms < run.anchor_ms - AGREEMENT_MS {
            run.anchor_ms = late_ms;
            run.agreeing = 0;
        }
        if late_ms < run.anchor_ms + AGREEMENT_MS {
            run.agreeing += 1;
        }
        let waited_s = (arrival_ns - run.since_ns) as f64 * 1e-9;
        let agreed = run.agreeing >= AGREEING && waited_s >= PATIENCE_S;
        if !agreed && waited_s < LONGEST_S {
            return None;
        }
        let run = self.run.take()?;
        Some(if late {
            Step::Missing {
                at_sample: run.at_sample,
                since_ns: run.since_ns,
                missing_ms: run.least_ms,
            }
        } else {
            Step::Extra {
                at_sample: run.at_sample,
                since_ns: run.since_ns,
                extra_ms: -run.least_ms,
            }
        })
    }

    /// How far off the line the blocks since the last good one all were, in ms;
    /// `None` when the last one was on it. Such blocks should be kept out of the
    /// fit until it is clear what they are.
    pub fn doubt_ms(&self) -> Option<f64> {
        self.run.map(|r| r.least_ms.abs())
    }

    /// Forgets a run, as after a reconnection.
    pub fn clear(&mut self) {
        self.run = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MS: i64 = 1_000_000;

    /// Blocks of 10 ms with the given lateness; gives every step told.
    fn run(late_ms: impl Fn(i64) -> f64, blocks: i64) -> Vec<(i64, Step)> {
        let mut w = HoleWatch::default();
        (0..blocks)
            .filter_map(|k| Some((k, w.push(k as u64 * 480, k * 10 * MS, late_ms(k))?)))
            .collect()
    }

    #[test]
    fn a_stall_that_catches_up_is_not_a_hole() {
        let late = |k: i64| {
            if (100..115).contains(&k) {
                150.0 - 10.0 * (k - 100) as f64
            } else {
                0.3
            }
        };
        assert_eq!(run(late, 500), []);
    }

    #[test]
    fn a_lasting_step_is_a_hole_of_its_least_lateness() {
        let late = |k: i64| if k < 200 { 0.4 } else { 30.0 + (k % 3) as f64 };
        let steps = run(late, 310);
        assert_eq!(
            steps,
            [(
                300,
                Step::Missing {
                    at_sample: 200 * 480,
                    since_ns: 2_000 * MS,
                    missing_ms: 30.0
                }
            )]
        );
    }

    #[test]
    fn a_burst_of_early_blocks_is_told_once_with_its_whole_length() {
        assert_eq!(run(|k| if k == 50 { -9.0 } else { 0.0 }, 200), []);
        // Twenty blocks that are each 10 ms earlier, then steady.
        let late = |k: i64| -10.0 * (k - 50).clamp(0, 20) as f64;
        assert_eq!(
            run(late, 200),
            [(
                151,
                Step::Extra {
                    at_sample: 51 * 480,
                    since_ns: 510 * MS,
                    extra_ms: 200.0
                }
            )]
        );
    }

    #[test]
    fn load_that_lets_one_block_in_ten_through_is_not_a_hole() {
        assert_eq!(run(|k| if k % 10 == 0 { 1.0 } else { 40.0 }, 1000), []);
    }

    #[test]
    fn lateness_that_scatters_is_load_and_not_a_hole() {
        // From 6 to 80 ms for two seconds, spread evenly: two blocks in a
        // hundred lie within 1.5 ms of the least.
        let late = |k: i64| {
            if (100..300).contains(&k) {
                6.0 + (k * 37 % 100) as f64 * 0.74
            } else {
                0.2
            }
        };
        assert_eq!(run(late, 500), []);
    }

    #[test]
    fn what_scatters_for_five_seconds_is_a_step_after_all() {
        let late = |k: i64| {
            if k < 100 {
                0.2
            } else {
                6.0 + (k * 37 % 500) as f64 * 0.74
            }
        };
        let steps = run(late, 700);
        assert_eq!(steps.first().map(|s| s.0), Some(600));
    }

    #[test]
    fn an_unknown_lateness_is_not_a_step() {
        assert_eq!(run(|_| f64::NAN, 500), []);
    }
}
