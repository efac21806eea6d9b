//! A sound server's source, through ALSA's plugin to the server (`pulse`).
//!
//! The plugin is read here and not through cpal, which takes whole periods only.
//! What is left of a server's longer block then stays in the plugin, and the
//! plugin, which counts a block as unread until its last sample is taken, wakes
//! the reader again at once, without end, until the next block comes: up to half
//! of a core was measured. To take all that is there leaves nothing to wake for.
//! The measurements are in docs/decisions/0001-audio-host.md.

use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::thread;
use std::time::Duration;

use alsa::pcm::{Access, Format, HwParams, PCM};
use alsa::poll::{Descriptors, poll};
use alsa::{Direction, ValueOr};

use crate::sound::capture::Intake;
use crate::sound::monotonic::mono_ns;

/// Blocks asked of the server per second. It sends longer ones when its source
/// gives longer ones.
const BLOCKS_PER_S: u32 = 100;
/// Blocks in the longest piece that is read at once, after a stall.
const BLOCKS: usize = 8;
/// How long to wait for sound before looking whether to stop.
const WAIT_MS: i32 = 100;
/// A rest after a wake-up that brought nothing, so that none can be too many.
const REST: Duration = Duration::from_millis(2);
/// A sample of this size counts as clipped.
const CLIP_AT: f32 = 0.9999;

/// An open source and the ring it fills.
pub(super) struct Plugin {
    pcm: PCM,
    intake: Intake,
    block: Vec<f32>,
    channels: usize,
}

impl Plugin {
    /// Opens the source that the server's client library is told to take, with
    /// 32-bit floats.
    pub fn open(rate_hz: u32, channels: u16, intake: Intake) -> alsa::Result<Self> {
        let pcm = PCM::new("pulse", Direction::Capture, true)?;
        let frames = (rate_hz / BLOCKS_PER_S) as usize;
        {
            let wish = HwParams::any(&pcm)?;
            wish.set_access(Access::RWInterleaved)?;
            wish.set_format(Format::float())?;
            wish.set_rate(rate_hz, ValueOr::Nearest)?;
            wish.set_channels(u32::from(channels))?;
            wish.set_period_size_near(frames as i64, ValueOr::Nearest)?;
            wish.set_buffer_size_near((frames * BLOCKS) as i64)?;
            pcm.hw_params(&wish)?;
        }
        pcm.prepare()?;
        let channels = usize::from(channels);
        Ok(Self {
            pcm,
            intake,
            block: vec![0.0; frames * BLOCKS * channels],
            channels,
        })
    }

    /// Fills the ring until `stop` is set; the error that ended it otherwise.
    pub fn run(&mut self, stop: &AtomicBool) -> alsa::Result<()> {
        self.pcm.start()?;
        let mut descriptors = self.pcm.get()?;
        while !stop.load(Relaxed) {
            // The only error is a signal, after which there may be sound as well.
            let woken = poll(&mut descriptors, WAIT_MS).unwrap_or(1) > 0;
            if self.take_all()? == 0 && woken {
                thread::sleep(REST);
            }
        }
        Ok(())
    }

    /// Takes all that is there; gives how many frames.
    fn take_all(&mut self) -> alsa::Result<usize> {
        let io = self.pcm.io_f32()?;
        let mut total = 0;
        loop {
            let frames = match io.readi(&mut self.block) {
                Ok(frames) => frames,
                Err(e) if e.errno() == libc::EAGAIN => 0,
                Err(e) => return Err(e),
            };
            if frames > 0 {
                let samples = &self.block[..frames * self.channels];
                self.intake.take(samples, |s| s, CLIP_AT, mono_ns());
            }
            total += frames;
            if frames * self.channels < self.block.len() {
                return Ok(total);
            }
        }
    }
}
