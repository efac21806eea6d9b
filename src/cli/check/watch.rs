//! Watches a microphone or a recording and comes to the facts.

use crate::check::{
    Blocks, BridgeHeard, Clock, Device, Facts, Hand, Loudness, Presser, Troubles, WordHeard,
};
use crate::cli::bridges::Bridges;
use crate::ear::{Ear, EarError, Level, LevelMeter};
use crate::hand::Source;
use crate::journal::hands::KnownHands;
use crate::measure::median::median;
use crate::sound::MicEvent;
use crate::sound::microphone::Microphone;
use crate::timeline::SoundKind;

/// Most different words of trouble that are kept.
const MOST_TOLD: usize = 20;

#[derive(Debug, Clone, Default)]
struct Marks {
    name: String,
    scores: Vec<f64>,
    levels_dbfs: Vec<f64>,
    u_ms: Vec<f64>,
    in_praise: usize,
}

/// What is gathered while it goes on.
pub(super) struct Watch {
    known_within_m: f64,
    presser: Option<Presser>,
    rate_hz: u32,
    ear: Ear,
    meter: LevelMeter,
    /// The clicks, then the words.
    marks: Vec<Marks>,
    /// The rates of the words' lessons.
    lessons_hz: Vec<u32>,
    bang_u_ms: Vec<f64>,
    troubles: Troubles,
    is_nothing: bool,
}

impl Watch {
    pub(super) fn new(
        rate_hz: u32,
        taught: &Bridges,
        known_within_m: f64,
        presser: Option<Presser>,
    ) -> Result<Self, EarError> {
        let clicks = taught.clicks.iter().map(|p| &p.name);
        let words = taught.words.iter().map(|p| &p.name);
        let mark = |name: &String| Marks {
            name: name.clone(),
            ..Marks::default()
        };
        Ok(Self {
            rate_hz,
            known_within_m,
            presser,
            ear: Ear::new(rate_hz, &taught.clicks)?.with_words(rate_hz, &taught.words)?,
            meter: LevelMeter::new(rate_hz),
            marks: clicks.chain(words).map(mark).collect(),
            lessons_hz: taught.words.iter().map(|p| p.rate_hz).collect(),
            bang_u_ms: Vec::new(),
            troubles: Troubles::default(),
            is_nothing: true,
        })
    }

    /// Seconds of sound so far.
    pub(super) fn seconds(&self) -> f64 {
        self.ear.count() as f64 / f64::from(self.rate_hz)
    }

    pub(super) fn level(&mut self) -> Level {
        self.meter.level()
    }

    /// Takes what came; gives what is to be said about it now.
    pub(super) fn take(
        &mut self,
        samples: &[f32],
        events: &[MicEvent],
    ) -> Result<Vec<String>, EarError> {
        self.meter.push(samples);
        self.is_nothing &= samples.iter().all(|x| *x == 0.0);
        let mut said = Vec::new();
        let Self {
            ear,
            marks,
            bang_u_ms,
            rate_hz,
            ..
        } = self;
        let ms = 1e3 / f64::from(*rate_hz);
        ear.push(samples, &mut |heard| {
            let u_ms = f64::from(heard.u_samples) * ms;
            match heard.bridge.and_then(|k| marks.get_mut(k)) {
                Some(mark) if heard.in_praise => {
                    mark.in_praise += 1;
                    said.push(format!("{}: within praise or talk, no mark", mark.name));
                }
                Some(mark) => {
                    mark.scores.push(f64::from(heard.confidence));
                    mark.levels_dbfs.push(f64::from(heard.level_dbfs));
                    mark.u_ms.push(u_ms);
                    said.push(format!(
                        "{}: heard, score {:.2}, {:.0} dB",
                        mark.name, heard.confidence, heard.level_dbfs
                    ));
                }
                None if heard.kind == SoundKind::Impact => bang_u_ms.push(u_ms),
                None => {}
            }
        })?;
        for event in events {
            if self.count(event) {
                let words = event.to_string();
                if self.troubles.told.len() < MOST_TOLD && !self.troubles.told.contains(&words) {
                    self.troubles.told.push(words.clone());
                }
                said.push(words);
            }
        }
        Ok(said)
    }

