//! A program in a terminal of its own, whose keys the test presses and whose
//! pictures it keeps.

use std::fs::File;
use std::io::{Read, Write};
use std::os::fd::{AsRawFd, FromRawFd, OwnedFd};
use std::os::unix::process::CommandExt;
use std::process::{Child, Command, ExitStatus};
use std::sync::{Arc, Mutex};
use std::thread::sleep;
use std::time::{Duration, Instant};

pub struct Terminal {
    pub child: Child,
    master: File,
    seen: Arc<Mutex<Vec<u8>>>,
}

fn winsize(columns: u16, rows: u16) -> libc::winsize {
    libc::winsize {
        ws_row: rows,
        ws_col: columns,
        ws_xpixel: 0,
        ws_ypixel: 0,
    }
}

impl Terminal {
    /// Starts a program in a terminal of this size.
    pub fn start(mut command: Command, columns: u16, rows: u16) -> Self {
        let (mut master, mut slave) = (0, 0);
        let size = winsize(columns, rows);
        // SAFETY: both numbers are written before they are read; no name, no modes.
        let done = unsafe {
            libc::openpty(
                &mut master,
                &mut slave,
                std::ptr::null_mut(),
                std::ptr::null(),
                &size,
            )
        };
        assert_eq!(done, 0);
        // SAFETY: openpty gave both to this process alone.
        let (master, slave) = unsafe { (File::from_raw_fd(master), OwnedFd::from_raw_fd(slave)) };
        command
            .stdin(slave.try_clone().unwrap())
            .stdout(slave.try_clone().unwrap())
            .stderr(slave);
        // SAFETY: both calls may be made between fork and exec.
        unsafe {
            command.pre_exec(|| {
                libc::setsid();
                libc::ioctl(0, libc::TIOCSCTTY, 0);
                Ok(())
            });
        }
        let child = command.spawn().unwrap();
        drop(command); // with its copies of the terminal's end
        let seen = Arc::new(Mutex::new(Vec::new()));
        let (mut from, to) = (master.try_clone().unwrap(), Arc::clone(&seen));
        std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(n) = from.read(&mut bytes) {
                to.lock().unwrap().extend_from_slice(&bytes[..n]);
            }
        });
        Self {
            child,
            master,
            seen,
        }
    }

    /// Types keys; whether the terminal still took them.
    pub fn press(&mut self, keys: &str) -> bool {
        self.master.write_all(keys.as_bytes()).is_ok()
    }

    /// Gives the terminal another size, as a window that is dragged does.
    pub fn resize(&self, columns: u16, rows: u16) {
        let size = winsize(columns, rows);
        // SAFETY: the descriptor is open and the size outlives the call.
        let done = unsafe { libc::ioctl(self.master.as_raw_fd(), libc::TIOCSWINSZ, &size) };
        assert_eq!(done, 0);
    }

    pub fn signal(&self, signal: libc::c_int) {
        // SAFETY: the process is this test's own child and has not been waited for.
        let done = unsafe { libc::kill(self.child.id() as libc::pid_t, signal) };
        assert_eq!(done, 0);
    }

    /// All that was written to the terminal so far.
    pub fn seen(&self) -> String {
        String::from_utf8_lossy(&self.seen.lock().unwrap()).into_owned()
    }

    /// Whether keys are echoed and lines put together, as a shell expects it.
    pub fn is_as_a_shell_expects(&self) -> bool {
        // SAFETY: termios is plain numbers, and the call fills it.
        let mode = unsafe {
            let mut mode: libc::termios = std::mem::zeroed();
            assert_eq!(libc::tcgetattr(self.master.as_raw_fd(), &mut mode), 0);
            mode
        };
        let wanted = libc::ICANON | libc::ECHO | libc::ISIG;
        mode.c_lflag & wanted == wanted && mode.c_oflag & libc::OPOST != 0
    }

    /// Waits for words on the terminal.
    pub fn wait_for(&self, words: &str, seconds: f64) {
        let end = Instant::now() + Duration::from_secs_f64(seconds);
        while !self.seen().contains(words) {
            assert!(Instant::now() < end, "no {words:?} in {}", self.seen());
            sleep(Duration::from_millis(20));
        }
    }

    /// Waits for the program's end.
    pub fn finish(&mut self, seconds: f64) -> ExitStatus {
        let end = Instant::now() + Duration::from_secs_f64(seconds);
        loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                sleep(Duration::from_millis(100)); // the reader takes the rest
                return status;
            }
            assert!(Instant::now() < end, "it did not end: {}", self.seen());
            sleep(Duration::from_millis(20));
        }
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
