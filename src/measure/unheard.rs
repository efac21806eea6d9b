//! Whether the taught sound may be another one than the sound that is made: a
//! clicker that was not taught is heard as a bang, and no mark comes of it.

/// So many moments with a sound that is no mark near them say it.
const MOMENTS: usize = 2;
/// Where fewer moments are known: after so many seconds
const AFTER_S: f64 = 45.0;
/// with so many sounds that are no marks. All three are conventions of this program.
const SOUNDS: usize = 3;

/// What was heard up to now.
#[derive(Debug, Clone, Copy)]
pub struct Ears<'a> {
    /// The taught sounds that are listened for.
    pub names: &'a [String],
    /// Marks, and bridge words within praise: whether one was ever heard.
    pub is_heard: bool,
    /// Moments in seconds.
    pub moments_s: &'a [f64],
    /// Sounds that are no marks, nor the ball's, in seconds.
    pub others_s: &'a [f64],
    /// How early a mark may be before its moment and how late after it, in seconds.
    pub window_s: (f64, f64),
    /// Now, in seconds.
    pub now_s: f64,
}

/// Says that no mark was ever heard although other sounds were: near two moments
/// that are over, or three of them within the first 45 s and later. `None` once a
/// mark was heard, or while it cannot be told.
pub fn unheard(at: &Ears<'_>) -> Option<String> {
    if at.is_heard || at.names.is_empty() {
        return None;
    }
    let (before_s, after_s) = at.window_s;
    let near = |moment_s: &&f64| {
        let within = *moment_s - before_s..=*moment_s + after_s;
        *moment_s + after_s < at.now_s && at.others_s.iter().any(|t| within.contains(t))
    };
    let is_near = at.moments_s.iter().filter(near).count() >= MOMENTS;
    let is_long = at.now_s > AFTER_S && at.others_s.len() >= SOUNDS;
    (is_near || is_long).then(|| words(at.names))
}

fn words(names: &[String]) -> String {
    let quoted: Vec<String> = names.iter().map(|name| format!("{name:?}")).collect();
    let (all, is) = match quoted.split_last() {
        Some((last, rest)) if !rest.is_empty() => {
            (format!("{} and {last}", rest.join(", ")), "are")
        }
        _ => (quoted.concat(), "is"),
    };
    format!("{all} {is} not heard; other sounds are. Was one your mark? marklag check tells.")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(is_heard: bool, moments_s: &[f64], others_s: &[f64], now_s: f64) -> Option<String> {
        unheard(&Ears {
            names: &["blue".to_owned()],
            is_heard,
            moments_s,
            others_s,
            window_s: (0.5, 1.5),
            now_s,
        })
    }

    #[test]
    fn two_moments_with_another_sound_near_them_say_it() {
        let moments = [10.0, 20.0];
        let words = at(false, &moments, &[10.3, 20.2], 22.0);
        let words = words.unwrap_or_default();
        assert!(words.starts_with("\"blue\" is not heard"), "{words}");
        assert!(words.contains("marklag check"), "{words}");
        // The second moment is not over; one only has a sound; a mark was heard.
        assert_eq!(at(false, &moments, &[10.3, 20.2], 21.0), None);
        assert_eq!(at(false, &moments, &[10.3, 23.0], 30.0), None);
        assert_eq!(at(false, &moments, &[], 300.0), None);
        assert_eq!(at(true, &moments, &[10.3, 20.2], 22.0), None);
    }

    #[test]
    fn without_moments_it_takes_time_and_sounds() {
        let sounds = [3.0, 9.0, 30.0];
        assert_eq!(at(false, &[], &sounds, 45.0), None);
        assert!(at(false, &[], &sounds, 46.0).is_some());
        assert_eq!(at(false, &[], &sounds[..2], 100.0), None);
        assert_eq!(at(true, &[], &sounds, 100.0), None);
    }

    #[test]
    fn several_taught_sounds_are_all_named() {
        let names = ["blue", "red", "yes"].map(str::to_owned);
        let words = words(&names);
        assert!(words.starts_with("\"blue\", \"red\" and \"yes\" are not heard"));
    }
}
