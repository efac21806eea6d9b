use super::*;
use proptest::prelude::*;

/// A small repeatable source of numbers in 0..1 (Park and Miller 1988, minimal
/// standard generator), so that a failing case can be run again from its seed.
struct Dice(u64);

impl Dice {
    fn roll(&mut self) -> f64 {
        self.0 = self.0 * 16807 % 2_147_483_647;
        self.0 as f64 / 2_147_483_647.0
    }
}

/// Arrivals of a device whose clock is off by `ppm`: sample n is in the air at
/// `start_ns + n / (rate (1 + ppm))`; each block is late by an exponential of
/// mean `late_ms`, and those in a stall arrive at its end.
struct Device {
    rate_hz: f64,
    ppm: f64,
    block: u64,
    late_ms: f64,
    stall: Option<(f64, f64)>,
    dice: Dice,
}

const START_NS: i64 = 5_000_000_000_000;

impl Device {
    fn true_ns(&self, sample: f64) -> i64 {
        START_NS + (sample / (self.rate_hz * (1.0 + self.ppm * 1e-6)) * 1e9).round() as i64
    }

    /// `(frames_total, arrival_ns)` of every block of `seconds`.
    fn arrivals(&mut self, seconds: f64) -> Vec<(u64, i64)> {
        let mut last = i64::MIN;
        (1..=(seconds * self.rate_hz) as u64 / self.block)
            .map(|k| {
                let n = k * self.block;
                let late_ns = -self.dice.roll().max(1e-9).ln() * self.late_ms * 1e6;
                let mut at = self.true_ns(n as f64) + late_ns as i64;
                if let Some((from_s, ms)) = self.stall {
                    let from = START_NS + (from_s * 1e9) as i64;
                    let to = from + (ms * 1e6) as i64;
                    if (from..to).contains(&at) {
                        at = to;
                    }
                }
                last = last.max(at);
                (n, last)
            })
            .collect()
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn recovers_drift_and_time_under_one_sided_lateness(
        ppm in -100.0..100.0f64,
        rate in prop::sample::select(vec![8_000.0, 16_000.0, 44_100.0, 48_000.0, 96_000.0]),
        block_ms in 3.0..25.0f64,
        late_ms in 0.0..5.0f64,
        stall_at in 20.0..50.0f64,
        seed in 1u64..1_000_000,
    ) {
        let mut device = Device {
            rate_hz: rate,
            ppm,
            block: (rate * block_ms / 1e3) as u64,
            late_ms,
            stall: Some((stall_at, 150.0)),
            dice: Dice(seed),
        };
        let mut fit = ClockFit::new(rate);
        let mut worst_ms = 0.0f64;
        for (n, at) in device.arrivals(60.0) {
            fit.push(n, at);
            if n as f64 > 5.0 * rate {
                let true_ns = device.true_ns(n as f64);
                let got = fit.sample_at(true_ns).unwrap();
                worst_ms = worst_ms.max((got - n as f64).abs() / rate * 1e3);
            }
        }
        let drift = fit.drift_ppm().unwrap();
        prop_assert!((drift - ppm).abs() < 5.0, "drift {drift} for {ppm}");
        prop_assert!(worst_ms < 1.0, "worst mapping error {worst_ms} ms");
        prop_assert!(fit.residual_ms().unwrap() < 1.0);
    }

    #[test]
    fn there_and_back_is_the_same_sample(
        ppm in -200.0..200.0f64, sample in 0.0..3e6f64, seed in 1u64..1_000_000,
    ) {
        let mut d = Device { rate_hz: 48_000.0, ppm, block: 480, late_ms: 2.0, stall: None, dice: Dice(seed) };
        let mut fit = ClockFit::new(48_000.0);
        for (n, at) in d.arrivals(20.0) { fit.push(n, at); }
        let back = fit.sample_at(fit.mono_ns_at(sample).unwrap()).unwrap();
        // A nanosecond is 0.00005 samples.
        prop_assert!((back - sample).abs() < 1e-3);
    }
}

#[test]
fn says_nothing_before_the_first_arrival_and_is_not_settled_for_four_seconds() {
    let mut fit = ClockFit::new(48_000.0);
    assert_eq!(fit.sample_at(0), None);
    assert_eq!(fit.mono_ns_at(0.0), None);
    assert_eq!(fit.u_ms(), None);
    assert_eq!(fit.drift_ppm(), None);
    let mut d = Device {
        rate_hz: 48_000.0,
        ppm: 0.0,
        block: 480,
        late_ms: 1.0,
        stall: None,
        dice: Dice(7),
    };
    for (n, at) in d.arrivals(6.0) {
        fit.push(n, at);
        if n < 4 * 48_000 {
            assert!(!fit.is_settled());
            assert_eq!(fit.u_ms(), Some(UNSETTLED_U_MS));
            assert!(fit.sample_at(at).is_some());
        }
    }
    assert!(fit.is_settled());
    assert!(fit.u_ms().unwrap() < 1.0);
}

#[test]
fn goes_on_at_once_after_a_hole_and_still_maps_what_came_before_it() {
    let (rate, ppm) = (48_000.0, 80.0);
    let mut d = Device {
        rate_hz: rate,
        ppm,
        block: 480,
        late_ms: 0.5,
        stall: None,
        dice: Dice(11),
    };
    let mut fit = ClockFit::new(rate);
    let all = d.arrivals(41.0);
    let (before, after) = all.split_at(3_000);
    for &(n, at) in before {
        fit.push(n, at);
    }
    // 0.5 s of samples are lost: later counts are 24 000 lower.
    let lost = 24_000;
    let hole_at = after[50].1;
    fit.restart(hole_at);
    for &(n, at) in &after[50..110] {
        fit.push(n - lost, at);
    }
    let n = after[100].0 as f64;
    let err_ms = (fit.sample_at(d.true_ns(n)).unwrap() - (n - lost as f64)) / rate * 1e3;
    assert!(
        err_ms.abs() < 0.3,
        "{err_ms} ms half a second after the hole"
    );
    let early = fit.sample_at(d.true_ns(1_000_000.0)).unwrap();
    assert!((early - 1_000_000.0).abs() / rate * 1e3 < 0.3);
    for &(n, at) in &after[110..] {
        fit.push(n - lost, at);
    }
    assert!(fit.is_settled());
    assert!((fit.drift_ppm().unwrap() - ppm).abs() < 25.0);
}

#[test]
fn memory_is_fixed() {
    let mut d = Device {
        rate_hz: 8_000.0,
        ppm: 10.0,
        block: 800,
        late_ms: 1.0,
        stall: None,
        dice: Dice(3),
    };
    let mut fit = ClockFit::new(8_000.0);
    let room = fit.scratch.capacity();
    for (n, at) in d.arrivals(3_600.0) {
        fit.push(n, at);
    }
    assert!(fit.window.finished.capacity() <= WINDOW_BINS + 1);
    assert!(fit.long.finished.capacity() <= DRIFT_BINS + 1);
    assert_eq!(fit.scratch.capacity(), room);
    assert!((fit.drift_ppm().unwrap() - 10.0).abs() < 0.5);
}

/// The told uncertainty holds the error about as often as it says: 95 in 100
/// within two of them, and it shrinks with time.
#[test]
fn the_drifts_uncertainty_covers_its_error() {
    let (mut inside, mut all) = (0, 0);
    let mut typical = Vec::new();
    for seconds in [8.0, 15.0, 45.0] {
        let mut us = Vec::new();
        for seed in 1..=120 {
            let ppm = -100.0 + 200.0 * (seed as f64 / 120.0);
            let mut device = Device {
                rate_hz: 48_000.0,
                ppm,
                block: 640,
                late_ms: 0.5,
                stall: None,
                dice: Dice(seed * 7_919),
            };
            let mut fit = ClockFit::new(48_000.0);
            for (n, at) in device.arrivals(seconds) {
                fit.push(n, at);
            }
            let (drift, u) = (fit.drift_ppm().unwrap(), fit.drift_u_ppm().unwrap());
            inside += usize::from((drift - ppm).abs() <= 2.0 * u);
            all += 1;
            us.push(u);
        }
        us.sort_by(f64::total_cmp);
        typical.push(us[us.len() / 2]);
    }
    let share = inside as f64 / all as f64;
    eprintln!("within two uncertainties: {share:.3}; typical {typical:?} ppm");
    assert!(share >= 0.9, "{share}");
    assert!(
        typical[0] > typical[1] && typical[1] > typical[2],
        "{typical:?}"
    );
    assert!(typical[2] < 5.0, "{typical:?}");
}
