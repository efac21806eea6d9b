//! `marklag check hands`: how late a key or pedal is behind the sound of its own tap.

use std::io::Write;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::sync::mpsc::{Receiver, channel};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use anyhow::{Context, bail};
use clap::Args;

use crate::cli::show::Show;
use crate::cli::sound_in::SoundIn;
use crate::cli::trouble::BadUsage;
use crate::ear::{Ear, Level, LevelMeter};
use crate::hand::pedal::{self, Pedal};
use crate::hand::{HandEvent, KeyPath, Source, calibrate, delays_ms};
use crate::journal::{Home, hands as known_hands};
use crate::measure::median::{MedianInterval, median_interval};
use crate::screen::view::setup::SetupView;
use crate::sound::monotonic::mono_ns;
use crate::sound::{Flow, MicEvent, SampleSource};

/// How long the engine waits for sound at a stretch.
const PATIENCE: Duration = Duration::from_millis(20);
/// The clocks are fitted when a key is set on the sound this well, in ms.
const FITTED_MS: f64 = 1.0;
/// They are waited for no longer than this.
const FIT_PATIENCE: Duration = Duration::from_secs(12);
/// After a press its sound is waited for this long, in ms of sound.
const HEARD_AFTER_MS: f64 = 400.0;
/// Level of the interval of the delay.
const LEVEL: f64 = 0.95;

/// Measure how late a key or pedal is: tap it so that the microphone hears it.
#[derive(Debug, Args)]
pub(super) struct HandsCmd {
    #[command(flatten)]
    sound: SoundIn,
    /// A foot pedal or second keyboard, by its name, instead of this terminal's keys
    #[arg(long, value_name = "NAME")]
    pedal: Option<String>,
    /// List the pedals and keyboards that can be read, and end
    #[arg(long)]
    pedals: bool,
    /// Taps to make
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = clap::value_parser!(u16).range(10..=200))]
    taps: u16,
    /// Plain lines instead of the full screen
    #[arg(long)]
    plain: bool,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

/// Presses and sounds of a run, in ms on the sound's clock.
struct Tapping {
    rate_hz: f64,
    wanted: usize,
    ear: Ear,
    meter: LevelMeter,
    presses_ms: Vec<f64>,
    sounds_ms: Vec<f64>,
    told: usize,
    /// Whether the two clocks are fitted, so that taps can be taken.
    is_fitted: bool,
}

/// What the hand did since it was last asked.
#[derive(Default)]
struct Hands {
    presses: Vec<HandEvent>,
    wants_out: bool,
}

impl Tapping {
    fn new(rate_hz: u32, wanted: usize) -> anyhow::Result<Self> {
        Ok(Self {
            rate_hz: f64::from(rate_hz),
            wanted,
            ear: Ear::new(rate_hz, &[])?,
            meter: LevelMeter::new(rate_hz),
            presses_ms: Vec::new(),
            sounds_ms: Vec::new(),
            told: 0,
            is_fitted: false,
        })
    }

    fn now_ms(&self) -> f64 {
        self.ear.count() as f64 / self.rate_hz * 1e3
    }

    fn hear(&mut self, samples: &[f32]) -> anyhow::Result<()> {
        self.meter.push(samples);
        let (rate, sounds) = (self.rate_hz, &mut self.sounds_ms);
        self.ear.push(samples, &mut |heard| {
            sounds.push(heard.at as f64 / rate * 1e3)
        })?;
        Ok(())
    }

    /// What became of the next press, once its sound had its time to come.
    fn next_told(&mut self) -> Option<String> {
        let press_ms = *self.presses_ms.get(self.told)?;
        if self.now_ms() < press_ms + HEARD_AFTER_MS {
            return None;
        }
        self.told += 1;
        let alone = delays_ms(&[press_ms], &self.sounds_ms);
        let (n, of) = (self.told, self.wanted);
        Some(match alone[..] {
            [delay] if delay >= 0.0 => {
                format!("tap {n}/{of}: the key is {delay:.1} ms after its sound")
            }
            [delay] => format!("tap {n}/{of}: the key is {:.1} ms before its sound", -delay),
            _ => format!("tap {n}/{of}: no sound of its own; tap firmly, a second apart"),
        })
    }

    fn is_done(&self) -> bool {
        self.told >= self.wanted
    }
}

/// Where the tapping is done and seen.
trait Front {
    /// What the hand did since it was last asked.
    fn hands(&mut self, source: &dyn SampleSource) -> anyhow::Result<Hands>;

