//! A foot pedal or second keyboard, read by itself as a Linux input event
//! device. The kernel stamps each press on CLOCK_MONOTONIC, so neither the
//! terminal nor this program's own load adds to its time.
//!
//! Reading /dev/input needs permission: docs/pedal.md tells how to give it to
//! one device with a udev rule.

use std::io;
use std::os::fd::AsRawFd;
use std::path::PathBuf;
use std::time::{Duration, SystemTime};

use evdev::raw_stream::RawDevice;
use evdev::{EventType, InputEvent};

use super::event::{HandEvent, Key, Source};
use super::rearm::Rearm;

/// Standard uncertainty of a kernel stamp in ms: a USB pedal is asked every
/// 8 ms, which is 8/√12 evenly spread.
pub const PEDAL_U_MS: f64 = 2.3;

/// `value` of a key event that is a press (0 is a release, 2 a repeat).
const PRESS: i32 = 1;

/// A device that has keys.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PedalDevice {
    /// The name it gives itself.
    pub name: String,
    /// Its place, as /dev/input/event5; it may change.
    pub path: PathBuf,
}

/// Why a pedal could not be read.
#[derive(Debug, thiserror::Error)]
pub enum PedalError {
    /// None of the readable devices has the name.
    #[error(
        "No pedal called \"{wanted}\" can be read. Devices that can: {present}. If yours is missing, plug it in, or give yourself the right to read it (docs/pedal.md)."
    )]
    Missing {
        /// The name asked for.
        wanted: String,
        /// The names that are there, or "none".
        present: String,
    },
    /// The system refused.
    #[error(
        "The pedal \"{name}\" could not be {what} ({error}). If the right is missing, docs/pedal.md tells how to give it; if another program has grabbed the pedal, close that program."
    )]
    Refused {
        /// The device.
        name: String,
        /// What was tried.
        what: &'static str,
        /// What the system said.
        error: io::Error,
    },
}

/// The readable devices that have keys, by name.
pub fn devices() -> Vec<PedalDevice> {
    let mut all: Vec<PedalDevice> = evdev::raw_stream::enumerate()
        .filter(|(_, d)| {
            d.supported_keys()
                .is_some_and(|k| k.iter().next().is_some())
        })
        .map(|(path, d)| PedalDevice {
            name: d.name().unwrap_or("without a name").to_owned(),
            path,
        })
        .collect();
    all.sort_by(|a, b| (&a.name, &a.path).cmp(&(&b.name, &b.path)));
    all
}

/// An open pedal.
pub struct Pedal {
    device: RawDevice,
    presses: Presses,
}

impl Pedal {
    /// Opens the device of that name and asks for stamps on CLOCK_MONOTONIC.
    /// With `grab` its presses reach this program alone; without, they are
    /// typed into the terminal as well.
    pub fn open(name: &str, grab: bool) -> Result<Self, PedalError> {
        let all = devices();
        let found = all.iter().find(|d| d.name == name).ok_or_else(|| {
            let names: Vec<&str> = all.iter().map(|d| d.name.as_str()).collect();
            PedalError::Missing {
                wanted: name.to_owned(),
                present: if names.is_empty() {
                    "none".to_owned()
                } else {
                    names.join(", ")
                },
            }
        })?;
        let refused = |what| {
            move |error| PedalError::Refused {
                name: name.to_owned(),
                what,
                error,
            }
        };
        let mut device = RawDevice::open(&found.path).map_err(refused("opened"))?;
        stamp_monotonic(&device).map_err(refused("told which clock to use"))?;
        if grab {
            device.grab().map_err(refused("grabbed"))?;
        }
        Ok(Self {
            device,
            presses: Presses::new(name, Rearm::<u16>::DEVICE_MS),
        })
    }

    /// The name it was opened by.
    pub fn name(&self) -> &str {
        self.presses.source.name()
    }

    /// Waits at most `patience` for presses and adds them to `out`. An error
    /// means that the pedal is gone.
    pub fn read(&mut self, patience: Duration, out: &mut Vec<HandEvent>) -> io::Result<()> {
        let mut poll = libc::pollfd {
            fd: self.device.as_raw_fd(),
            events: libc::POLLIN,
            revents: 0,
        };
        let ms = libc::c_int::try_from(patience.as_millis()).unwrap_or(libc::c_int::MAX);
        // SAFETY: one valid pollfd that outlives the call.
        match unsafe { libc::poll(&mut poll, 1, ms) } {
            0 => return Ok(()),
            n if n < 0 => {
                let error = io::Error::last_os_error();
                let interrupted = error.kind() == io::ErrorKind::Interrupted;
                return if interrupted { Ok(()) } else { Err(error) };
            }
            _ => {}
        }
        for event in self.device.fetch_events()? {
            out.extend(self.presses.take(event));
        }
        Ok(())
    }
}

fn stamp_monotonic(device: &RawDevice) -> io::Result<()> {
    // linux/input.h: EVIOCSCLOCKID is _IOW('E', 0xa0, int), as encoded on x86,
    // ARM and RISC-V; elsewhere the kernel refuses it and the pedal with it.
    const EVIOCSCLOCKID: libc::Ioctl = 0x4004_45a0;
    let clock: libc::c_int = libc::CLOCK_MONOTONIC;
    // SAFETY: the request reads one int, which outlives the call.
    match unsafe { libc::ioctl(device.as_raw_fd(), EVIOCSCLOCKID, &clock) } {
        0 => Ok(()),
        _ => Err(io::Error::last_os_error()),
    }
}

/// Turns input events into presses. Pure: the kernel's stamps are in them.
#[derive(Debug, Clone)]
pub struct Presses {
    source: Source,
    rearm: Rearm<u16>,
}

impl Presses {
    /// Presses of the device called `name`, whose keys must rest `quiet_ms`
    /// between two presses.
    pub fn new(name: &str, quiet_ms: f64) -> Self {
        Self {
            source: Source::Device(name.to_owned()),
            rearm: Rearm::new(quiet_ms),
        }
    }

    /// The press that an input event is; `None` for releases, repeats, bounces
    /// and everything that is not a key.
    pub fn take(&mut self, event: InputEvent) -> Option<HandEvent> {
        if event.event_type() != EventType::KEY || event.value() != PRESS {
            return None;
        }
        let since = event
            .timestamp()
            .duration_since(SystemTime::UNIX_EPOCH)
            .ok()?;
        let mono_ns = i64::try_from(since.as_nanos()).ok()?;
        self.rearm.is_new(event.code(), mono_ns).then(|| HandEvent {
            mono_ns,
            source: self.source.clone(),
            key: Key::Code(event.code()),
            u_ms: PEDAL_U_MS,
        })
    }
}

#[cfg(all(test, target_pointer_width = "64", target_endian = "little"))]
#[path = "pedal_tests.rs"]
mod tests;
