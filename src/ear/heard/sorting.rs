//! What each rise is: a click's own sound, its release, or a bang; and the order in
//! which events leave.

use super::spoken::BANGS;
use super::views::strongest;
use super::{Ear, Explained, Heard, MOST_WAITING};
use crate::ear::EarError;
use crate::ear::bands::Rise;
use crate::ear::impact::Placed;
use crate::ear::listener::Verdict;
use crate::timeline::SoundKind;

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

/// A click of at least this confidence is not in doubt.
const SURE: f32 = 0.99;

/// Two taught sounds this close are one sound; the better fit keeps it.
const SAME_CLICK_S: f64 = 0.005;

impl Ear {
    pub(super) fn judge_rises(&mut self) -> Result<(), EarError> {
        let mut kept = 0;
        for k in 0..self.rises.len() {
            let rise = self.rises[k];
            if rise.at + self.placer.reach() > self.settled {
                self.rises[kept] = rise;
                kept += 1;
                continue;
            }
            if let Some(placed) = self.unexplained(rise)? {
                self.impact(placed, rise.over_db as f32);
            }
        }
        self.rises.truncate(kept);
        Ok(())
    }

    /// Where the bang of `rise` began, if neither a click nor its release is it.
    fn unexplained(&mut self, rise: Rise) -> Result<Option<Placed>, EarError> {
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
                return Ok(Some(self.placer.place(rise, [&self.low_view]).0));
            }
            // The click's own low part may have opened the rise: only what comes
            // behind it and is stronger is a bang.
            let until = rise.at + (BEHIND_UNTIL_S * self.rate_hz) as u64;
            if let Some((placed, stronger)) =
                self.placer.place_within(behind, until, &self.low_view)
                && stronger > STRONGER
            {
                return Ok(Some(placed));
            }
            // At the very instant of the click a bang must drown its low part.
            let drowned = self.low_power_at(rise.at) > DROWNED * click.low_power;
            return Ok(drowned.then(|| self.placer.place(rise, [&self.low_view]).0));
        }
        let (placed, [_, snap]) = self.placer.place(rise, [&self.bang_view, &self.click_view]);
        let is_click = |e: &Explained| (e.from..=e.to).contains(&placed.at);
        if self.explained.iter().any(is_click) {
            return Ok(None);
        }
        // A release is recognised where the click's own view has it begin.
        for listener in &mut self.listeners {
            if listener.is_release(snap, &self.click_view, &mut self.fitter)? {
                return Ok(None);
            }
        }
        Ok(Some(placed))
    }

    fn impact(&mut self, placed: Placed, over_db: f32) {
        let Placed { at, u_samples } = placed;
        let near = (SAME_BANG_S * self.rate_hz) as u64;
        let confidence = 1.0 / (1.0 + (-(over_db - 12.0) / 3.0).exp());
        let level_dbfs = self.level_at(at);
        if let Some(same) = self
            .waiting
            .iter_mut()
            .find(|h| h.kind == SoundKind::Impact && h.at.abs_diff(at) < near)
        {
            if at < same.at {
                (same.at, same.u_samples) = (at, u_samples);
            }
            same.confidence = same.confidence.max(confidence);
            return;
        }
        self.wait(Heard {
            at,
            kind: SoundKind::Impact,
            bridge: None,
            confidence,
            level_dbfs,
            u_samples,
            in_praise: false,
            centre: None,
            print: None,
        });
    }

    pub(super) fn click(&mut self, at: u64, bridge: usize, confidence: f32, u_samples: f32) {
        let near = (SAME_CLICK_S * self.rate_hz) as u64;
        let level_dbfs = self.level_at(at);
        self.explain(at, bridge);
        let lead = self.leads.get(bridge).copied().unwrap_or(0);
        let begins = at.saturating_sub(lead);
        self.waiting
            .retain(|h| h.kind != SoundKind::Impact || !(begins..at).contains(&h.at));
        let at = begins;
        let heard = Heard {
            at,
            kind: SoundKind::Click,
            bridge: Some(bridge),
            confidence,
            level_dbfs,
            u_samples,
            in_praise: false,
            centre: None,
            print: None,
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
    pub(super) fn explain(&mut self, at: u64, bridge: usize) {
        let lead = self.leads.get(bridge).copied().unwrap_or(0);
        let from = at.saturating_sub((SAME_BEFORE_S * self.rate_hz) as u64 + lead);
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

    /// Hands over what is settled, in order of time; an impact leaves when all that its
    /// print needs has been heard.
    pub(super) fn release(
        &mut self,
        settled: u64,
        sink: &mut impl FnMut(Heard),
    ) -> Result<(), EarError> {
        let ripe = settled.saturating_sub((HOLD_S * self.rate_hz) as u64);
        self.waiting
            .sort_unstable_by_key(|h| (h.at, h.kind, h.bridge));
        let heard_all = self.count.saturating_sub(self.printer.reach());
        let ready = self
            .waiting
            .iter()
            .take_while(|h| {
                h.at < ripe && (!needs_print(h) || h.at <= heard_all || settled == u64::MAX)
            })
            .count();
        for _ in 0..ready {
            let mut heard = self.waiting.remove(0);
            if needs_print(&heard) && !self.judge_by_print(&mut heard)? {
                continue;
            }
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
        Ok(())
    }

    /// Gives an impact its print, and takes it for a click where that is one's; a doubtful
    /// click whose print is another's is an impact. False where it is nothing: a release.
    fn judge_by_print(&mut self, heard: &mut Heard) -> Result<bool, EarError> {
        let lead = |bridge: usize| self.leads.get(bridge).copied().unwrap_or(0);
        if let Some(bridge) = heard.bridge {
            let at = heard.at + lead(bridge);
            let print = self.printer.print(&self.bang_view, at)?;
            if !self.listeners[bridge].bears_out(&print, heard.confidence) {
                heard.kind = SoundKind::Impact;
                heard.bridge = None;
                heard.print = Some(print);
            }
            return Ok(true);
        }
        let print = self.printer.print(&self.bang_view, heard.at)?;
        heard.print = Some(print);
        for bridge in 0..self.listeners.len() {
            let listener = &mut self.listeners[bridge];
            let verdict =
                listener.judge_print(heard.at, &print, &self.click_view, &mut self.fitter)?;
            match verdict {
                Verdict::Press(press) => {
                    heard.at = press.at.saturating_sub(self.leads[bridge]);
                    heard.kind = SoundKind::Click;
                    heard.bridge = Some(bridge);
                    heard.confidence = 1.0 / (1.0 + (-press.score).exp());
                    heard.u_samples = press.u_samples;
                    heard.print = None;
                    self.explain(press.at, bridge);
                    return Ok(true);
                }
                Verdict::Release(at) => {
                    self.explain(at, bridge);
                    return Ok(false);
                }
                Verdict::Nothing => {}
            }
        }
        Ok(true)
    }

    fn level_at(&mut self, at: u64) -> f32 {
        self.bang_view.copy(at as i64, &mut self.level);
        let peak = self.level.iter().fold(1e-10f32, |a, v| a.max(v.abs()));
        20.0 * peak.log10()
    }
}

/// Whether a sound is judged by its print: an impact, and a click that is in doubt.
fn needs_print(heard: &Heard) -> bool {
    match heard.kind {
        SoundKind::Impact => true,
        SoundKind::Click => heard.confidence < SURE,
        SoundKind::Word => false,
    }
}
