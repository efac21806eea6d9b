//! The numbers of a plan as they are typed, with what to say when they are none. A comma
//! may stand for the point.

/// Minutes at most.
///
/// # Errors
/// What to answer, in a sentence; as for the others.
pub fn minutes(text: &str) -> Result<f64, &'static str> {
    number(text).ok_or("How many minutes? A number such as 5.")
}

/// Treats set aside; nothing is not counted.
///
/// # Errors
/// See [`minutes`].
pub fn treats(text: &str) -> Result<Option<u32>, &'static str> {
    let whole = |n: &f64| n.fract() == 0.0 && *n <= f64::from(u32::MAX);
    let treats = number(text).filter(whole).map(|n| n as u32);
    maybe(text, treats).ok_or("How many treats? A whole number, or nothing.")
}

/// Minutes until the next session; nothing is not set.
///
/// # Errors
/// See [`minutes`].
pub fn again_after(text: &str) -> Result<Option<f64>, &'static str> {
    maybe(text, number(text)).ok_or("After how many minutes? A number, or nothing.")
}

/// A step's number, from 1.
///
/// # Errors
/// See [`minutes`].
pub fn step(text: &str) -> Result<u32, &'static str> {
    let step = text.trim().parse().ok().filter(|n| *n > 0);
    step.ok_or("Which step? Its number, from 1.")
}

/// Nothing where nothing is typed; `None` where what is typed is no value.
fn maybe<T>(text: &str, value: Option<T>) -> Option<Option<T>> {
    match value {
        None if text.trim().is_empty() => Some(None),
        None => None,
        value => Some(value),
    }
}

fn number(text: &str) -> Option<f64> {
    let number = text.trim().replace(',', ".").parse::<f64>();
    number.ok().filter(|n| n.is_finite() && *n >= 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_is_no_number_and_nothing_is_none() {
        assert!(treats("thirty").is_err() && treats("2.5").is_err() && treats("-1").is_err());
        assert_eq!((treats(" 30 "), treats("")), (Ok(Some(30)), Ok(None)));
        assert_eq!((minutes("2,5"), minutes("")), (Ok(2.5), minutes("inf")));
        assert_eq!(
            (again_after("90"), again_after(" ")),
            (Ok(Some(90.0)), Ok(None))
        );
        assert!(again_after("soon").is_err() && step("0").is_err() && step("one").is_err());
        assert_eq!(step("2"), Ok(2));
    }
}
