//! The ball's fall and its bounces.
//!
//! A bouncing ball loses the same share of its speed at each bounce, so the
//! intervals between its impacts shrink by a constant ratio, the coefficient of
//! restitution `e`. From the first two intervals follow `e`, the fall before the
//! first impact and the height, with nothing told. (Aguiar and Laudares 2003,
//! Am J Phys 71:499; Schwarz, Vogt and Kuhn 2013, Phys Teach 51:312.)
//!
//! The functions take any positive arguments; zero, negative or NaN arguments
//! give what the arithmetic gives (NaN or infinity), without a panic.

/// Standard gravity in m/s² (3rd CGPM 1901; ISO 80000-3). Gravity on the ground
/// differs from it by less than 0.3 %, which moves a fall of 1 m by less than a
/// millisecond either way, so the program asks for no latitude.
pub const GRAVITY_M_S2: f64 = 9.80665;

/// Seconds a ball takes to fall `height_m` metres from rest, without air.
pub fn fall_time_s(height_m: f64) -> f64 {
    (2.0 * height_m / GRAVITY_M_S2).sqrt()
}

/// Metres a ball falls from rest in `fall_s` seconds, without air.
pub fn fall_height_m(fall_s: f64) -> f64 {
    GRAVITY_M_S2 * fall_s * fall_s / 2.0
}

/// Speed in m/s after a fall of `height_m` metres from rest, without air.
pub fn impact_speed_m_s(height_m: f64) -> f64 {
    (2.0 * GRAVITY_M_S2 * height_m).sqrt()
}

/// Coefficient of restitution (0 to 1) of a ball dropped from `drop_m` metres
/// that rises to `rebound_m` metres.
pub fn restitution_from_heights(drop_m: f64, rebound_m: f64) -> f64 {
    (rebound_m / drop_m).sqrt()
}

/// Seconds between impact `n` and impact `n + 1` (`n` from 1) of a ball dropped
/// from `height_m` metres with restitution `e`: 2·eⁿ·√(2h/g).
pub fn bounce_interval_s(height_m: f64, e: f64, n: u32) -> f64 {
    2.0 * e.powf(f64::from(n)) * fall_time_s(height_m)
}

/// Seconds of the fall before the first impact, from the first interval between
/// impacts in seconds and the restitution: T₁ / (2e), which is T₁² / (2·T₂).
pub fn fall_time_from_bounce_s(first_interval_s: f64, e: f64) -> f64 {
    first_interval_s / (2.0 * e)
}

/// Density of dry air at 20 °C and 101.325 kPa, in kg/m³ (ISO 2533's gas law).
const AIR_KG_M3: f64 = 1.204;

/// Air that slows a ball with the square of its speed.
///
/// It is known by one number: 1/v², where v is the terminal speed in m/s; 0 is a
/// vacuum. Closed forms for a ball that falls and is thrown straight up (Timmerman
/// and van der Weele 1999, Am J Phys 67:538: the rise is an arctangent, the fall a
/// hyperbolic one). Buoyancy and the air that moves along are left out: together
/// they slow the lightest balls (table tennis, football) by about 1 % of the time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// 1/v² in s²/m².
    pub drag: f64,
}

impl Air {
    /// No air at all.
    pub const NONE: Self = Self { drag: 0.0 };

    /// Air as a ball of this mass (kg), diameter (m) and drag coefficient feels it:
    /// v² = 2·m·g / (ρ·C·A).
    pub fn around(mass_kg: f64, diameter_m: f64, coefficient: f64) -> Self {
        let area_m2 = std::f64::consts::PI * diameter_m * diameter_m / 4.0;
        Self {
            drag: AIR_KG_M3 * coefficient * area_m2 / (2.0 * mass_kg * GRAVITY_M_S2),
        }
    }

    /// The speed in m/s at which the air holds the ball's weight.
    pub fn terminal_speed_m_s(self) -> f64 {
        1.0 / self.drag.sqrt()
    }

    /// `x / k` where `f(k·x)` is near `k·x`: the closed forms without a division by
    /// a drag of nothing.
    fn over(self, f: impl Fn(f64) -> f64, x: f64) -> f64 {
        let k = self.drag.max(0.0).sqrt();
        if k < 1e-9 { x } else { f(k * x) / k }
    }

