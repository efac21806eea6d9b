//! The ways to a microphone on Linux; docs/decisions/0001-audio-host.md tells why
//! they are taken in this order.

use std::thread;
use std::time::Duration;

use cpal::traits::{DeviceTrait, HostTrait};
use cpal::{HostId, SampleFormat};

use super::error::MicError;
use super::found::{Found, Way, named, own_config};
use crate::sound::device::{Choice, Device, is_monitor, keep_alsa};

/// How often a sound server is asked whether it is there.
const GREETINGS: u32 = 3;

/// The sound server's sources if one answers, otherwise the cards. A
/// server's source is found twice: by ALSA's plugin, which loses nothing
/// under load, and by the server's own protocol should the plugin be missing.
pub(super) fn find(choice: Option<&Choice>) -> Result<Vec<Found>, MicError> {
    match sound_server() {
        Some(server) => Ok(sources(&server, choice)),
        None => Ok(cpal::host_from_id(HostId::Alsa)
            .map(|a| cards(&a))
            .unwrap_or_default()),
    }
}

/// A busy server was seen to turn the first greeting away.
fn sound_server() -> Option<cpal::Host> {
    (0..GREETINGS).find_map(|_| {
        cpal::host_from_id(HostId::PulseAudio)
            .inspect_err(|_| thread::sleep(Duration::from_millis(20)))
            .ok()
    })
}

fn sources(server: &cpal::Host, choice: Option<&Choice>) -> Vec<Found> {
    let id_of = |d: &cpal::Device| d.id().map(|id| id.id().to_owned()).ok();
    let default = server.default_input_device().as_ref().and_then(id_of);
    let mut found = Vec::new();
    for handle in server.input_devices().into_iter().flatten() {
        let Some(name) = id_of(&handle) else { continue };
        let is_default = default.as_deref() == Some(&*name);
        if is_monitor(&name) && !is_default {
            continue;
        }
        let Ok((config, format)) = own_config(&handle) else {
            continue;
        };
        let device = Device {
            description: named(&handle, &name),
            is_default,
            id: format!("pulse:{name}"),
        };
        let chosen =
            choice.is_some_and(|c| c.id == device.id || c.description == device.description);
        if chosen || choice.is_none() && is_default {
            if chosen {
                name_source(&name);
            }
            found.push(Found {
                device: device.clone(),
                host: "ALSA",
                way: Way::Plugin,
                config,
                format: SampleFormat::F32,
            });
        }
        found.push(Found {
            device,
            host: "PulseAudio",
            way: Way::Cpal(Box::new(handle)),
            config,
            format,
        });
    }
    found.sort_by_key(|f| !f.device.is_default);
    found
}

/// Tells the server's client library which source is meant: ALSA's name for
/// the server has no room for it.
fn name_source(name: &str) {
    const VARIABLE: &str = "PULSE_SOURCE";
    if std::env::var(VARIABLE).as_deref() == Ok(name) {
        return;
    }
    // SAFETY: the Rust standard library guards its own readers. Of the C
    // libraries in the program, only the sound client reads the environment
    // after the start, when a stream is opened; that happens on this thread,
    // after this line, and no stream is open now.
    unsafe { std::env::set_var(VARIABLE, name) };
}

/// The cards, and the system's own default if it can be opened.
fn cards(alsa: &cpal::Host) -> Vec<Found> {
    let all: Vec<(String, cpal::Device)> = alsa
        .input_devices()
        .into_iter()
        .flatten()
        .filter_map(|d| Some((d.id().ok()?.id().to_owned(), d)))
        .collect();
    let ids: Vec<&str> = all.iter().map(|(id, _)| &**id).collect();
    let keep = keep_alsa(&ids);
    let default = alsa
        .default_input_device()
        .map(|d| ("default".to_owned(), d));
    default
        .iter()
        .chain(all.iter().filter(|(id, _)| keep.contains(&&**id)))
        .filter_map(|(id, handle)| {
            let (config, format) = own_config(handle).ok()?;
            let is_default = id == "default";
            let description = if is_default {
                "the system's default".to_owned()
            } else {
                named(handle, id)
            };
            Some(Found {
                device: Device {
                    id: format!("alsa:{id}"),
                    description,
                    is_default,
                },
                host: "ALSA",
                way: Way::Cpal(Box::new(handle.clone())),
                config,
                format,
            })
        })
        .collect()
}
