//! The ear: samples pushed in, sound events out, in order of time.

use super::EarError;
use super::bands::{Bands, Rise};
use super::filter::{Biquad, Section};
use super::fit::Fitter;
use super::history::History;
use super::impact::Placer;
use super::listener::{Listener, Verdict};
use super::matcher::Blocks;
use super::profile::{ClickProfile, PROFILE_VERSION};
use crate::timeline::SoundKind;

/// High-pass of the view in which clicks are looked for, in hertz.
const CLICK_EDGE_HZ: f64 = 1_500.0;
/// High-pass of the view in which bangs are placed, in hertz.
const BANG_EDGE_HZ: f64 = 80.0;
/// Events are held this long, in seconds, so that they leave in order although
/// an onset may turn out to lie a little before its first guess.
const HOLD_S: f64 = 0.008;
/// A bang this close before or after a click's onset is the click, in seconds.
const SAME_BEFORE_S: f64 = 0.004;
const SAME_AFTER_S: f64 = 0.025;
/// Two taught sounds this close are one sound; the better fit keeps it.
const SAME_CLICK_S: f64 = 0.005;
/// Most events that may wait at once; far more than sound can hold in the time.
const MOST_WAITING: usize = 256;

/// One sound event.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heard {
    /// First sample of the sound, counted from the first sample pushed.
    pub at: u64,
    /// What it is.
    pub kind: SoundKind,
    /// Index of the taught sound among those given; `None` for an impact.
    pub bridge: Option<usize>,
    /// How sure the ear is, 0 to 1.
    pub confidence: f32,
    /// Largest sample within 10 ms after the onset, dB re full scale.
    pub level_dbfs: f32,
    /// Standard uncertainty of the instant, in samples.
    pub u_samples: f32,
}

#[derive(Debug, Clone, Copy)]
struct Candidate {
    at: u64,
    bridge: usize,
    over_db: f32,
}

/// The streaming ear. Memory is fixed once it is made; pushing allocates nothing.
pub struct Ear {
    rate_hz: f64,
    bang_filter: Biquad,
    click_filter: Biquad,
    bang_view: History,
    click_view: History,
    bands: Bands,
    blocks: Blocks,
    listeners: Vec<Listener>,
    fitter: Fitter,
    placer: Placer,
    rises: Vec<Rise>,
    candidates: Vec<Candidate>,
    waiting: Vec<Heard>,
    explained: Vec<(u64, u64)>,
    level: Vec<f32>,
    last: f32,
    count: u64,
    settled: u64,
}

impl Ear {
    /// An ear for a sample rate (8 to 192 kHz) and the taught clicks to listen for.
    pub fn new(rate_hz: u32, profiles: &[ClickProfile]) -> Result<Self, EarError> {
        if !(8_000..=192_000).contains(&rate_hz) {
            return Err(EarError::Rate(rate_hz));
        }
        let rate = f64::from(rate_hz);
        let blocks = Blocks::new(Listener::template_samples(rate));
        let mut fitter = Fitter::new(rate);
        let mut listeners = Vec::with_capacity(profiles.len());
        for profile in profiles {
            if profile.version != PROFILE_VERSION {
                return Err(EarError::ProfileVersion {
                    name: profile.name.clone(),
                    found: profile.version,
                });
            }
            profile.check()?;
            listeners.push(Listener::new(profile, rate, &blocks, &mut fitter)?);
        }
        let remember = (0.25 * rate) as usize;
        Ok(Self {
            rate_hz: rate,
            bang_filter: Biquad::new(Section::high_pass(BANG_EDGE_HZ, rate)),
            click_filter: click_filter(rate),
            bang_view: History::new(remember),
            click_view: History::new(remember),
            bands: Bands::new(rate),
            blocks,
            listeners,
            fitter,
            placer: Placer::new(rate),
            rises: Vec::with_capacity(MOST_WAITING),
            candidates: Vec::with_capacity(MOST_WAITING),
            waiting: Vec::with_capacity(MOST_WAITING),
            explained: Vec::with_capacity(MOST_WAITING),
            level: vec![0.0; (0.010 * rate) as usize],
            last: 0.0,
            count: 0,
            settled: 0,
        })
    }

    /// Samples pushed so far.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// Listens to more of the stream; events go to `sink` in order of time, some
    /// 25 to 40 ms after their sound. How the stream is cut makes no difference.
    /// Samples that are not finite count as silence.
    pub fn push(&mut self, samples: &[f32], sink: &mut impl FnMut(Heard)) -> Result<(), EarError> {
        for &x in samples {
            let x = if x.is_finite() { f64::from(x) } else { 0.0 };
            if self.count == 0 {
                self.bang_filter.settle(x);
                self.click_filter.settle(x);
            }
            self.count += 1;
            self.last = x as f32;
            let bang = self.bang_filter.step(x) as f32;
            let click = self.click_filter.step(x) as f32;
            self.bang_view.push(bang);
            self.click_view.push(click);
            if let Some(rise) = self.bands.step(f64::from(bang))
                && self.rises.len() < MOST_WAITING
            {
                self.rises.push(rise);
            }
            if self.blocks.push(click) {
                self.block()?;
                self.release(self.settled, sink);
            }
        }
        Ok(())
    }

    /// The end of the stream: gives what was still waiting. The ear is not to be
    /// pushed again.
    pub fn finish(&mut self, sink: &mut impl FnMut(Heard)) -> Result<(), EarError> {
        let end = self.count;
        // The last sample goes on: a recording with an offset must not end in a bang.
        let rest = [self.last; 256];
        let mut last = |heard: Heard| {
            if heard.at < end {
                sink(heard);
            }
        };
        while self.settled < end + (0.05 * self.rate_hz) as u64 {
            self.push(&rest, &mut last)?;
        }
        self.release(u64::MAX, &mut last);
        Ok(())
    }

