//! The ear: samples pushed in, sound events out, in order of time.

mod sorting;
mod spoken;
mod views;

use std::collections::VecDeque;

use self::spoken::{BANGS, WORD_REST_S, Words};
use self::views::{STRETCH, Views};
use super::EarError;
use super::bands::{Bands, Rise};
use super::fit::Fitter;
use super::history::History;
use super::impact::Placer;
use super::listener::{Listener, Verdict};
use super::matcher::Blocks;
use super::print::{Print, Printer};
use super::profile::{ClickProfile, OLDEST_VERSION, PROFILE_VERSION};
use super::word::{Centre, Spotter, WordProfile};
use crate::timeline::SoundKind;

pub(super) use self::views::{
    bang_filter, bang_view, click_filter, click_view, low_over_high, usable,
};

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
    /// A taught word that is part of praise or talk and does not count as a mark.
    pub in_praise: bool,
    /// The perceptual centre of a word.
    pub centre: Option<Centre>,
    /// The print of an impact.
    pub print: Option<Print>,
}

#[derive(Debug, Clone, Copy)]
struct Candidate {
    at: u64,
    bridge: usize,
    over_db: f32,
}

/// A stretch in which a click explains what rises.
#[derive(Debug, Clone, Copy)]
struct Explained {
    from: u64,
    to: u64,
    /// Power below 1 kHz that the click itself may have.
    low_power: f32,
}

/// The streaming ear. Memory is fixed once it is made; pushing allocates nothing,
/// but for the close look at what may be a taught word.
pub struct Ear {
    rate_hz: f64,
    views: Views,
    bang_view: History,
    click_view: History,
    low_view: History,
    low_over_high: Vec<f32>,
    /// Samples by which each click begins before the blow that is listened for.
    leads: Vec<u64>,
    bands: Bands,
    blocks: Blocks,
    listeners: Vec<Listener>,
    fitter: Fitter,
    placer: Placer,
    printer: Printer,
    rises: Vec<Rise>,
    candidates: Vec<Candidate>,
    waiting: Vec<Heard>,
    explained: Vec<Explained>,
    level: Vec<f32>,
    count: u64,
    settled: u64,
    words: Option<Words>,
    bangs: VecDeque<u64>,
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
            if !(OLDEST_VERSION..=PROFILE_VERSION).contains(&profile.version) {
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
            views: Views::new(rate),
            bang_view: History::new(remember),
            click_view: History::new(remember),
            low_view: History::new(remember),
            low_over_high: profiles
                .iter()
                .map(|p| 10f64.powf(p.low_over_high_db / 10.0) as f32)
                .collect(),
            leads: profiles
                .iter()
                .map(|p| (p.lead_s * rate).round() as u64)
                .collect(),
            bands: Bands::new(rate),
            blocks,
            listeners,
            fitter,
            placer: Placer::new(rate),
            printer: Printer::new(rate),
            rises: Vec::with_capacity(MOST_WAITING),
            candidates: Vec::with_capacity(MOST_WAITING),
            waiting: Vec::with_capacity(MOST_WAITING),
            explained: Vec::with_capacity(MOST_WAITING),
            level: vec![0.0; (0.010 * rate) as usize],
            count: 0,
            settled: 0,
            words: None,
            bangs: VecDeque::with_capacity(BANGS),
        })
    }

    /// Listens for taught words too; they are numbered after the clicks.
    pub fn with_words(mut self, rate_hz: u32, words: &[WordProfile]) -> Result<Self, EarError> {
        self.words = if words.is_empty() {
            None
        } else {
            Some(Words {
                spotter: Spotter::new(rate_hz, words)?,
                rules: words.iter().map(|w| (w.bar, w.counts_in_praise)).collect(),
                first: self.listeners.len(),
                looks: Vec::new(),
            })
        };
        Ok(self)
    }

    /// Samples pushed so far.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// Listens to more of the stream; events go to `sink` in order of time, some
    /// 25 to 40 ms after their sound; a word comes when it and the pause after it
    /// have been heard, stamped at its onset, so later than what followed it. How the stream is cut makes no difference.
    /// Samples that are not finite count as silence, absurd ones are cut off at
    /// 120 dB above full scale.
    pub fn push(
        &mut self,
        mut samples: &[f32],
        sink: &mut impl FnMut(Heard),
    ) -> Result<(), EarError> {
        while !samples.is_empty() {
            let length = samples.len().min(STRETCH).min(self.blocks.room());
            let (now, later) = samples.split_at(length);
            samples = later;
            self.count += length as u64;
            if let Some(words) = &mut self.words {
                for &x in now {
                    words.push(usable(x) as f32, self.rate_hz, &self.bangs, sink)?;
                }
            }
            let seen = self.views.push(now);
            self.bang_view.extend(seen.bang);
            self.click_view.extend(seen.click);
            self.low_view.extend(seen.low);
            let rises = &mut self.rises;
            self.bands.push(seen.bang, &mut |rise| {
                if rises.len() < MOST_WAITING {
                    rises.push(rise);
                }
            });
            if self.blocks.push(seen.click) {
                self.block()?;
                self.release(self.settled, sink)?;
            }
        }
        Ok(())
    }

    /// The end of the stream: gives what was still waiting. The ear is not to be
    /// pushed again.
    pub fn finish(&mut self, sink: &mut impl FnMut(Heard)) -> Result<(), EarError> {
        let end = self.count;
        // The last sample goes on: a recording with an offset must not end in a bang.
        let last_sample = self.views.last();
        let rest = [last_sample; 256];
        let mut last = |heard: Heard| {
            if heard.at < end {
                sink(heard);
            }
        };
        if let Some(mut words) = self.words.take() {
            for _ in 0..(WORD_REST_S * self.rate_hz) as usize {
                words.push(last_sample, self.rate_hz, &self.bangs, &mut last)?;
            }
        }
        while self.settled < end + (0.05 * self.rate_hz) as u64 {
            self.push(&rest, &mut last)?;
        }
        self.release(u64::MAX, &mut last)
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
                Verdict::Release(at) => self.explain(at, bridge),
                Verdict::Nothing => {}
            }
        }
        self.judge_rises()
    }
}
