//! Devices that were found, and the ways to them.

use cpal::traits::DeviceTrait;
use cpal::{BufferSize, SampleFormat, StreamConfig};

use crate::sound::device::Device;

/// How a device is reached.
pub(super) enum Way {
    Cpal(Box<cpal::Device>),
    /// ALSA's plugin to the sound server.
    #[cfg(target_os = "linux")]
    Plugin,
}
/// A device that was found and the configuration it asks for.
pub(super) struct Found {
    pub device: Device,
    pub host: &'static str,
    pub way: Way,
    pub config: StreamConfig,
    pub format: SampleFormat,
}

/// Each device once, though there may be two ways to it.
pub(super) fn devices_of(found: &[Found]) -> Vec<Device> {
    let mut devices: Vec<Device> = found.iter().map(|f| f.device.clone()).collect();
    devices.dedup();
    devices
}
pub(super) fn own_config(
    handle: &cpal::Device,
) -> Result<(StreamConfig, SampleFormat), cpal::Error> {
    let own = handle.default_input_config()?;
    let config = StreamConfig {
        channels: own.channels(),
        sample_rate: own.sample_rate(),
        buffer_size: BufferSize::Default,
    };
    Ok((config, own.sample_format()))
}

pub(super) fn named(handle: &cpal::Device, id: &str) -> String {
    handle
        .description()
        .map_or_else(|_| id.to_owned(), |d| d.name().to_owned())
}