    /// One block is full: judge all that is now settled.
    fn block(&mut self) -> Result<(), EarError> {
        if !self.listeners.is_empty() {
            self.blocks.transform()?;
        }
        self.candidates.clear();
        for (bridge, listener) in self.listeners.iter_mut().enumerate() {
            let candidates = &mut self.candidates;
            listener.listen(&self.blocks, |at, over_db| {
                if candidates.len() < MOST_WAITING {
                    candidates.push(Candidate {
                        at,
                        bridge,
                        over_db,
                    });
                }
            })?;
        }
        self.candidates.sort_unstable_by_key(|c| (c.at, c.bridge));
        // Rises older than this have had their chance of being a click.
        let block_end = (self.blocks.start + self.blocks.hop() as i64).max(0) as u64;
        self.settled = block_end.saturating_sub((0.012 * self.rate_hz) as u64);
        for k in 0..self.candidates.len() {
            let Candidate {
                at,
                bridge,
                over_db,
            } = self.candidates[k];
            match self.listeners[bridge].judge(at, over_db, &self.click_view, &mut self.fitter)? {
                Verdict::Press(press) => {
                    let confidence = 1.0 / (1.0 + (-press.score).exp());
                    self.click(press.at, bridge, confidence, press.u_samples);
                }
                Verdict::Release(at) => self.explain(at),
                Verdict::Nothing => {}
            }
        }
        self.judge_rises()
    }

    fn judge_rises(&mut self) -> Result<(), EarError> {
        let mut kept = 0;
        for k in 0..self.rises.len() {
            let rise = self.rises[k];
            if rise.at + self.placer.reach() > self.settled {
                self.rises[kept] = rise;
                kept += 1;
                continue;
            }
            let at = self
                .placer
                .place(rise, &[&self.bang_view, &self.click_view]);
            let mut explained = self
                .explained
                .iter()
                .any(|(from, to)| (*from..=*to).contains(&at));
            for listener in &mut self.listeners {
                explained =
                    explained || listener.is_release(at, &self.click_view, &mut self.fitter)?;
            }
            if !explained {
                let confidence = 1.0 / (1.0 + (-(rise.over_db - 12.0) as f32 / 3.0).exp());
                let level_dbfs = self.level_at(at);
                let u_samples = self.rate_hz as f32
                    * 0.0003
                    * 10f32.powf(-(rise.over_db as f32 - 12.0).max(0.0) / 20.0);
                self.wait(Heard {
                    at,
                    kind: SoundKind::Impact,
                    bridge: None,
                    confidence,
                    level_dbfs,
                    u_samples: (u_samples * u_samples + 1.0 / 12.0).sqrt(),
                });
            }
        }
        self.rises.truncate(kept);
        Ok(())
    }

    fn click(&mut self, at: u64, bridge: usize, confidence: f32, u_samples: f32) {
        let near = (SAME_CLICK_S * self.rate_hz) as u64;
        let level_dbfs = self.level_at(at);
        self.explain(at);
        let heard = Heard {
            at,
            kind: SoundKind::Click,
            bridge: Some(bridge),
            confidence,
            level_dbfs,
            u_samples,
        };
        if let Some(same) = self
            .waiting
            .iter_mut()
            .find(|h| h.kind == SoundKind::Click && h.at.abs_diff(at) < near)
        {
            if confidence > same.confidence {
                *same = heard;
            }
            return;
        }
        self.wait(heard);
    }

    /// Bangs around `at` are explained by a click or its release.
    fn explain(&mut self, at: u64) {
        let before = (SAME_BEFORE_S * self.rate_hz) as u64;
        let after = (SAME_AFTER_S * self.rate_hz) as u64;
        let span = (at.saturating_sub(before), at + after);
        self.waiting
            .retain(|h| h.kind != SoundKind::Impact || !(span.0..=span.1).contains(&h.at));
        if self.explained.len() == MOST_WAITING {
            self.explained.remove(0);
        }
        self.explained.push(span);
    }

    fn wait(&mut self, heard: Heard) {
        if self.waiting.len() < MOST_WAITING {
            self.waiting.push(heard);
        }
    }

    fn release(&mut self, settled: u64, sink: &mut impl FnMut(Heard)) {
        let ripe = settled.saturating_sub((HOLD_S * self.rate_hz) as u64);
        self.waiting
            .sort_unstable_by_key(|h| (h.at, h.kind, h.bridge));
        let ready = self.waiting.partition_point(|h| h.at < ripe);
        for heard in self.waiting.drain(..ready) {
            sink(heard);
        }
        let forget = ripe.saturating_sub((0.2 * self.rate_hz) as u64);
        self.explained.retain(|span| span.1 >= forget);
    }

    fn level_at(&mut self, at: u64) -> f32 {
        self.bang_view.copy(at as i64, &mut self.level);
        let peak = self.level.iter().fold(1e-10f32, |a, v| a.max(v.abs()));
        20.0 * peak.log10()
    }
}

fn click_filter(rate_hz: f64) -> Biquad {
    Biquad::new(Section::high_pass(CLICK_EDGE_HZ, rate_hz))
}

/// The view of a stretch of sound in which clicks are looked for.
pub(super) fn click_view(samples: &[f32], rate_hz: f64) -> Vec<f32> {
    let mut filter = click_filter(rate_hz);
    if let Some(&first) = samples.first() {
        filter.settle(f64::from(first));
    }
    samples
        .iter()
        .map(|v| filter.step(f64::from(*v)) as f32)
        .collect()
}
