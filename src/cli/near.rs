//! Words that were likely meant.

/// How many letters must be added, left out, changed, or swapped with their
/// neighbour to make `a` of `b` (the restricted Damerau-Levenshtein distance).
pub(super) fn letters_apart(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let mut rows = vec![(0..=b.len()).collect::<Vec<usize>>()];
    for i in 1..=a.len() {
        let mut row = vec![i];
        for j in 1..=b.len() {
            let changed = usize::from(a[i - 1] != b[j - 1]);
            let mut least = (rows[i - 1][j] + 1)
                .min(row[j - 1] + 1)
                .min(rows[i - 1][j - 1] + changed);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                least = least.min(rows[i - 2][j - 2] + 1);
            }
            row.push(least);
        }
        rows.push(row);
    }
    rows[a.len()][b.len()]
}

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
            let apart = letters_apart(&given, &lower);
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
    fn letters_are_counted() {
        // kitten and sitting: the usual example, three apart.
        assert_eq!(letters_apart("kitten", "sitting"), 3);
        assert_eq!(letters_apart("tain", "train"), 1);
        assert_eq!(letters_apart("tarin", "train"), 1);
        assert_eq!(letters_apart("", "ab"), 2);
        assert_eq!(letters_apart("tilda", "tilda"), 0);
    }

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
