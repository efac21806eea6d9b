//! The table of what the uncertainty of a lag is made of: in lines and as HTML.

use maud::{Markup, html};

use crate::measure::budget::{Budget, Row};

/// Narrower than this the remedies stand under the table.
const WIDE: usize = 76;

/// The table in lines of at most `columns`, the largest part first, and what would
/// make that one smaller.
pub fn budget_lines(rows: &[Row], columns: usize) -> Vec<String> {
    let mut lines: Vec<String> = rows
        .iter()
        .map(|row| {
            let share = 100.0 * row.share;
            format!("{:<36}{:>7.2} ms {share:>4.0} %", row.name, row.u_ms)
        })
        .collect();
    if let Some(first) = rows.first().filter(|row| row.u_ms > 0.0) {
        let advice = format!("first: {}", first.remedy);
        if advice.len() <= columns.max(WIDE) {
            lines.push(advice);
        } else {
            lines.extend([String::from("first:"), first.remedy.to_owned()]);
        }
    }
    lines
}

/// The table on a page.
pub(super) fn budget_table(budget: &Budget) -> Markup {
    let rows = budget.rows();
    html! {
        h2 { "How sure a single lag is" }
        p {
            "Of your latest bout. "
            @if let Some(ms) = budget.half_width_ms() {
                "Each lag is known to ±" (format!("{ms:.1}")) " ms, which holds 95 in 100. "
            }
            "The largest part stands first; it is the one to make smaller."
        }
        table {
            thead { tr { th { "Part" } th { "ms" } th { "Share" } th.words { "What makes it smaller" } } }
            tbody {
                @for row in &rows {
                    tr {
                        td.words { (row.name) }
                        td { (format!("{:.2}", row.u_ms)) }
                        td { (format!("{:.0} %", 100.0 * row.share)) }
                        td.words { (row.remedy) }
                    }
                }
            }
        }
        p {
            "Standard uncertainties, put together as JCGM 100:2008 says. What a trainer varies "
            "from mark to mark is far more and is not in it."
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::budget::Source;

    fn rows() -> Budget {
        Budget::new([(Source::MarkOnset, Some(0.3)), (Source::Picture, Some(9.6))]).unwrap()
    }

    #[test]
    fn lines_begin_with_the_largest_part_and_end_with_its_remedy() {
        let lines = budget_lines(&rows().rows(), 80);
        assert_eq!(lines.len(), 3);
        assert!(lines[0].starts_with("one picture of the video") && lines[0].ends_with("100 %"));
        assert_eq!(lines[2], format!("first: {}", Source::Picture.remedy()));
        assert!(budget_lines(&[], 80).is_empty());
        assert!(lines.iter().all(|l| l.chars().count() <= 80), "{lines:?}");
    }

    #[test]
    fn the_page_shows_every_part_with_its_remedy() {
        let html = budget_table(&rows()).into_string();
        for text in [
            "±15.8 ms",
            "one picture of the video",
            "9.60",
            Source::MarkOnset.remedy(),
        ] {
            assert!(html.contains(text), "{text}: {html}");
        }
    }
}
