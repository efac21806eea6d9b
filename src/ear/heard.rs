//! The ear: samples pushed in, sound events out, in order of time.

use std::collections::VecDeque;

use super::EarError;
use super::bands::{Bands, Rise};
use super::filter::{Biquad, Section};
use super::fit::Fitter;
use super::history::History;
use super::impact::Placer;
use super::listener::{Listener, Verdict};
use super::matcher::Blocks;
use super::profile::{ClickProfile, PROFILE_VERSION};
use super::word::{Centre, Look, RATE_HZ as WORD_RATE_HZ, Spotter, WordProfile};
use crate::timeline::SoundKind;

/// High-pass of the view in which clicks are looked for, in hertz.
const CLICK_EDGE_HZ: f64 = 1_500.0;
/// High-pass of the view in which bangs are placed, in hertz.
const BANG_EDGE_HZ: f64 = 80.0;
/// Low-pass of the view in which a bang is seen beside a click, in hertz.
const LOW_EDGE_HZ: f64 = 1_000.0;
/// A click with this many times its taught power below 1 kHz has a bang beside it.
const BESIDE: f32 = 4.0;
/// With this many times, the bang is at the click's own instant.
const DROWNED: f32 = 8.0;
/// A bang behind a click is looked for from this long after the click's onset, in
/// seconds,
const BEHIND_S: f64 = 0.0008;
/// until this long after its rise,
const BEHIND_UNTIL_S: f64 = 0.010;
/// and must be this many times stronger than the click's low part (power).
const STRONGER: f64 = 3.0;
/// Two bangs this close are one, heard in the lower and in the upper bands.
const SAME_BANG_S: f64 = 0.012;
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
    /// A taught word that is part of praise or talk and does not count as a mark.
    pub in_praise: bool,
    /// The perceptual centre of a word.
    pub centre: Option<Centre>,
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

/// A bang so long before a word's onset, in seconds, may have drawn the onset to its
/// own end: of made-up words 15 ms before to 50 ms after a ball's blow, those that
/// were found lay 28 ms early to 27 ms late.
const DRAWN_S: (f64, f64) = (0.004, 0.055);
/// What such an onset may be off by, in seconds.
const DRAWN_HALF_S: f64 = 0.030;
/// Bangs that are remembered for that.
const BANGS: usize = 64;
/// Words are known at the latest this long after the stream's end, in seconds.
const WORD_REST_S: f64 = 0.6;

/// The words that are listened for beside the clicks.
struct Words {
    spotter: Spotter,
    /// Score each must reach, and whether it counts within talk.
    rules: Vec<(f32, bool)>,
    /// Index of the first word among all bridges.
    first: usize,
    looks: Vec<Look>,
}

impl Words {
    /// One more sample; `bangs` are the latest, by their first samples.
    fn push(
        &mut self,
        x: f32,
        rate_hz: f64,
        bangs: &VecDeque<u64>,
        sink: &mut impl FnMut(Heard),
    ) -> Result<(), EarError> {
        let looks = &mut self.looks;
        self.spotter.push(x, &mut |look| looks.push(look))?;
        for look in self.looks.drain(..) {
            let Some(&(bar, counts_in_praise)) = self.rules.get(look.word) else {
                continue;
            };
            if look.score < bar {
                continue;
            }
            let scale = rate_hz / WORD_RATE_HZ;
            let at = (look.onset as f64 * scale).round().max(0.0) as u64;
            let is_drawn = bangs.iter().any(|bang| {
                let after_s = (at as f64 - *bang as f64) / rate_hz;
                (DRAWN_S.0..=DRAWN_S.1).contains(&after_s)
            });
            let more = if is_drawn {
                DRAWN_HALF_S / 3f64.sqrt()
            } else {
                0.0
            };
            let centre = Centre {
                u_s: look.centre.u_s.hypot(more),
                ..look.centre
            };
            sink(Heard {
                at,
                kind: SoundKind::Word,
                bridge: Some(self.first + look.word),
                confidence: 1.0 / (1.0 + (-look.score).exp()),
                level_dbfs: 20.0 * look.peak.max(1e-5).log10(),
                u_samples: (look.u * scale as f32).hypot((more * rate_hz) as f32),
                in_praise: look.in_talk && !counts_in_praise,
                centre: Some(centre),
            });
        }
        Ok(())
    }
}

