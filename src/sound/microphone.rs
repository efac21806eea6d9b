//! The microphone: the only file that names cpal (plugin.rs reads the one way
//! for which cpal is not used).
//!
//! Streams are built, watched and dropped on a thread of their own, since any
//! of the three can block. The first error ends a stream (one kind of error
//! comes hundreds of thousands of times a second until the stream is dropped);
//! the thread then tries to open the device again until it returns.
//!
//! Which of the system's ways to the microphone is taken on Linux, and why, is
//! told in docs/decisions/0001-audio-host.md.

use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::sync::{Arc, OnceLock};
use std::thread::{self, Thread};
use std::time::Duration;

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{BufferSize, ErrorKind, FromSample, SampleFormat, SizedSample, StreamConfig};

use super::capture::{Intake, Pick};
use super::device::{Choice, Device, PickError, pick};
use super::event::MicEvent;
use super::live::{Connection, Link, LiveInput};
use super::mic_error::MicError;
use super::monotonic::mono_ns;
#[cfg(target_os = "linux")]
use super::plugin::Plugin;
use super::quiet::Hush;
use super::ring::{Snapshot, ring};
use super::source::{Flow, SampleSource};
use crate::clock::ClockFit;

/// How long the system may take to list or open devices.
const ANSWER_S: u64 = 8;
/// How often a lost device is looked for.
const RETRY: Duration = Duration::from_millis(500);
/// How long to wait for a stream to close when the microphone is let go.
const CLOSE: Duration = Duration::from_millis(300);
/// Overruns in a row, with no sound between them, that end a stream.
const XRUNS: u32 = 50;

/// What was opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Opened {
    /// The device.
    pub device: Device,
    /// The way to it: "ALSA", "PulseAudio", "CoreAudio" and so on.
    pub host: String,
    /// The device's own rate in Hz.
    pub rate_hz: u32,
    /// The device's channels; they are mixed to one.
    pub channels: u16,
    /// The format of its samples, as "i16" or "f32".
    pub sample_format: String,
}

/// An open microphone.
pub struct Microphone {
    input: LiveInput,
    opened: Opened,
    keeper: Arc<Keeper>,
    thread: Thread,
    closed: std::sync::mpsc::Receiver<()>,
}

/// The microphones present, the default one first. ALSA's converters and the
/// loudspeakers' monitors are left out.
pub fn devices() -> Result<Vec<Device>, MicError> {
    let (tell, told) = channel();
    thread::spawn(move || {
        let _quiet = Hush::to_nowhere();
        let _ = tell.send(find(None).map(|all| devices_of(&all)));
    });
    answer(told.recv_timeout(Duration::from_secs(ANSWER_S)))
}

fn answer<T>(got: Result<Result<T, MicError>, RecvTimeoutError>) -> Result<T, MicError> {
    got.unwrap_or(Err(MicError::NoAnswer { waited_s: ANSWER_S }))
}

impl Microphone {
    /// Opens the chosen microphone, or the system's default, with the device's
    /// own rate and channels, and starts it.
    pub fn open(choice: Option<Choice>, channel_pick: Pick) -> Result<Self, MicError> {
        let (links, links_in) = channel();
        let (first, first_in) = channel();
        let (close, closed) = channel();
        let keeper = Arc::new(Keeper::default());
        let its = Arc::clone(&keeper);
        let thread = thread::Builder::new()
            .name("marklag-microphone".into())
            .spawn(move || {
                its.keep(choice.as_ref(), channel_pick, &links, &first);
                let _ = close.send(());
            })
            .map_err(|e| MicError::Other {
                device: "microphone".into(),
                said: e.to_string(),
            })?
            .thread()
            .clone();
        let opened =
            answer(first_in.recv_timeout(Duration::from_secs(ANSWER_S))).inspect_err(|_| {
                keeper.stop.store(true, Relaxed);
                thread.unpark();
            })?;
        Ok(Self {
            input: LiveInput::new(opened.rate_hz, links_in),
            opened,
            keeper,
            thread,
            closed,
        })
    }

    /// What was opened.
    pub fn opened(&self) -> &Opened {
        &self.opened
    }

    /// The fit of samples against the monotonic clock, with drift and residual.
    pub fn clock(&self) -> &ClockFit {
        self.input.clock()
    }

    /// The stream's counters; `None` while the device is lost.
    pub fn counters(&self) -> Option<Snapshot> {
        self.input.counters()
    }
}

impl SampleSource for Microphone {
    fn rate_hz(&self) -> u32 {
        self.input.rate_hz()
    }

    fn pull(&mut self, patience: Duration, out: &mut Vec<f32>, events: &mut Vec<MicEvent>) -> Flow {
        self.input.pull(patience, out, events)
    }

