//! The ways in which the system asks a program to end, as one call.

use std::io;

/// Calls `tell` with the signal's number when the system asks the program to end
/// (SIGTERM, SIGHUP, SIGINT). Whoever is told has three seconds to end in order;
/// then, or when the signal comes again, the terminal is given back and the
/// program ends with 128 + the number. Elsewhere than on Unix nothing is watched.
///
/// # Errors
/// What the system says when signals cannot be watched.
#[cfg(unix)]
pub fn watch(tell: impl Fn(i32) + Send + 'static) -> io::Result<()> {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    use signal_hook::iterator::Signals;
    use std::sync::mpsc::{RecvTimeoutError, channel};
    use std::time::Duration;

    const GRACE: Duration = Duration::from_secs(3);
    let mut signals = Signals::new([SIGHUP, SIGINT, SIGTERM])?;
    let (again, first) = channel();
    let end = |signal: i32| {
        super::guard::restore();
        std::process::exit(128 + signal);
    };
    std::thread::Builder::new()
        .name("marklag-signals".into())
        .spawn(move || {
            for signal in signals.forever() {
                let _ = again.send(signal);
            }
        })?;
    std::thread::Builder::new()
        .name("marklag-ending".into())
        .spawn(move || {
            let Ok(signal) = first.recv() else { return };
            tell(signal);
            match first.recv_timeout(GRACE) {
                Ok(second) => end(second),
                Err(RecvTimeoutError::Timeout) => end(signal),
                Err(RecvTimeoutError::Disconnected) => {}
            }
        })?;
    Ok(())
}

/// Nothing is watched on this system.
///
/// # Errors
/// None.
#[cfg(not(unix))]
pub fn watch(_tell: impl Fn(i32) + Send + 'static) -> io::Result<()> {
    Ok(())
}