    /// Counts an event; whether it is to be told.
    fn count(&mut self, event: &MicEvent) -> bool {
        let t = &mut self.troubles;
        match event {
            MicEvent::Samples { .. } => return false,
            MicEvent::Gap { missing_ms, .. } => {
                t.gaps += 1;
                t.missing_ms += missing_ms;
            }
            MicEvent::Extra { .. } => t.extras += 1,
            MicEvent::Overrun {
                missing_samples, ..
            } => {
                t.overruns += 1;
                t.missing_ms += *missing_samples as f64 * 1e3 / f64::from(self.rate_hz);
            }
            MicEvent::Silence { .. } => t.silences += 1,
            MicEvent::Stall { .. } => t.stalls += 1,
            MicEvent::Lost { .. } => t.losses += 1,
            MicEvent::Clipping { .. }
            | MicEvent::Resumed { .. }
            | MicEvent::Back { .. }
            | MicEvent::CutShort { .. } => {}
        }
        true
    }

    /// What was seen; the microphone's own numbers where there is one.
    pub(super) fn facts(&mut self, microphone: Option<&Microphone>, hands: &KnownHands) -> Facts {
        let counters = microphone.and_then(Microphone::counters);
        self.troubles.driver_overruns = counters.map_or(0, |c| c.xruns);
        let level = self.meter.level();
        let clicks = self.marks.len() - self.lessons_hz.len();
        Facts {
            watched_s: self.seconds(),
            sample_rate_hz: self.rate_hz,
            device: microphone.map(|m| {
                let opened = m.opened();
                Device {
                    name: opened.device.description.clone(),
                    host: opened.host.clone(),
                    channels: opened.channels,
                    sample_format: opened.sample_format.clone(),
                }
            }),
            level: Loudness {
                noise_dbfs: level.noise_dbfs,
                loudest_over_noise_db: self.meter.most_over_noise_db(),
                full_scale_samples: counters
                    .map_or(0, |c| c.clipped)
                    .max(self.meter.full_scale_samples()),
                is_nothing: self.is_nothing && self.ear.count() > 0,
            },
            clickers: self.marks.iter().take(clicks).map(heard).collect(),
            words: self.words(clicks),
            bangs: self.bang_u_ms.len(),
            bang_u_ms: median(&self.bang_u_ms),
            clock: microphone.map(|m| clock(m, self.rate_hz)),
            blocks: counters.map(|c| Blocks {
                count: c.callbacks,
                typical_ms: c.frames as f64 / c.callbacks.max(1) as f64 / f64::from(self.rate_hz)
                    * 1e3,
                longest_ms: c.longest_wait_ns as f64 * 1e-6,
            }),
            known_within_m: self.known_within_m,
            presser: self.presser.clone(),
            troubles: self.troubles.clone(),
            hands: if microphone.is_some() {
                known(hands)
            } else {
                Vec::new()
            },
        }
    }

    fn words(&self, clicks: usize) -> Vec<WordHeard> {
        let words = self.marks.iter().skip(clicks).zip(&self.lessons_hz);
        words
            .map(|(word, rate_hz)| WordHeard {
                heard: heard(word),
                in_praise: word.in_praise,
                lesson_rate_hz: *rate_hz,
            })
            .collect()
    }
}

fn heard(mark: &Marks) -> BridgeHeard {
    BridgeHeard {
        name: mark.name.clone(),
        heard: mark.scores.len(),
        scores: mark.scores.clone(),
        level_dbfs: median(&mark.levels_dbfs),
        u_ms: median(&mark.u_ms),
    }
}

fn clock(microphone: &Microphone, rate_hz: u32) -> Clock {
    let fit = microphone.clock();
    let drift_ppm = fit.drift_ppm();
    Clock {
        is_settled: fit.is_settled(),
        drift_ppm,
        drift_u_ppm: fit.drift_u_ppm(),
        rate_hz: drift_ppm.map(|ppm| f64::from(rate_hz) * (1.0 + ppm * 1e-6)),
        residual_ms: fit.residual_ms(),
        u_ms: fit.u_ms(),
    }
}

/// The hands that were measured, and the terminal's keys in any case.
fn known(hands: &KnownHands) -> Vec<Hand> {
    let terminal = Source::Terminal.name();
    let mut all: Vec<Hand> = hands
        .iter()
        .map(|(name, path)| Hand {
            name: name.clone(),
            delay_ms: Some(path.delay_ms),
            u_ms: Some(path.u_ms()),
        })
        .collect();
    if !hands.contains_key(terminal) {
        all.push(Hand {
            name: terminal.to_owned(),
            delay_ms: None,
            u_ms: None,
        });
    }
    all
}
