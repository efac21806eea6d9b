//! A time as people write it.

use super::excerpt;

/// Why a text is no time.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TimeError {
    /// Nothing there.
    #[error("the time is missing; write seconds (12.5) or h:mm:ss.sss")]
    Missing,
    /// Below zero.
    #[error(
        "\"{0}\" is before the start of the recording; a time counts from its first sample and cannot be negative"
    )]
    Negative(String),
    /// Not a time.
    #[error("\"{0}\" is no time; write seconds (12.5), mm:ss.sss or h:mm:ss.sss")]
    NotATime(String),
    /// Minutes or seconds above 59.
    #[error("\"{0}\": minutes and seconds after a colon go from 00 to 59")]
    Above59(String),
    /// A decimal comma where commas part the columns.
    #[error("\"{0}\" has a decimal comma; write a point, or part the columns with semicolons")]
    DecimalComma(String),
}

/// The longest time read, in seconds: a thousand hours.
const LONGEST_S: f64 = 3_600_000.0;

/// Seconds from `12.5`, `mm:ss.sss` or `h:mm:ss.sss` (from 0 to a thousand
/// hours; infinities and NaN are no times). A decimal comma is read where
/// `decimal_comma` says so.
pub fn parse_time_s(text: &str, decimal_comma: bool) -> Result<f64, TimeError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(TimeError::Missing);
    }
    let quoted = || excerpt(text);
    let (negative, digits) = match text.strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (true, rest),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    };
    let pointed;
    let digits = if digits.contains(',') {
        if !decimal_comma {
            return Err(TimeError::DecimalComma(quoted()));
        }
        pointed = digits.replacen(',', ".", 1);
        &pointed
    } else {
        digits
    };

    let parts: Vec<&str> = digits.split(':').collect();
    let (whole, seconds) = match parts.as_slice() {
        [seconds] => (vec![], *seconds),
        [minutes, seconds] => (vec![*minutes], *seconds),
        [hours, minutes, seconds] => (vec![*hours, *minutes], *seconds),
        _ => return Err(TimeError::NotATime(quoted())),
    };
    let seconds = number(seconds).ok_or_else(|| TimeError::NotATime(quoted()))?;
    let mut minutes = 0.0;
    for (n, part) in whole.iter().enumerate() {
        if part.is_empty() || !part.bytes().all(|b| b.is_ascii_digit()) {
            return Err(TimeError::NotATime(quoted()));
        }
        let value: f64 = part.parse().map_err(|_| TimeError::NotATime(quoted()))?;
        if n == 1 && value > 59.0 {
            return Err(TimeError::Above59(quoted()));
        }
        minutes = minutes * 60.0 + value;
    }
    if !whole.is_empty() && seconds >= 60.0 {
        return Err(TimeError::Above59(quoted()));
    }
    let t_s = minutes * 60.0 + seconds;
    if !t_s.is_finite() || t_s > LONGEST_S {
        return Err(TimeError::NotATime(quoted()));
    }
    if negative && t_s > 0.0 {
        return Err(TimeError::Negative(quoted()));
    }
    Ok(t_s)
}

/// Digits with at most one point, or with an exponent as programs write them;
/// no words such as "inf".
fn number(text: &str) -> Option<f64> {
    let starts_well = text.starts_with(|c: char| c.is_ascii_digit() || c == '.');
    let of_digits = text
        .bytes()
        .all(|b| b.is_ascii_digit() || matches!(b, b'.' | b'e' | b'E' | b'-' | b'+'));
    (starts_well && of_digits)
        .then(|| text.parse().ok())
        .flatten()
}
