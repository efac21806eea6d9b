//! A door that no panic of a decoder passes.
//!
//! Decoders parse bytes from anywhere. A panic in one must cost a file, not a
//! review of many files, and its message must not reach the user. Nothing that
//! was half-changed inside is used again: the caller drops what panicked.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;

thread_local! {
    static QUIET: Cell<bool> = const { Cell::new(false) };
}
static HOOK: Once = Once::new();

/// Runs `step`; `None` if it panicked.
pub fn guarded<T>(step: impl FnOnce() -> T) -> Option<T> {
    HOOK.call_once(|| {
        let before = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            if !QUIET.get() {
                before(info);
            }
        }));
    });
    QUIET.set(true);
    let result = panic::catch_unwind(AssertUnwindSafe(step));
    QUIET.set(false);
    result.ok()
}

#[cfg(test)]
mod tests {
    use super::guarded;
    use std::process::Command;

    #[test]
    fn a_panic_becomes_none_and_the_next_step_runs() {
        assert_eq!(guarded(|| 1), Some(1));
        assert_eq!(guarded(|| -> u8 { panic!("broken bytes") }), None);
        assert_eq!(guarded(|| 2), Some(2));
    }

    /// What a caught panic has to say is told to nobody: looked at from outside.
    #[test]
    fn a_caught_panic_is_quiet() {
        let said = Command::new(std::env::current_exe().unwrap())
            .args(["--ignored", "--exact", "--nocapture"])
            .arg("sound::recording::guard::tests::only_a_caught_panic")
            .output()
            .unwrap();
        let ran = String::from_utf8_lossy(&said.stdout);
        assert!(ran.contains("1 passed"), "{ran}");
        assert_eq!(String::from_utf8_lossy(&said.stderr), "");
    }

    #[test]
    #[ignore = "for the test above"]
    fn only_a_caught_panic() {
        assert_eq!(guarded(|| -> u8 { panic!("broken bytes") }), None);
    }
}