    /// Seconds of a fall of `height_m` metres from rest: (v/g)·arcosh(exp(g·h/v²)).
    pub fn fall_time_s(self, height_m: f64) -> f64 {
        let square = self.drag.max(0.0) * 2.0 * GRAVITY_M_S2 * height_m;
        if square < 1e-12 {
            return fall_time_s(height_m);
        }
        // arcosh(exp(x)) = arsinh(√(exp(2x) − 1)), which is exact for small x.
        let launch = (square.exp_m1() / self.drag).sqrt();
        self.over(f64::asinh, launch) / GRAVITY_M_S2
    }

    /// Metres fallen from rest in `fall_s` seconds: (v²/g)·ln cosh(g·t/v).
    pub fn fall_height_m(self, fall_s: f64) -> f64 {
        let x = self.drag.max(0.0).sqrt() * GRAVITY_M_S2 * fall_s;
        if x < 1e-4 {
            return fall_height_m(fall_s) * (1.0 - x * x / 6.0);
        }
        x.cosh().ln() / (self.drag * GRAVITY_M_S2)
    }

    /// Speed in m/s after falling from rest for `fall_s` seconds: v·tanh(g·t/v).
    pub fn speed_after_fall_m_s(self, fall_s: f64) -> f64 {
        self.over(f64::tanh, GRAVITY_M_S2 * fall_s)
    }

    /// Seconds of the fall that ends at `speed_m_s`: (v/g)·artanh(u/v). A ball does
    /// not fall faster than its terminal speed: infinite there.
    pub fn fall_time_to_speed_s(self, speed_m_s: f64) -> f64 {
        if self.drag.max(0.0).sqrt() * speed_m_s >= 1.0 {
            return f64::INFINITY;
        }
        self.over(f64::atanh, speed_m_s) / GRAVITY_M_S2
    }

    /// Seconds from leaving the floor at `launch_m_s` to the top: (v/g)·arctan(w/v).
    pub fn rise_time_s(self, launch_m_s: f64) -> f64 {
        self.over(f64::atan, launch_m_s) / GRAVITY_M_S2
    }

    /// Seconds from leaving the floor at `launch_m_s` to the next impact: the rise
    /// and (v/g)·arsinh(w/v).
    pub fn flight_s(self, launch_m_s: f64) -> f64 {
        self.rise_time_s(launch_m_s) + self.over(f64::asinh, launch_m_s) / GRAVITY_M_S2
    }

    /// Speed in m/s at the impact that ends a flight: w / √(1 + w²/v²).
    pub fn landing_m_s(self, launch_m_s: f64) -> f64 {
        launch_m_s / (1.0 + self.drag.max(0.0) * launch_m_s * launch_m_s).sqrt()
    }