/// The streaming ear. Memory is fixed once it is made; pushing allocates nothing,
/// but for the close look at what may be a taught word.
pub struct Ear {
    rate_hz: f64,
    bang_filter: Biquad,
    click_filter: Biquad,
    bang_view: History,
    click_view: History,
    low_filter: [Biquad; 2],
    low_view: History,
    low_over_high: Vec<f32>,
    bands: Bands,
    blocks: Blocks,
    listeners: Vec<Listener>,
    fitter: Fitter,
    placer: Placer,
    rises: Vec<Rise>,
    candidates: Vec<Candidate>,
    waiting: Vec<Heard>,
    explained: Vec<Explained>,
    level: Vec<f32>,
    last: f32,
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
            bang_filter: bang_filter(rate),
            click_filter: click_filter(rate),
            bang_view: History::new(remember),
            click_view: History::new(remember),
            low_filter: [low_filter(rate), low_filter(rate)],
            low_view: History::new(remember),
            low_over_high: profiles
                .iter()
                .map(|p| 10f64.powf(p.low_over_high_db / 10.0) as f32)
                .collect(),
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
    /// have been heard, stamped at its onset, so later than what followed it. How the
    /// stream is cut makes no difference.
    /// Samples that are not finite count as silence, absurd ones are cut off at
    /// 120 dB above full scale.
    pub fn push(&mut self, samples: &[f32], sink: &mut impl FnMut(Heard)) -> Result<(), EarError> {
        for &x in samples {
            let x = usable(x);
            if self.count == 0 {
                self.bang_filter.settle(x);
                self.click_filter.settle(x);
            }
            self.count += 1;
            self.last = x as f32;
            if let Some(words) = &mut self.words {
                words.push(x as f32, self.rate_hz, &self.bangs, sink)?;
            }
            let bang = self.bang_filter.step(x) as f32;
            let click = self.click_filter.step(x) as f32;
            self.bang_view.push(bang);
            self.click_view.push(click);
            let low = self.low_filter[0].step(f64::from(bang));
            self.low_view.push(self.low_filter[1].step(low) as f32);
            for rise in self.bands.step(f64::from(bang)).into_iter().flatten() {
                if self.rises.len() < MOST_WAITING {
                    self.rises.push(rise);
                }
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
        if let Some(mut words) = self.words.take() {
            for _ in 0..(WORD_REST_S * self.rate_hz) as usize {
                words.push(self.last, self.rate_hz, &self.bangs, &mut last)?;
            }
        }
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
                Verdict::Release(at) => self.explain(at, bridge),
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
            if let Some(at) = self.unexplained(rise)? {
                self.impact(at, rise.over_db as f32);
            }
        }
        self.rises.truncate(kept);
        Ok(())
    }

    /// Where the bang of `rise` began, if neither a click nor its release is it.
    fn unexplained(&mut self, rise: Rise) -> Result<Option<u64>, EarError> {
        let near = self
            .explained
            .iter()
            .find(|e| (e.from..=e.to).contains(&rise.at))
            .copied();
        if let Some(click) = near {
            // Beside a click only the low part of a bang can be seen.
            if !rise.low || self.low_power_at(rise.at) < BESIDE * click.low_power {
                return Ok(None);
            }
            let onset = click.from + (SAME_BEFORE_S * self.rate_hz) as u64;
            let behind = onset + (BEHIND_S * self.rate_hz) as u64;
            if rise.at < onset {
                return Ok(Some(self.placer.place(rise, &[&self.low_view])));
            }
            // The click's own low part may have opened the rise: only what comes
            // behind it and is stronger is a bang.
            let until = rise.at + (BEHIND_UNTIL_S * self.rate_hz) as u64;
            if let Some((at, stronger)) = self.placer.place_within(behind, until, &self.low_view)
                && stronger > STRONGER
            {
                return Ok(Some(at));
            }
            // At the very instant of the click a bang must drown its low part.
            let drowned = self.low_power_at(rise.at) > DROWNED * click.low_power;
            return Ok(drowned.then(|| self.placer.place(rise, &[&self.low_view])));
        }
        let at = self
            .placer
            .place(rise, &[&self.bang_view, &self.click_view]);
        if self.explained.iter().any(|e| (e.from..=e.to).contains(&at)) {
            return Ok(None);
        }
        // A release is recognised where the click's own view has it begin.
        let snap = self
            .placer
            .place(Rise { low: false, ..rise }, &[&self.click_view]);
        for listener in &mut self.listeners {
            if listener.is_release(snap, &self.click_view, &mut self.fitter)? {
                return Ok(None);
            }
        }
        Ok(Some(at))
    }

    fn impact(&mut self, at: u64, over_db: f32) {
        let near = (SAME_BANG_S * self.rate_hz) as u64;
        let confidence = 1.0 / (1.0 + (-(over_db - 12.0) / 3.0).exp());
        let u_samples =
            self.rate_hz as f32 * 0.0003 * 10f32.powf(-(over_db - 12.0).max(0.0) / 20.0);
        let level_dbfs = self.level_at(at);
        if let Some(same) = self
            .waiting
            .iter_mut()
            .find(|h| h.kind == SoundKind::Impact && h.at.abs_diff(at) < near)
        {
            same.at = same.at.min(at);
            same.confidence = same.confidence.max(confidence);
            return;
        }
        self.wait(Heard {
            at,
            kind: SoundKind::Impact,
            bridge: None,
            confidence,
            level_dbfs,
            u_samples: (u_samples * u_samples + 1.0 / 12.0).sqrt(),
            in_praise: false,
            centre: None,
        });
    }

    fn click(&mut self, at: u64, bridge: usize, confidence: f32, u_samples: f32) {
        let near = (SAME_CLICK_S * self.rate_hz) as u64;
        let level_dbfs = self.level_at(at);
        self.explain(at, bridge);
        let heard = Heard {
            at,
            kind: SoundKind::Click,
            bridge: Some(bridge),
            confidence,
            level_dbfs,
            u_samples,
            in_praise: false,
            centre: None,
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
    fn explain(&mut self, at: u64, bridge: usize) {
        let from = at.saturating_sub((SAME_BEFORE_S * self.rate_hz) as u64);
        let to = at + (SAME_AFTER_S * self.rate_hz) as u64;
        let ratio = self.low_over_high.get(bridge).copied().unwrap_or(0.0);
        let low_power = ratio * strongest(&self.click_view, at, self.rate_hz, &mut self.level);
        if self.explained.len() == MOST_WAITING {
            self.explained.remove(0);
        }
        self.explained.push(Explained {
            from,
            to,
            low_power,
        });
    }

    fn low_power_at(&mut self, at: u64) -> f32 {
        strongest(&self.low_view, at, self.rate_hz, &mut self.level)
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
            if heard.kind == SoundKind::Impact {
                if self.bangs.len() == BANGS {
                    self.bangs.pop_front();
                }
                self.bangs.push_back(heard.at);
            }
            sink(heard);
        }
        let forget = ripe.saturating_sub((0.2 * self.rate_hz) as u64);
        self.explained.retain(|span| span.to >= forget);
    }

    fn level_at(&mut self, at: u64) -> f32 {
        self.bang_view.copy(at as i64, &mut self.level);
        let peak = self.level.iter().fold(1e-10f32, |a, v| a.max(v.abs()));
        20.0 * peak.log10()
    }
}

/// Largest mean power over 2.5 ms in the 10 ms after `at`.
fn strongest(view: &History, at: u64, rate_hz: f64, work: &mut [f32]) -> f32 {
    view.copy(at as i64, work);
    let span = ((0.0025 * rate_hz) as usize).clamp(1, work.len());
    let mut sum: f32 = work[..span].iter().map(|v| v * v).sum();
    let mut most = sum;
    for k in span..work.len() {
        sum += work[k] * work[k] - work[k - span] * work[k - span];
        most = most.max(sum);
    }
    most / span as f32
}

/// Power of a press below 1 kHz over its power above 1.5 kHz.
pub(super) fn low_over_high(samples: &[f32], view: &[f32], at: u64, rate_hz: f64) -> f64 {
    let mut filter = [low_filter(rate_hz), low_filter(rate_hz)];
    let mut work = vec![0.0; (0.010 * rate_hz) as usize];
    let from = (at as usize).saturating_sub((0.05 * rate_hz) as usize);
    let until = (at as usize + work.len()).min(samples.len());
    let mut low = History::new(until - from.min(until) + 1);
    let mut high = low.clone();
    let mut bang = bang_filter(rate_hz);
    bang.settle(f64::from(samples.get(from).copied().unwrap_or(0.0)));
    for n in from..until {
        let once = filter[0].step(bang.step(f64::from(samples[n])));
        low.push(filter[1].step(once) as f32);
        high.push(view[n]);
    }
    let place = at - from as u64;
    let high_power = strongest(&high, place, rate_hz, &mut work);
    let low_power = strongest(&low, place, rate_hz, &mut work);
    f64::from(low_power) / f64::from(high_power).max(1e-20)
}

fn low_filter(rate_hz: f64) -> Biquad {
    Biquad::new(Section::low_pass(LOW_EDGE_HZ, rate_hz))
}

pub(super) fn bang_filter(rate_hz: f64) -> Biquad {
    Biquad::new(Section::high_pass(BANG_EDGE_HZ, rate_hz))
}

pub(super) fn click_filter(rate_hz: f64) -> Biquad {
    Biquad::new(Section::high_pass(CLICK_EDGE_HZ, rate_hz))
}

/// A sample that every later sum can bear: what is no number is silence, and
/// nothing is louder than 120 dB above full scale.
pub(super) fn usable(x: f32) -> f64 {
    if x.is_finite() {
        f64::from(x).clamp(-1e6, 1e6)
    } else {
        0.0
    }
}

/// The view of a stretch of sound in which clicks are looked for.
pub(super) fn click_view(samples: &[f32], rate_hz: f64) -> Vec<f32> {
    let mut filter = click_filter(rate_hz);
    if let Some(&first) = samples.first() {
        filter.settle(usable(first));
    }
    samples
        .iter()
        .map(|v| filter.step(usable(*v)) as f32)
        .collect()
}
