//! One press is one event, however its contact bounces.

/// Lets a press through only when the same key has been quiet for a while.
#[derive(Debug, Clone)]
pub struct Rearm<K> {
    quiet_ns: i64,
    last: Option<(K, i64)>,
}

impl<K: PartialEq> Rearm<K> {
    /// For input devices, which tell repeats from presses: contact bounce only.
    pub const DEVICE_MS: f64 = 30.0;

    /// A filter that asks for `quiet_ms` of rest; not a number or below 0 is 0.
    pub fn new(quiet_ms: f64) -> Self {
        Self {
            quiet_ns: (quiet_ms.max(0.0) * 1e6) as i64,
            last: None,
        }
    }

    /// Whether a press of `key` at `mono_ns` is a new one. Every press, let
    /// through or not, starts the rest anew, so a key held down stays one press.
    pub fn is_new(&mut self, key: K, mono_ns: i64) -> bool {
        let held = self
            .last
            .as_ref()
            .is_some_and(|(k, at)| *k == key && mono_ns - at < self.quiet_ns);
        self.last = Some((key, mono_ns));
        !held
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MS: i64 = 1_000_000;

    #[test]
    fn a_held_key_is_one_press() {
        let mut rearm = Rearm::new(600.0);
        let held = (0..40).map(|k| if k == 0 { 0 } else { 500 + 33 * (k - 1) });
        let new: Vec<bool> = held.map(|ms| rearm.is_new(' ', ms * MS)).collect();
        assert_eq!(new.iter().filter(|&&n| n).count(), 1);
        assert!(new[0]);
    }

    #[test]
    fn another_key_and_a_later_press_are_new() {
        let mut rearm = Rearm::new(100.0);
        assert!(rearm.is_new('a', 0));
        assert!(rearm.is_new('b', 10 * MS));
        assert!(!rearm.is_new('b', 109 * MS));
        assert!(rearm.is_new('b', 209 * MS));
    }

    #[test]
    fn without_a_rest_all_are_new() {
        let mut rearm = Rearm::new(f64::NAN);
        assert!(rearm.is_new('a', 0) && rearm.is_new('a', 0));
    }
}
