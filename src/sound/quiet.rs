//! Keeps what sound libraries print on standard error off the screen.
//!
//! ALSA and its plugins write to file descriptor 2 by themselves (about eight
//! lines when no device can be opened), past every Rust writer; a line in the
//! middle of a full-screen view tears it. ALSA's own error handler would catch
//! only part of it: plugins print directly. So the descriptor itself is pointed
//! elsewhere while a [`Hush`] lives. A full-screen view holds one for as long
//! as it is up; the microphone holds one around each call that opens,
//! lists or closes.

use std::fs::File;
use std::io;

/// While it lives, standard error goes to a log or nowhere. Several may live at
/// once; the first says where to, and the last one's end gives standard error back.
#[derive(Debug)]
pub struct Hush(());

#[cfg(unix)]
mod fd {
    use std::fs::File;
    use std::io;
    use std::os::fd::{AsRawFd, FromRawFd, OwnedFd};
    use std::sync::{Mutex, PoisonError};

    struct State {
        living: usize,
        saved: Option<OwnedFd>,
    }

    static STATE: Mutex<State> = Mutex::new(State {
        living: 0,
        saved: None,
    });

    fn check(result: libc::c_int) -> io::Result<libc::c_int> {
        if result < 0 {
            Err(io::Error::last_os_error())
        } else {
            Ok(result)
        }
    }

    pub fn divert(to: &File) -> io::Result<()> {
        let mut state = STATE.lock().unwrap_or_else(PoisonError::into_inner);
        if state.living == 0 {
            // SAFETY: descriptor 2 is only duplicated; the copy is owned below.
            let copy = check(unsafe { libc::fcntl(2, libc::F_DUPFD_CLOEXEC, 3) })?;
            // SAFETY: `copy` was made by this call and belongs to nobody else.
            state.saved = Some(unsafe { OwnedFd::from_raw_fd(copy) });
            // SAFETY: both descriptors are open for the length of the call.
            check(unsafe { libc::dup2(to.as_raw_fd(), 2) })?;
        }
        state.living += 1;
        Ok(())
    }

    pub fn restore() {
        let mut state = STATE.lock().unwrap_or_else(PoisonError::into_inner);
        state.living = state.living.saturating_sub(1);
        if state.living == 0
            && let Some(saved) = state.saved.take()
        {
            // SAFETY: `saved` is the open copy of the former descriptor 2.
            unsafe { libc::dup2(saved.as_raw_fd(), 2) };
        }
    }
}

impl Hush {
    /// Sends standard error to a file.
    pub fn to(log: &File) -> io::Result<Self> {
        #[cfg(unix)]
        fd::divert(log)?;
        #[cfg(not(unix))]
        let _ = log;
        Ok(Self(()))
    }

    /// Sends standard error nowhere; `None` when the system does not let it be
    /// diverted, in which case it stays as it is.
    pub fn to_nowhere() -> Option<Self> {
        let path = if cfg!(windows) { "NUL" } else { "/dev/null" };
        let null = File::options().write(true).open(path).ok()?;
        Self::to(&null).ok()
    }
}

impl Drop for Hush {
    fn drop(&mut self) {
        #[cfg(unix)]
        fd::restore();
    }
}
