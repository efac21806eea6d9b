//! The one clock that sound and hands are both stamped with.

/// Nanoseconds of CLOCK_MONOTONIC, the clock of the kernel's input events.
#[cfg(unix)]
pub fn mono_ns() -> i64 {
    let mut t = libc::timespec {
        tv_sec: 0,
        tv_nsec: 0,
    };
    // SAFETY: `t` is a valid timespec that outlives the call. The call cannot
    // fail for this clock, and would leave the zero above if it did.
    unsafe { libc::clock_gettime(libc::CLOCK_MONOTONIC, &mut t) };
    #[allow(clippy::unnecessary_cast)] // the fields' widths differ between systems
    {
        t.tv_sec as i64 * 1_000_000_000 + t.tv_nsec as i64
    }
}

/// Nanoseconds of the system's monotonic clock since the first call.
#[cfg(not(unix))]
pub fn mono_ns() -> i64 {
    static START: std::sync::OnceLock<std::time::Instant> = std::sync::OnceLock::new();
    i64::try_from(
        START
            .get_or_init(std::time::Instant::now)
            .elapsed()
            .as_nanos(),
    )
    .unwrap_or(i64::MAX)
}
