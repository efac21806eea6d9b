//! What a review is told: which moment of the ball, an aim, a window, a
//! height, where in a word its mark is.

use clap::ValueEnum;
use clap::builder::{PossibleValuesParser, TypedValueParser};

use crate::ear::word::WordAt;
use crate::timeline::{BallKind, MomentKind, Window};

/// Which moment of the drop is to be marked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(in crate::cli) enum BallMoment {
    /// The ball hits the floor for the first time
    Floor,
    /// The ball leaves the hand
    Release,
    /// The ball stands at the top of its first bounce
    Top,
}

impl BallMoment {
    pub(in crate::cli) fn kind(self) -> MomentKind {
        match self {
            Self::Floor => MomentKind::Floor,
            Self::Release => MomentKind::Release,
            Self::Top => MomentKind::Top,
        }
    }
}

pub(in crate::cli) fn parse_span(text: &str) -> Result<(f64, f64), String> {
    let advice = "give the earliest and the latest lag in milliseconds, for instance -50..50";
    let (from, to) = text.split_once("..").ok_or(advice)?;
    let number = |t: &str| {
        t.trim()
            .parse::<f64>()
            .ok()
            .filter(|v| v.is_finite())
            .ok_or(advice)
    };
    let (from, to) = (number(from)?, number(to)?);
    if from > to {
        Err(format!(
            "the first number must not be larger than the second; {advice}"
        ))
    } else {
        Ok((from, to))
    }
}

pub(in crate::cli) fn parse_window(text: &str) -> Result<Window, String> {
    let advice = "give two numbers of milliseconds, for instance 500,1500";
    let (before, after) = text.split_once(',').ok_or(advice)?;
    let number = |t: &str| t.trim().parse::<f64>().map_err(|_| advice.to_owned());
    Window::new(number(before)?, number(after)?).map_err(|e| e.to_string())
}

/// Where in a word its mark is stamped.
pub(in crate::cli) fn word_at_parser() -> impl TypedValueParser<Value = WordAt> {
    PossibleValuesParser::new(WordAt::ALL.map(WordAt::name)).map(|text| {
        let found = WordAt::ALL.into_iter().find(|at| at.name() == text);
        found.unwrap_or_default()
    })
}

pub(in crate::cli) fn parse_ball(text: &str) -> Result<BallKind, String> {
    text.parse()
}

pub(in crate::cli) fn parse_height(text: &str) -> Result<f64, String> {
    let height_m: f64 = text
        .trim()
        .trim_end_matches('m')
        .trim()
        .parse()
        .map_err(|_| "give metres, for instance 1.2".to_owned())?;
    if (0.05..=10.0).contains(&height_m) {
        Ok(height_m)
    } else {
        Err("a ball is dropped from 0.05 to 10 metres".to_owned())
    }
}
