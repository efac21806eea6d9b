//! Whether the wall clock moved against the monotonic one: it was set, or the
//! computer slept. Sessions go by the sound's clock; this is only told.

/// A move smaller than this is drift or chance, in seconds.
const LEAST_S: f64 = 2.0;

/// Watches the two clocks.
#[derive(Debug, Clone, Copy, Default)]
pub struct WallWatch {
    apart_s: Option<f64>,
}

impl WallWatch {
    /// Both clocks at one instant, in seconds; gives how far the wall clock moved
    /// since the last look that gave something, where that is 2 s or more.
    pub fn look(&mut self, wall_s: f64, monotonic_s: f64) -> Option<f64> {
        let now_s = wall_s - monotonic_s;
        let was_s = *self.apart_s.get_or_insert(now_s);
        let moved_s = now_s - was_s;
        if moved_s.abs() < LEAST_S {
            return None;
        }
        self.apart_s = Some(now_s);
        Some(moved_s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_that_is_set_and_a_sleep_are_seen_once() {
        let mut watch = WallWatch::default();
        assert_eq!(watch.look(1000.0, 5.0), None);
        assert_eq!(watch.look(1010.1, 15.0), None);
        // Summer time by hand: an hour back.
        assert_eq!(watch.look(1020.0 - 3600.0, 25.0), Some(-3600.0));
        assert_eq!(watch.look(1030.0 - 3600.0, 35.0), None);
        // A sleep of a minute: the monotonic clock stands (Linux).
        assert_eq!(watch.look(1090.0 - 3600.0, 35.0), Some(60.0));
        assert_eq!(watch.look(1091.0 - 3600.0, 36.0), None);
    }
}