    /// Shows how far it is, and what is new in words.
    fn show(&mut self, tapping: &mut Tapping, words: Option<&str>) -> anyhow::Result<()>;
}

/// Listens and watches the hand until all taps were made or it is broken off.
fn tap(
    tapping: &mut Tapping,
    source: &mut dyn SampleSource,
    front: &mut dyn Front,
) -> anyhow::Result<()> {
    let (mut samples, mut events) = (Vec::new(), Vec::<MicEvent>::new());
    let start = Instant::now();
    while !tapping.is_done() {
        samples.clear();
        events.clear();
        let flow = source.pull(PATIENCE, &mut samples, &mut events);
        tapping.hear(&samples)?;
        for event in events
            .iter()
            .filter(|e| !matches!(e, MicEvent::Samples { .. }))
        {
            front.show(tapping, Some(&event.to_string()))?;
        }
        let done = front.hands(source)?;
        if done.wants_out {
            bail!("nothing was kept: it was ended before all taps were made");
        }
        if tapping.is_fitted {
            for press in done.presses {
                if let Some((sample, _)) = source.sample_at(press.mono_ns) {
                    tapping.presses_ms.push(sample / tapping.rate_hz * 1e3);
                }
            }
        } else {
            let u_ms = source.sample_at(mono_ns()).map(|at| at.1);
            tapping.is_fitted =
                u_ms.is_some_and(|u| u < FITTED_MS) || start.elapsed() > FIT_PATIENCE;
            if tapping.is_fitted {
                front.show(tapping, Some("Tap now, about once a second."))?;
            }
        }
        while let Some(words) = tapping.next_told() {
            front.show(tapping, Some(&words))?;
        }
        front.show(tapping, None)?;
        if flow == Flow::Ended {
            break;
        }
    }
    Ok(())
}

impl HandsCmd {
    pub(super) fn run(self, home: &Home, out: &mut dyn Write) -> anyhow::Result<()> {
        if self.pedals {
            return list(out);
        }
        if self.sound.is_fast() {
            bail!(BadUsage(
                "a key has no place in a recording that runs as fast as it goes: leave --fast out"
                    .to_owned()
            ));
        }
        // An unwritable home or a damaged file is told before the tapping.
        home.create()?;
        known_hands::read(home)?;
        let pedal = self.pedal.as_deref().map(PedalReader::start).transpose()?;
        let mut source = self.sound.open(home)?;
        let mut tapping = Tapping::new(source.rate_hz(), usize::from(self.taps))?;
        let mut screen = Show::open(home, self.plain || self.json, pedal.is_none())?;
        if !self.json {
            screen.say(out, "Lay the microphone beside the key, not beside your ear. Listening to the room for five seconds.")?;
        }
        let name = match &self.pedal {
            Some(name) => Source::Device(name.clone()),
            None => Source::Terminal,
        };
        let mut front = AtTerminal {
            screen: &mut screen,
            pedal,
            hand: &name,
            words: String::new(),
            out: (!self.json).then_some(&mut *out),
        };
        let tapped = tap(&mut tapping, &mut *source, &mut front);
        screen.close();
        tapped?;
        self.finish(home, &name, &tapping, out)
    }

    fn finish(
        &self,
        home: &Home,
        hand: &Source,
        tapping: &Tapping,
        out: &mut dyn Write,
    ) -> anyhow::Result<()> {
        let path =
            calibrate(&tapping.presses_ms, &tapping.sounds_ms).context("The delay was not kept")?;
        let delays = delays_ms(&tapping.presses_ms, &tapping.sounds_ms);
        let interval = median_interval(&delays, LEVEL);
        known_hands::keep(home, hand, path)?;
        if self.json {
            let report = serde_json::json!({
                "format": "marklag.check-hands/1",
                "hand": hand.name(),
                "delay_ms": path.delay_ms,
                "delay_interval_ms": interval.map(|i| [i.low, i.high]),
                "jitter_ms": path.jitter_ms,
                "u_ms": path.u_ms(),
                "taps": path.taps,
                "presses": tapping.presses_ms.len(),
                "delays_ms": delays,
            });
            writeln!(out, "{report}")?;
            return Ok(());
        }
        say_result(hand, path, interval, out)?;
        writeln!(out, "Kept in {}", home.hands_file().display())?;
        Ok(())
    }
}

