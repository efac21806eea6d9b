//! Trouble that a drill or a session outlives: what is said of it, and keeping that
//! is tried again.

use std::time::{Duration, Instant};

use crate::journal::JournalError;

/// How long keeping that failed rests: each try may wait for another program.
const REST: Duration = Duration::from_secs(2);

/// The sound of a `what` ("drill") is kept no longer.
pub(super) fn not_kept(what: &str, why: &str) -> String {
    format!("Keeping the sound stopped; the {what} goes on. {why}")
}

/// A pedal is gone; `key` does what it did.
pub(super) fn pedal_gone(pedal: &str, key: &str) -> String {
    format!("The pedal \"{pedal}\" is gone; {key} still tells the moment.")
}

/// A press that came before the first sound or after the last.
pub(super) const OUTSIDE: &str =
    "A press came before or after the sound; it has no place in it and does not count.";

/// Keeping in the journal while something goes on: what cannot be kept is said once
/// and tried again.
#[derive(Debug, Default)]
pub(super) struct Keeping {
    /// When it failed last, and what was said.
    failed: Option<(Instant, String)>,
}

impl Keeping {
    /// Whether something is left to be kept by the next try.
    pub(super) fn is_behind(&self) -> bool {
        self.failed.is_some()
    }

    /// Keeps, unless that failed a moment ago; gives what is to be said now.
    pub(super) fn keep(
        &mut self,
        work: impl FnOnce() -> Result<(), JournalError>,
    ) -> Option<String> {
        let rests = |(at, _): &(Instant, String)| at.elapsed() < REST;
        if self.failed.as_ref().is_some_and(rests) {
            return None;
        }
        match (work(), self.failed.take()) {
            (Ok(()), None) => None,
            (Ok(()), Some(_)) => Some("The journal is kept again; nothing was lost.".to_owned()),
            (Err(error), before) => {
                let words = format!("Not kept yet: {error}.");
                let is_new = before.is_none_or(|(_, said)| said != words);
                self.failed = Some((Instant::now(), words.clone()));
                is_new.then_some(words)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failure_is_said_once_and_tried_again_after_a_rest() {
        let fails = || {
            Err(JournalError::Locked {
                path: "journal.sqlite".into(),
            })
        };
        let mut keeping = Keeping::default();
        let rested = |keeping: &mut Keeping| keeping.failed.as_mut().unwrap().0 -= REST;
        assert_eq!(keeping.keep(|| Ok(())), None);
        let words = keeping.keep(fails).unwrap();
        assert!(words.starts_with("Not kept yet: journal.sqlite is in use"));
        assert_eq!(keeping.keep(|| panic!("it rests")), None);
        rested(&mut keeping);
        assert_eq!(keeping.keep(fails), None);
        assert!(keeping.is_behind());
        rested(&mut keeping);
        let words = keeping.keep(|| Ok(())).unwrap();
        assert!(words.contains("nothing was lost"), "{words}");
        assert!(!keeping.is_behind());
    }
}
