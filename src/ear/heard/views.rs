//! The views of the stream that the ear looks at, and what they say of one place.

use crate::ear::filter::{Biquad, Section};
use crate::ear::history::History;

/// High-pass of the view in which clicks are looked for, in hertz.
const CLICK_EDGE_HZ: f64 = 1_500.0;

/// High-pass of the view in which bangs are placed, in hertz.
const BANG_EDGE_HZ: f64 = 80.0;

/// Low-pass of the view in which a bang is seen beside a click, in hertz.
const LOW_EDGE_HZ: f64 = 1_000.0;

/// Most samples that are taken at once.
pub(super) const STRETCH: usize = 256;

/// The filters of the three views.
pub(super) struct Views {
    bang_filter: Biquad,
    click_filter: Biquad,
    low_filter: [Biquad; 2],
    bang: [f32; STRETCH],
    click: [f32; STRETCH],
    low: [f32; STRETCH],
    last: Option<f32>,
}

/// A stretch of sound in the three views.
#[derive(Clone, Copy)]
pub(super) struct Seen<'a> {
    pub(super) bang: &'a [f32],
    pub(super) click: &'a [f32],
    pub(super) low: &'a [f32],
}

impl Views {
    pub(super) fn new(rate_hz: f64) -> Self {
        Self {
            bang_filter: bang_filter(rate_hz),
            click_filter: click_filter(rate_hz),
            low_filter: [low_filter(rate_hz), low_filter(rate_hz)],
            bang: [0.0; STRETCH],
            click: [0.0; STRETCH],
            low: [0.0; STRETCH],
            last: None,
        }
    }

    /// The next samples, at most [`STRETCH`]. The filters go on in one loop, in which
    /// none waits for another.
    pub(super) fn push(&mut self, samples: &[f32]) -> Seen<'_> {
        let length = samples.len().min(STRETCH);
        if let (None, Some(&first)) = (self.last, samples.first()) {
            self.bang_filter.settle(usable(first));
            self.click_filter.settle(usable(first));
        }
        let places = self.bang.iter_mut().zip(&mut self.click).zip(&mut self.low);
        // In locals, so that the states stay in registers.
        let (mut bang_filter, mut click_filter) =
            (self.bang_filter.clone(), self.click_filter.clone());
        let mut low_filter = self.low_filter.clone();
        for (&x, ((bang, click), low)) in samples.iter().zip(places) {
            let x = usable(x);
            *bang = bang_filter.step(x) as f32;
            *click = click_filter.step(x) as f32;
            let once = low_filter[0].step(f64::from(*bang));
            *low = low_filter[1].step(once) as f32;
        }
        (self.bang_filter, self.click_filter) = (bang_filter, click_filter);
        self.low_filter = low_filter;
        self.last = samples.last().map(|x| usable(*x) as f32).or(self.last);
        Seen {
            bang: &self.bang[..length],
            click: &self.click[..length],
            low: &self.low[..length],
        }
    }

    /// The last sample; silence where there was none.
    pub(super) fn last(&self) -> f32 {
        self.last.unwrap_or(0.0)
    }
}

pub(super) fn low_filter(rate_hz: f64) -> Biquad {
    Biquad::new(Section::low_pass(LOW_EDGE_HZ, rate_hz))
}

pub(in crate::ear) fn bang_filter(rate_hz: f64) -> Biquad {
    Biquad::new(Section::high_pass(BANG_EDGE_HZ, rate_hz))
}

pub(in crate::ear) fn click_filter(rate_hz: f64) -> Biquad {
    Biquad::new(Section::high_pass(CLICK_EDGE_HZ, rate_hz))
}

/// A sample that every later sum can bear: what is no number is silence, and
/// nothing is louder than 120 dB above full scale.
pub(in crate::ear) fn usable(x: f32) -> f64 {
    if x.is_finite() {
        f64::from(x).clamp(-1e6, 1e6)
    } else {
        0.0
    }
}

/// The view of a stretch of sound in which clicks are looked for.
pub(in crate::ear) fn click_view(samples: &[f32], rate_hz: f64) -> Vec<f32> {
    view(samples, click_filter(rate_hz))
}

/// The view of a stretch of sound in which bangs are placed.
pub(in crate::ear) fn bang_view(samples: &[f32], rate_hz: f64) -> Vec<f32> {
    view(samples, bang_filter(rate_hz))
}

fn view(samples: &[f32], mut filter: Biquad) -> Vec<f32> {
    if let Some(&first) = samples.first() {
        filter.settle(usable(first));
    }
    samples
        .iter()
        .map(|v| filter.step(usable(*v)) as f32)
        .collect()
}

/// Largest mean power over 2.5 ms in the 10 ms after `at`.
pub(super) fn strongest(view: &History, at: u64, rate_hz: f64, work: &mut [f32]) -> f32 {
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
pub(in crate::ear) fn low_over_high(samples: &[f32], view: &[f32], at: u64, rate_hz: f64) -> f64 {
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