/// The terminal, or lines where there is none.
struct AtTerminal<'a> {
    screen: &'a mut Show,
    pedal: Option<PedalReader>,
    hand: &'a Source,
    words: String,
    /// Where lines go; nowhere when only the result is wanted.
    out: Option<&'a mut dyn Write>,
}

impl Front for AtTerminal<'_> {
    fn hands(&mut self, _source: &dyn SampleSource) -> anyhow::Result<Hands> {
        let done = self.screen.done();
        let presses = match &self.pedal {
            Some(pedal) => pedal.presses()?,
            None => done.presses,
        };
        Ok(Hands {
            presses,
            wants_out: done.wants_out,
        })
    }

    fn show(&mut self, tapping: &mut Tapping, words: Option<&str>) -> anyhow::Result<()> {
        if let Some(words) = words {
            words.clone_into(&mut self.words);
            if let Some(out) = &mut self.out {
                self.screen.say(*out, words)?;
            }
        }
        let level = tapping.meter.level();
        self.screen
            .draw(|| view(tapping, level, self.hand, &self.words))?;
        Ok(())
    }
}

fn say_result(
    hand: &Source,
    path: KeyPath,
    interval: Option<MedianInterval>,
    out: &mut dyn Write,
) -> std::io::Result<()> {
    let order = if path.delay_ms < 0.0 {
        "before"
    } else {
        "after"
    };
    write!(
        out,
        "{}: {:.1} ms {order} the sound",
        hand.name(),
        path.delay_ms.abs()
    )?;
    if let Some(i) = interval {
        write!(out, " (95 % interval {:.1} to {:.1} ms)", i.low, i.high)?;
    }
    writeln!(
        out,
        ", from {} taps.\nOne press scatters by {:.1} ms (standard deviation); with the delay taken off it is good to ±{:.1} ms, 95 times in 100.",
        path.taps,
        path.jitter_ms,
        2.0 * path.u_ms()
    )
}

fn view(tapping: &Tapping, level: Level, hand: &Source, words: &str) -> SetupView {
    let large = if tapping.is_fitted {
        format!("{} OF {}", tapping.told, tapping.wanted)
    } else {
        "WAIT".to_owned()
    };
    let status = if words.is_empty() {
        "Lay the microphone beside the key, not beside your ear. Listening to the room."
    } else {
        words
    };
    SetupView {
        title: format!("How late the {} are", hand.name()),
        large,
        status: status.to_owned(),
        level: Some(level),
        rows: Vec::new(),
        warnings: Vec::new(),
        keys: Vec::new(),
    }
}

fn list(out: &mut dyn Write) -> anyhow::Result<()> {
    let all = pedal::devices();
    if all.is_empty() {
        bail!(
            "no pedal or keyboard can be read by itself; docs/pedal.md tells how to give the right to"
        );
    }
    for device in all {
        writeln!(out, "{}\n    {}", device.name, device.path.display())?;
    }
    Ok(())
}

/// Reads a pedal on a thread of its own.
struct PedalReader {
    told: Receiver<std::io::Result<HandEvent>>,
    name: String,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl PedalReader {
    fn start(name: &str) -> anyhow::Result<Self> {
        let mut pedal = Pedal::open(name, false)?;
        let (tell, told) = channel();
        let stop = Arc::new(AtomicBool::new(false));
        let its = Arc::clone(&stop);
        let thread = thread::Builder::new().name("marklag-pedal".into());
        let thread = thread.spawn(move || {
            let mut new = Vec::new();
            while !its.load(Relaxed) {
                let read = pedal.read(Duration::from_millis(50), &mut new);
                for press in new.drain(..) {
                    if tell.send(Ok(press)).is_err() {
                        return;
                    }
                }
                if let Err(error) = read {
                    let _ = tell.send(Err(error));
                    return;
                }
            }
        })?;
        Ok(Self {
            told,
            name: name.to_owned(),
            stop,
            thread: Some(thread),
        })
    }

    fn presses(&self) -> anyhow::Result<Vec<HandEvent>> {
        let presses: std::io::Result<Vec<HandEvent>> = self.told.try_iter().collect();
        presses.with_context(|| format!("the pedal \"{}\" is gone; plug it in again", self.name))
    }
}

impl Drop for PedalReader {
    fn drop(&mut self) {
        self.stop.store(true, Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

#[cfg(test)]
#[path = "hands_tests.rs"]
mod tests;
