//! Words that were likely meant.

use strsim::osa_distance;

/// The known words that `given` may be a slip of, the likeliest first: those at most
/// two letters apart, and fewer than half of the word; of equals one with the same
/// first letter.
pub(super) fn likely<'a>(given: &str, known: impl IntoIterator<Item = &'a str>) -> Vec<&'a str> {
    let given = given.to_lowercase();
    let first = given.chars().next();
    let mut fits: Vec<(usize, bool, &str)> = known
        .into_iter()
        .map(|word| {
            let lower = word.to_lowercase();
            let apart = osa_distance(&given, &lower);
            (apart, lower.chars().next() != first, word)
        })
        .filter(|(apart, _, word)| *apart <= 2 && 2 * apart < word.chars().count())
        .collect();
    fits.sort();
    let least = fits.first().map_or(0, |fit| fit.0);
    fits.into_iter()
        .filter(|fit| fit.0 == least)
        .map(|fit| fit.2)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_word_is_meant() {
        let commands = ["review", "drop", "train", "plan", "man", "teach", "page"];
        assert_eq!(likely("tain", commands), ["train"]);
        assert_eq!(likely("revue", commands), ["review"]);
        assert_eq!(likely("Drp", commands), ["drop"]);
        assert!(likely("zzz", commands).is_empty());
        assert!(likely("x", commands).is_empty());
    }
}
