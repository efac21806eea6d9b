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

/// Seconds a ball takes to fall `height_m` metres from rest through air, from
/// its terminal speed in m/s: (v/g)·arcosh(exp(g·h/v²)) for drag growing with
/// the square of the speed.
///
/// For a tennis ball (terminal speed 22.9 m/s) the air adds 1.4 ms to a fall of
/// 1 m, for a table-tennis ball 10.6 ms: the bound on what leaving out the air
/// costs a release moment. Floor and top moments do not depend on the fall.
pub fn fall_time_in_air_s(height_m: f64, terminal_speed_m_s: f64) -> f64 {
    let x = GRAVITY_M_S2 * height_m / (terminal_speed_m_s * terminal_speed_m_s);
    terminal_speed_m_s / GRAVITY_M_S2 * x.exp().acosh()
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

    /// Terminal speed √(2mg/(ρ·C_d·A)) in air of 1.204 kg/m³.
    fn terminal_speed_m_s(mass_kg: f64, diameter_m: f64, drag: f64) -> f64 {
        let area = std::f64::consts::PI * diameter_m * diameter_m / 4.0;
        (2.0 * mass_kg * GRAVITY_M_S2 / (1.204 * drag * area)).sqrt()
    }

    /// Tennis: drag coefficient 0.507 in free flight (Cross and Lindsey 2013).
    /// Times computed with numpy from the same closed form.
    #[test]
    fn fall_through_air() {
        let tennis = terminal_speed_m_s(0.0577, 0.067, 0.507);
        near(tennis, 22.93, 0.005);
        near(fall_time_in_air_s(1.0, tennis) * 1000.0, 453.006, 0.001);
        near(fall_time_in_air_s(1.5, tennis) * 1000.0, 555.678, 0.001);
        near(fall_time_in_air_s(2.54, tennis) * 1000.0, 725.429, 0.001);
        let table_tennis = terminal_speed_m_s(0.0027, 0.040, 0.5);
        near(
            fall_time_in_air_s(1.0, table_tennis) * 1000.0,
            462.215,
            0.001,
        );
    }

    /// The closed form against the equation of motion dv/dt = g·(1 − v²/v_t²),
    /// integrated in small steps (midpoint rule).
    #[test]
    fn fall_through_air_obeys_the_equation_of_motion() {
        let (terminal, dt) = (22.93, 1e-5);
        let acceleration = |v: f64| GRAVITY_M_S2 * (1.0 - v * v / (terminal * terminal));
        let (mut y, mut v, mut t) = (0.0, 0.0, 0.0);
        while y < 1.5 {
            let middle = v + acceleration(v) * dt / 2.0;
            y += middle * dt;
            v += acceleration(middle) * dt;
            t += dt;
        }
        near(fall_time_in_air_s(1.5, terminal), t, 2e-5);
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