    fn sample_at(&self, mono_ns: i64) -> Option<(f64, f64)> {
        self.input.sample_at(mono_ns)
    }
}

impl Drop for Microphone {
    fn drop(&mut self) {
        self.keeper.stop.store(true, Relaxed);
        self.thread.unpark();
        // A stream whose close blocks is left to its own thread.
        let _ = self.closed.recv_timeout(CLOSE);
    }
}

/// Owns the streams, one after the other.
#[derive(Default)]
struct Keeper {
    stop: AtomicBool,
}

impl Keeper {
    fn keep(
        &self,
        choice: Option<&Choice>,
        channel_pick: Pick,
        links: &Sender<Link>,
        first: &Sender<Result<Opened, MicError>>,
    ) {
        let mut rate_hz = None;
        while !self.stop.load(Relaxed) {
            let failure = Arc::new(Failure::of_this_thread());
            let built = {
                let _quiet = Hush::to_nowhere();
                build(choice, rate_hz, channel_pick, &failure)
            };
            let (mut stream, opened, connection) = match built {
                Ok(built) => built,
                Err(error) if rate_hz.is_none() => {
                    let _ = first.send(Err(error));
                    return;
                }
                Err(_) => {
                    thread::park_timeout(RETRY);
                    continue;
                }
            };
            let device = connection.device.clone();
            if links.send(Link::Up(connection)).is_err() {
                return;
            }
            if rate_hz.replace(opened.rate_hz).is_none() {
                let _ = first.send(Ok(opened));
            }
            let ended = match &mut stream {
                Stream::Cpal(stream) => self.watch(stream, &failure),
                #[cfg(target_os = "linux")]
                Stream::Plugin(plugin) => plugin.run(&self.stop).err().map(|e| e.to_string()),
            };
            if let Some(reason) = ended {
                let _ = links.send(Link::Down { device, reason });
            }
            let _quiet = Hush::to_nowhere();
            drop(stream);
        }
    }

    /// Waits for the end of a stream that has a thread of its own; why it ended.
    fn watch(&self, stream: &cpal::Stream, failure: &Failure) -> Option<String> {
        // On one of the ways play() waits for the first sound, for ever if need be.
        if let Err(e) = stream.play() {
            failure.set(&e.to_string());
        }
        while !self.stop.load(Relaxed) && failure.said.get().is_none() {
            thread::park_timeout(Duration::from_secs(1));
        }
        failure.said.get().cloned()
    }
}

/// The first error of a stream. Later ones cost one load.
struct Failure {
    said: OnceLock<String>,
    keeper: Thread,
}

impl Failure {
    fn of_this_thread() -> Self {
        Self {
            said: OnceLock::new(),
            keeper: thread::current(),
        }
    }

    fn set(&self, said: &str) {
        if self.said.get().is_none() && self.said.set(said.to_owned()).is_ok() {
            self.keeper.unpark();
        }
    }
}

/// How a device is reached.
enum Way {
    Cpal(Box<cpal::Device>),
    /// ALSA's plugin to the sound server.
    #[cfg(target_os = "linux")]
    Plugin,
}

/// An open stream.
enum Stream {
    Cpal(cpal::Stream),
    #[cfg(target_os = "linux")]
    Plugin(Plugin),
}

/// A device that was found and the configuration it asks for.
struct Found {
    device: Device,
    host: &'static str,
    way: Way,
    config: StreamConfig,
    format: SampleFormat,
}

/// Each device once, though there may be two ways to it.
fn devices_of(found: &[Found]) -> Vec<Device> {
    let mut devices: Vec<Device> = found.iter().map(|f| f.device.clone()).collect();
    devices.dedup();
    devices
}

type Built = (Stream, Opened, Connection);

fn build(
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

fn own_config(handle: &cpal::Device) -> Result<(StreamConfig, SampleFormat), cpal::Error> {
    let own = handle.default_input_config()?;
    let config = StreamConfig {
        channels: own.channels(),
        sample_rate: own.sample_rate(),
        buffer_size: BufferSize::Default,
    };
    Ok((config, own.sample_format()))
}

fn named(handle: &cpal::Device, id: &str) -> String {
    handle
        .description()
        .map_or_else(|_| id.to_owned(), |d| d.name().to_owned())
}

/// The devices of the system's own host.
#[cfg(not(target_os = "linux"))]
fn find(_choice: Option<&Choice>) -> Result<Vec<Found>, MicError> {
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

#[cfg(target_os = "linux")]
use linux::find;

#[cfg(target_os = "linux")]
mod linux {
    use super::*;
    use crate::sound::device::{is_monitor, keep_alsa};
    use cpal::HostId;

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
}