    /// Launch speed in m/s of a flight of `flight_s` seconds (Newton's method on
    /// [`Air::flight_s`], which is concave: it settles from below).
    pub fn launch_m_s(self, flight_s: f64) -> f64 {
        let mut launch = GRAVITY_M_S2 * flight_s / 2.0;
        for _ in 0..20 {
            let square = self.drag.max(0.0) * launch * launch;
            let slope = (1.0 / (1.0 + square) + 1.0 / (1.0 + square).sqrt()) / GRAVITY_M_S2;
            let step = (flight_s - self.flight_s(launch)) / slope;
            launch += step;
            if step.abs() <= 1e-13 * launch {
                break;
            }
        }
        launch
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(value: f64, expected: f64, tolerance: f64) {
        assert!(
            (value - expected).abs() <= tolerance,
            "{value} is not {expected} ± {tolerance}"
        );
    }

    /// t = √(2h/g), v = √(2gh) with standard gravity, computed with numpy.
    #[test]
    fn free_fall() {
        let table = [
            (0.1, 142.809),
            (0.25, 225.800),
            (0.5, 319.330),
            (0.7, 377.836),
            (0.75, 391.098),
            (1.0, 451.601),
            (1.2, 494.704),
            (1.5, 553.096),
            (2.0, 638.660),
            (2.54, 719.733),
        ];
        for (height_m, fall_ms) in table {
            near(fall_time_s(height_m) * 1000.0, fall_ms, 0.0005);
            near(fall_height_m(fall_ms / 1000.0), height_m, 1e-5);
        }
        near(impact_speed_m_s(1.0), 4.4287, 5e-5);
        near(impact_speed_m_s(2.54), 7.0582, 5e-5);
    }

    /// Tennis: drag coefficient 0.507 in free flight (Cross and Lindsey 2013).
    /// Times computed with numpy from the same closed form.
    #[test]
    fn fall_through_air() {
        let tennis = Air::around(0.0577, 0.067, 0.507);
        near(tennis.terminal_speed_m_s(), 22.93, 0.005);
        near(tennis.fall_time_s(1.0) * 1000.0, 453.006, 0.001);
        near(tennis.fall_time_s(1.5) * 1000.0, 555.678, 0.001);
        near(tennis.fall_time_s(2.54) * 1000.0, 725.429, 0.001);
        let table_tennis = Air::around(0.0027, 0.040, 0.5);
        near(table_tennis.fall_time_s(1.0) * 1000.0, 462.215, 0.001);
    }

    /// Random falls and flights against scipy's solver of the equation of motion
    /// (tests/reference/ball.py, versions in ball.json).
    #[test]
    fn falls_and_flights_obey_the_equation_of_motion() {
        let text = include_str!("../../tests/reference/ball.json");
        let file: serde_json::Value = serde_json::from_str(text).unwrap();
        let number = |case: &serde_json::Value, name: &str| case[name].as_f64().unwrap();
        let falls = file["falls"].as_array().unwrap();
        assert!(falls.len() >= 40);
        for case in falls {
            let air = Air {
                drag: number(case, "terminal_m_s").powi(-2),
            };
            let (height_m, fall_s) = (number(case, "height_m"), number(case, "fall_s"));
            let speed = number(case, "speed_m_s");
            near(air.fall_time_s(height_m), fall_s, 1e-8);
            near(air.fall_height_m(fall_s), height_m, 1e-7);
            near(air.speed_after_fall_m_s(fall_s), speed, 1e-7);
            near(air.fall_time_to_speed_s(speed), fall_s, 1e-7);
        }
        let flights = file["flights"].as_array().unwrap();
        assert!(flights.len() >= 40);
        for case in flights {
            let air = Air {
                drag: number(case, "terminal_m_s").powi(-2),
            };
            let launch = number(case, "launch_m_s");
            near(air.rise_time_s(launch), number(case, "rise_s"), 1e-8);
            near(air.flight_s(launch), number(case, "flight_s"), 1e-8);
            near(air.landing_m_s(launch), number(case, "landing_m_s"), 1e-7);
            near(air.launch_m_s(number(case, "flight_s")), launch, 1e-6);
        }
    }

    /// Without air, and with next to none, the formulas are those of a vacuum.
    #[test]
    fn a_vacuum_is_the_limit_of_air() {
        for air in [Air::NONE, Air { drag: 1e-22 }, Air { drag: 1e-9 }] {
            near(air.fall_time_s(1.0), fall_time_s(1.0), 1e-8);
            near(air.fall_height_m(0.5), fall_height_m(0.5), 1e-7);
            near(air.flight_s(3.0), 6.0 / GRAVITY_M_S2, 1e-7);
            near(air.rise_time_s(3.0), 3.0 / GRAVITY_M_S2, 1e-7);
            near(air.landing_m_s(3.0), 3.0, 1e-7);
            near(air.launch_m_s(6.0 / GRAVITY_M_S2), 3.0, 1e-7);
            near(air.speed_after_fall_m_s(0.4), 0.4 * GRAVITY_M_S2, 1e-7);
        }
        let slow = Air { drag: 1.0 / 81.0 };
        assert_eq!(slow.fall_time_to_speed_s(9.5), f64::INFINITY);
    }

    /// Halliday, Resnick, Walker, Fundamentals of Physics, chapter 6: a ball that has
    /// reached 95 % of its terminal speed has fallen (v²/2g)·ln(1/(1 − 0.95²)); their
    /// table of terminal speeds (after Brancazio 1984) has 20 m/s after 47 m for a
    /// basketball and 9 m/s after 10 m for a table-tennis ball (values from memory).
    #[test]
    fn textbook_distance_to_95_percent_of_terminal_speed() {
        for (terminal, fall_m) in [(20.0f64, 47.0), (9.0, 10.0)] {
            let air = Air {
                drag: terminal.powi(-2),
            };
            let fall_s = air.fall_time_to_speed_s(0.95 * terminal);
            near(air.fall_height_m(fall_s), fall_m, 0.5);
        }
    }

    /// ITF Rules of Tennis, Appendix I: dropped 254 cm, rebound 135–147 cm
    /// (53–58 inches of 100). ITTF: 30.5 cm, rebound 24–26 cm on a steel block.
    #[test]
    fn rebound_rules() {
        near(restitution_from_heights(2.54, 1.35), 0.729_038, 5e-7);
        near(restitution_from_heights(2.54, 1.47), 0.760_750, 5e-7);
        near(restitution_from_heights(2.54, 1.3462), 0.728_011, 5e-7);
        near(restitution_from_heights(2.54, 1.4732), 0.761_577, 5e-7);
        near(restitution_from_heights(0.305, 0.24), 0.887_066, 5e-7);
        near(restitution_from_heights(0.305, 0.26), 0.923_287, 5e-7);
    }

    /// T_n = 2eⁿ√(2h/g) at the two ends of the ITF rebound, from 1 m, in ms,
    /// computed with numpy; e printed to four digits.
    #[test]
    fn successive_bounces() {
        let low = [658.34, 479.87, 349.77, 254.95, 185.83];
        let high = [687.16, 522.79, 397.74, 302.60, 230.22];
        for (e, table) in [(0.7289, low), (0.7608, high)] {
            for (n, expected_ms) in (1..).zip(table) {
                near(bounce_interval_s(1.0, e, n) * 1000.0, expected_ms, 0.1);
            }
            // The whole bouncing lasts √(2h/g)·(1+e)/(1−e) from the release.
            let rest: f64 = (1..400).map(|n| bounce_interval_s(1.0, e, n)).sum();
            let fall = fall_time_s(1.0);
            near(fall + rest, fall * (1.0 + e) / (1.0 - e), 1e-9);
            let t1 = bounce_interval_s(1.0, e, 1);
            let t2 = bounce_interval_s(1.0, e, 2);
            near(t1 * t1 / (2.0 * t2), fall, 1e-12);
            near(fall_time_from_bounce_s(t1, e), fall, 1e-12);
        }
    }

    /// Schwarz, Vogt and Kuhn (2013) Phys Teach 51:312: a ball dropped 0.7 m,
    /// impacts heard at 0.248, 0.955 and 1.617 s, published g = 9.82 m/s².
    #[test]
    fn published_acoustic_example() {
        let (t1, t2) = (0.955 - 0.248, 1.617 - 0.955);
        let e: f64 = t2 / t1;
        near(e, 0.936_351, 5e-7);
        near(e * e, 0.876_753, 5e-7);
        let rebound_m = 0.7 * e * e;
        near(rebound_m, 0.613_727, 5e-7);
        // The rise and fall of T₁ from that height give their gravity.
        near(8.0 * rebound_m / (t1 * t1), 9.82, 0.005);
        // With standard gravity the same impacts give back their height.
        let height_m = fall_height_m(fall_time_from_bounce_s(t1, e));
        near(height_m, 0.7, 0.7 * 0.003);
        near(restitution_from_heights(0.7, rebound_m), e, 1e-9);
    }

    /// scipython.com, chapter 6 exercise: dropped 57.5 cm, published e = 0.86
    /// and g = 9.7. Its first interval, by its own numbers, gives back its height
    /// within what the two printed digits of each allow.
    #[test]
    fn textbook_exercise() {
        let (e, g, height_m): (f64, f64, f64) = (0.86, 9.7, 0.575);
        let t1 = 2.0 * e * (2.0 * height_m / g).sqrt();
        near(
            fall_height_m(fall_time_from_bounce_s(t1, e)),
            height_m,
            0.012,
        );
    }

    /// Somigliana's formula on the WGS 84 ellipsoid, against its published table,
    /// and what it means: a latitude setting would be worth about a millisecond.
    #[test]
    fn latitude_does_not_matter() {
        let gravity = |latitude_deg: f64| {
            let s = latitude_deg.to_radians().sin().powi(2);
            9.780_325_335_9 * (1.0 + 0.001_931_852_652_41 * s)
                / (1.0 - 0.006_694_379_990_13 * s).sqrt()
        };
        let table = [
            (0.0, 9.780_325_34),
            (45.0, 9.806_197_77),
            (51.4778, 9.812_013_98),
            (90.0, 9.832_184_94),
        ];
        for (latitude_deg, g) in table {
            near(gravity(latitude_deg), g, 1e-8);
            let fall_s = (2.0 / gravity(latitude_deg)).sqrt();
            near(fall_s, fall_time_s(1.0), 0.001);
        }
        near((2.0 / gravity(0.0)).sqrt() * 1000.0, 452.208, 0.001);
        near((2.0 / gravity(90.0)).sqrt() * 1000.0, 451.014, 0.001);
    }
}
