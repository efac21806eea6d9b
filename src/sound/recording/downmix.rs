//! Many channels to one.

use symphonia::core::audio::GenericAudioBufferRef;

use super::info::ChannelChoice;

/// Reused buffers for one decoded block.
#[derive(Default)]
pub struct Downmix {
    planes: Vec<Vec<f32>>,
    mono: Vec<f32>,
    /// Samples that were NaN or infinite so far and became 0.
    pub nonfinite: u64,
}

impl Downmix {
    /// Takes a decoded block. A chosen channel that is not there gives silence:
    /// the caller has checked.
    pub fn take(&mut self, block: &GenericAudioBufferRef<'_>, choice: ChannelChoice) {
        block.copy_to_vecs_planar(&mut self.planes);
        self.mono.clear();
        self.mono.resize(block.frames(), 0.0);
        match choice {
            ChannelChoice::Only(number) => {
                let plane = number.checked_sub(1).and_then(|n| self.planes.get(n));
                if let Some(plane) = plane {
                    self.nonfinite += add(plane, &mut self.mono);
                }
            }
            ChannelChoice::Mix => {
                for plane in &self.planes {
                    self.nonfinite += add(plane, &mut self.mono);
                }
                if self.planes.len() > 1 {
                    let channels = self.planes.len() as f32;
                    for sample in &mut self.mono {
                        *sample /= channels;
                        // A sum of huge floats may still overflow.
                        if !sample.is_finite() {
                            *sample = 0.0;
                            self.nonfinite += 1;
                        }
                    }
                }
            }
        }
    }

    /// The block as one channel.
    pub fn mono(&self) -> &[f32] {
        &self.mono
    }
}

/// Adds a channel, with 0 for what is no number; gives how many there were.
fn add(plane: &[f32], mono: &mut [f32]) -> u64 {
    // Without a branch, so that the compiler makes vector code of it; a block is short.
    let mut nonfinite = 0u32;
    for (sum, &sample) in mono.iter_mut().zip(plane) {
        let is_finite = sample.is_finite();
        *sum += if is_finite { sample } else { 0.0 };
        nonfinite += u32::from(!is_finite);
    }
    u64::from(nonfinite)
}
