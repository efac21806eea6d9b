//! The frame of a picture: two axes with ticks, and where a value stands.

use maud::{Markup, html};

use super::style;
use crate::measure::weeks::Day;

/// Size of a picture in its own units; it grows and shrinks with the page.
pub(super) const WIDTH: f64 = 480.0;
pub(super) const HEIGHT: f64 = 270.0;
const LEFT: f64 = 52.0;
const RIGHT: f64 = 12.0;
const TOP: f64 = 26.0;
/// Farther from zero nothing is drawn.
const MOST: f64 = 1e12;
const BOTTOM: f64 = 46.0;

/// A picture with its words: what it is called and, for who cannot see it, what
/// is to be seen.
#[derive(Debug, Clone)]
pub struct Picture {
    /// A short name, for a file and an anchor: a–z and `-`.
    pub name: String,
    /// The title.
    pub title: String,
    /// What is to be seen, in words.
    pub alt: String,
    /// Its height in its own units; it is [`WIDTH`] wide.
    pub(super) height: f64,
    pub(super) drawn: Markup,
}

impl Picture {
    fn svg(&self, alone: bool) -> Markup {
        let (title, alt) = (format!("{}-t", self.name), format!("{}-d", self.name));
        html! {
            svg xmlns="http://www.w3.org/2000/svg" viewBox=(format!("0 0 {WIDTH} {}", self.height))
                width=[alone.then_some(WIDTH)] height=[alone.then_some(self.height)]
                role="img" aria-labelledby=(format!("{title} {alt}")) {
                title id=(title) { (self.title) }
                desc id=(alt) { (self.alt) }
                @if alone { style { (maud::PreEscaped(style::of_picture())) } }
                (self.drawn)
            }
        }
    }

    /// The picture for the page.
    pub(super) fn on_page(&self) -> Markup {
        self.svg(false)
    }

    /// The picture as a file of its own (SVG).
    pub fn alone(&self) -> String {
        self.svg(true).into_string()
    }
}

/// Two scales.
pub(super) struct Frame {
    pub x: (f64, f64),
    pub y: (f64, f64),
}

impl Frame {
    /// Around the values, with a little air; never of no height or width, nor too
    /// large to be counted with.
    pub fn around(x: (f64, f64), y: (f64, f64)) -> Self {
        let air = |(low, high): (f64, f64), part: f64| {
            let (low, high) = (low.clamp(-MOST, MOST), high.clamp(-MOST, MOST));
            let wide = (high - low).max(1.0);
            (low - part * wide, high + part * wide)
        };
        Self {
            x: air(x, 0.02),
            y: air(y, 0.06),
        }
    }

    pub fn at_x(&self, x: f64) -> f64 {
        round(LEFT + part(x, self.x).clamp(0.0, 1.0) * (WIDTH - LEFT - RIGHT))
    }

    pub fn at_y(&self, y: f64) -> f64 {
        round(HEIGHT - BOTTOM - part(y, self.y).clamp(0.0, 1.0) * (HEIGHT - TOP - BOTTOM))
    }

    /// The axes, with ticks: days or plain numbers along the bottom.
    pub fn axes(&self, along: &str, up: &str, x_is_days: bool) -> Markup {
        let (left, right) = (LEFT, WIDTH - RIGHT);
        let (top, bottom) = (TOP, HEIGHT - BOTTOM);
        let x_ticks = if x_is_days {
            days(self.x)
        } else {
            ticks(self.x, 7)
                .into_iter()
                .map(|t| (t, signed(t)))
                .collect()
        };
        html! {
            path class="axis" d=(format!("M{left} {top}V{bottom}H{right}")) {}
            @for tick in ticks(self.y, 6) {
                @let y = self.at_y(tick);
                path class="axis" d=(format!("M{left} {y}h-4")) {}
                text x=(left - 7.0) y=(y + 5.0) text-anchor="end" { (signed(tick)) }
            }
            @for (tick, label) in x_ticks {
                @let x = self.at_x(tick);
                path class="axis" d=(format!("M{x} {bottom}v4")) {}
                text x=(x) y=(bottom + 19.0) text-anchor="middle" { (label) }
            }
            text x=(right) y=(HEIGHT - 6.0) text-anchor="end" { (along) }
            text x=(4) y=(14) { (up) }
        }
    }
}

/// Where a value stands between two others, 0 to 1.
fn part(value: f64, (low, high): (f64, f64)) -> f64 {
    (value.clamp(-MOST, MOST) - low) / (high - low)
}

pub(super) fn round(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

fn signed(value: f64) -> String {
    if value < 0.0 {
        format!("−{}", -value)
    } else {
        format!("{value}")
    }
}

/// Round numbers inside a stretch, about `most` of them.
fn ticks((low, high): (f64, f64), most: usize) -> Vec<f64> {
    let rough = (high - low) / most as f64;
    let power = 10f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .iter()
        .map(|k| k * power)
        .find(|step| *step >= rough)
        .unwrap_or(power * 10.0);
    let first = (low / step).ceil() as i64;
    let last = (high / step).floor() as i64;
    // Dividing by a whole power keeps 0.1 from becoming 0.30000000000000004.
    (first..=last)
        .map(|k| ((k as f64 * step) * 1e6).round() / 1e6)
        .collect()
}

/// Three days along the axis.
fn days((low, high): (f64, f64)) -> Vec<(f64, String)> {
    let wide = high - low;
    [0.12, 0.5, 0.88]
        .iter()
        .map(|part| (low + part * wide).round())
        .map(|day| (day, Day(day as i32).to_string()))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        assert_eq!(ticks((-63.0, 118.0), 6), [-50.0, 0.0, 50.0, 100.0]);
        assert_eq!(ticks((0.0, 1.0), 5), [0.0, 0.2, 0.4, 0.6, 0.8, 1.0]);
    }

    #[test]
    fn values_beyond_the_frame_stay_on_it() {
        let frame = Frame::around((0.0, 10.0), (0.0, 10.0));
        assert!(frame.at_x(1e9) <= WIDTH && frame.at_y(1e9) >= 0.0);
        assert!(frame.at_y(10.0) < frame.at_y(0.0));
    }
}
