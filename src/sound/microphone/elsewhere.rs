//! The ways to a microphone where the system has one host of its own.

use cpal::traits::{DeviceTrait, HostTrait};

use super::error::MicError;
use super::found::{Found, Way, named, own_config};
use crate::sound::device::{Choice, Device};

/// The devices of the system's own host.
pub(super) fn find(_choice: Option<&Choice>) -> Result<Vec<Found>, MicError> {
    let host = cpal::default_host();
    let id_of = |d: &cpal::Device| d.id().map(|id| id.to_string()).ok();
    let default = host.default_input_device().as_ref().and_then(id_of);
    let all = host.input_devices().map_err(|e| MicError::Other {
        device: host.id().name().to_owned(),
        said: e.to_string(),
    })?;
    let mut found: Vec<Found> = all
        .filter_map(|handle| {
            let id = id_of(&handle)?;
            let (config, format) = own_config(&handle).ok()?;
            let device = Device {
                description: named(&handle, &id),
                is_default: default.as_ref() == Some(&id),
                id,
            };
            Some(Found {
                device,
                host: host.id().name(),
                way: Way::Cpal(Box::new(handle)),
                config,
                format,
            })
        })
        .collect();
    found.sort_by_key(|f| !f.device.is_default);
    Ok(found)
}
