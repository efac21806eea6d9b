//! An open stream of a device: its samples go into the ring, its first error to
//! the keeper.

use std::sync::Arc;

use cpal::traits::DeviceTrait;
use cpal::{ErrorKind, FromSample, SampleFormat, SizedSample, StreamConfig};

use super::Opened;
use super::error::MicError;
use super::find;
use super::found::{Found, Way, devices_of};
use super::keeper::Failure;
#[cfg(target_os = "linux")]
use super::plugin::Plugin;
use crate::sound::capture::{Intake, Pick};
use crate::sound::device::{Choice, Device, PickError, pick};
use crate::sound::live::Connection;
use crate::sound::monotonic::mono_ns;
use crate::sound::ring::ring;

/// Overruns in a row, with no sound between them, that end a stream.
const XRUNS: u32 = 50;

/// An open stream.
pub(super) enum Stream {
    Cpal(cpal::Stream),
    #[cfg(target_os = "linux")]
    Plugin(Plugin),
}
type Built = (Stream, Opened, Connection);

/// Opens the chosen device, at `rate_hz` where that is settled.
pub(super) fn build(
    choice: Option<&Choice>,
    rate_hz: Option<u32>,
    channel_pick: Pick,
    failure: &Arc<Failure>,
) -> Result<Built, MicError> {
    let mut found = find(choice)?;
    let all = devices_of(&found);
    let id = &pick(&all, choice)?.id;
    // One device may have more than one way to it; the better one comes first.
    found.retain(|f| &f.device.id == id);
    let mut last = MicError::Pick(PickError::None);
    for mut f in found {
        // A session has one rate: a device that returns must give it again.
        f.config.sample_rate = rate_hz.unwrap_or(f.config.sample_rate);
        match build_one(&f, channel_pick, failure) {
            Ok(built) => return Ok(built),
            Err(error) => last = error,
        }
    }
    Err(last)
}

fn build_one(f: &Found, channel_pick: Pick, failure: &Arc<Failure>) -> Result<Built, MicError> {
    let (intake, reader) = ring(f.config.sample_rate, f.config.channels, channel_pick);
    let stream = match &f.way {
        Way::Cpal(handle) => Stream::Cpal(cpal_stream(f, handle, intake, failure)?),
        #[cfg(target_os = "linux")]
        Way::Plugin => {
            let plugin = Plugin::open(f.config.sample_rate, f.config.channels, intake);
            Stream::Plugin(plugin.map_err(|e| MicError::Other {
                device: f.device.description.clone(),
                said: e.to_string(),
            })?)
        }
    };
    let opened = Opened {
        device: f.device.clone(),
        host: f.host.to_owned(),
        rate_hz: f.config.sample_rate,
        channels: f.config.channels,
        sample_format: f.format.to_string(),
    };
    let connection = Connection {
        device: f.device.description.clone(),
        ring: reader,
    };
    Ok((stream, opened, connection))
}

fn cpal_stream(
    f: &Found,
    handle: &cpal::Device,
    intake: Intake,
    failure: &Arc<Failure>,
) -> Result<cpal::Stream, MicError> {
    let build = match f.format {
        SampleFormat::I8 => stream_of::<i8>,
        SampleFormat::I16 => stream_of::<i16>,
        SampleFormat::I24 => stream_of::<cpal::I24>,
        SampleFormat::I32 => stream_of::<i32>,
        SampleFormat::I64 => stream_of::<i64>,
        SampleFormat::U8 => stream_of::<u8>,
        SampleFormat::U16 => stream_of::<u16>,
        SampleFormat::U24 => stream_of::<cpal::U24>,
        SampleFormat::U32 => stream_of::<u32>,
        SampleFormat::U64 => stream_of::<u64>,
        SampleFormat::F32 => stream_of::<f32>,
        SampleFormat::F64 => stream_of::<f64>,
        other => {
            return Err(MicError::Unsupported {
                device: f.device.description.clone(),
                said: format!("samples of the kind {other}"),
            });
        }
    };
    build(handle, f.config, intake, Arc::clone(failure)).map_err(|e| told(&f.device, &e))
}

fn stream_of<T>(
    handle: &cpal::Device,
    config: StreamConfig,
    mut intake: Intake,
    failure: Arc<Failure>,
) -> Result<cpal::Stream, cpal::Error>
where
    T: SizedSample,
    f32: FromSample<T>,
{
    // The largest value of the format: 127/128 in eight bits.
    let clip_at = if size_of::<T>() == 1 { 0.99 } else { 0.9999 };
    let counters = intake.counters();
    let mut xruns_in_a_row = 0;
    let mut heard = 0;
    handle.build_input_stream(
        config,
        move |data: &[T], _| {
            intake.take(
                data,
                |s| <f32 as FromSample<T>>::from_sample_(s),
                clip_at,
                mono_ns(),
            );
        },
        move |error| match error.kind() {
            // The stream goes on; what is missing shows in the arrival times.
            ErrorKind::Xrun => {
                counters.count_xrun();
                let now = counters.snapshot().callbacks;
                xruns_in_a_row = if now == heard { xruns_in_a_row + 1 } else { 0 };
                heard = now;
                if xruns_in_a_row > XRUNS {
                    failure.set("overruns without end");
                }
            }
            ErrorKind::DeviceChanged | ErrorKind::RealtimeDenied => {}
            _ => failure.set(&error.to_string()),
        },
        None,
    )
}

fn told(device: &Device, error: &cpal::Error) -> MicError {
    let (device, said) = (device.description.clone(), error.to_string());
    match error.kind() {
        ErrorKind::DeviceBusy => MicError::Busy { device, said },
        ErrorKind::PermissionDenied => MicError::Denied { device, said },
        ErrorKind::UnsupportedConfig | ErrorKind::UnsupportedOperation => {
            MicError::Unsupported { device, said }
        }
        _ => MicError::Other { device, said },
    }
}
