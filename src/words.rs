//! Words that every screen, page and message has in common. Pure.

/// A number with its noun: "1 mark", "0 marks", "3 marks".
pub fn count(n: usize, one: &str, many: &str) -> String {
    match n {
        1 => format!("1 {one}"),
        n => format!("{n} {many}"),
    }
}

/// As [`count`], with "no marks" for none.
pub fn count_or_no(n: usize, one: &str, many: &str) -> String {
    match n {
        0 => format!("no {many}"),
        n => count(n, one, many),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_not_many() {
        let days = [0, 1, 2].map(|n| count(n, "day", "days"));
        assert_eq!(days, ["0 days", "1 day", "2 days"]);
        let marks = [0, 1, 2].map(|n| count_or_no(n, "mark", "marks"));
        assert_eq!(marks, ["no marks", "1 mark", "2 marks"]);
    }
}
