//! The weeks on one page: HTML that needs no script, no other file and no
//! network, and its pictures alone as SVG.

mod frame;
mod pictures;
mod session;
mod style;

use maud::{DOCTYPE, Markup, html};

pub use frame::Picture;
pub use session::Session;

use super::budget::budget_table;
use crate::measure::budget::Budget;
use crate::measure::weeks::{Comparison, Lot, Progress, RULE, Row, Suggestion, words};
use crate::words::count;

/// What the page is about.
pub struct Weeks<'a> {
    /// Who.
    pub person: &'a str,
    /// One for each kind of moment, with rows by day, week or month.
    pub kinds: &'a [Progress],
    /// The comparisons of each.
    pub comparisons: &'a [Vec<Comparison>],
    /// What comes next.
    pub next: Option<&'a Suggestion>,
    /// Where the lags come from.
    pub lots: &'a [Lot],
    /// The latest sessions with an animal, the latest first.
    pub sessions: &'a [Session],
    /// Bouts with their spoken marks at the words' perceptual centre.
    pub at_centre: usize,
    /// What the uncertainty of a lag of the latest bout is made of.
    pub budget: Option<&'a Budget>,
}

/// The pictures of one kind of moment.
fn pictures_of(progress: &Progress, lots: &[Lot]) -> Vec<Picture> {
    let all = [
        pictures::then_and_now(progress, lots),
        pictures::trend(progress),
        pictures::shift(progress),
        pictures::on_time(progress),
    ];
    all.into_iter().flatten().collect()
}

impl Weeks<'_> {
    /// Every picture of the page.
    pub fn pictures(&self) -> Vec<Picture> {
        let each = self.kinds.iter().map(|p| pictures_of(p, self.lots));
        let sessions = (1..).zip(self.sessions).map(|(n, one)| one.picture(n));
        each.flatten().chain(sessions).collect()
    }

    /// The page.
    pub fn html(&self) -> String {
        let title = format!("Timing of {}", self.person);
        let page = html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    title { (title) }
                    style { (maud::PreEscaped(style::of_page())) }
                }
                body {
                    h1 { (title) }
                    p {
                        "How early or late each mark came after the moment it should mark. Lag is "
                        "mark minus moment, in milliseconds; negative is early."
                    }
                    @if let Some(sentence) = words::at_centre(self.at_centre) { p { (sentence) } }
                    @if let Some(next) = self.next {
                        h2 { "What comes next" }
                        p { (tied(&words::suggestion(next))) }
                        p { (tied(RULE)) }
                    }
                    @for (progress, compared) in self.kinds.iter().zip(self.comparisons) {
                        (self.kind(progress, compared))
                    }
                    @if !self.sessions.is_empty() {
                        h2 { "Your latest sessions" }
                        p {
                            "Time from left to right, in minutes and seconds. Every sign has a "
                            "shape of its own; the words under each picture say which."
                        }
                        @for (number, one) in (1..).zip(self.sessions) {
                            (figure(&one.picture(number)))
                        }
                    }
                    @if let Some(budget) = self.budget { (budget_table(budget)) }
                    (meaning())
                    (self.figures())
                    (method())
                }
            }
        };
        page.into_string()
    }

    fn kind(&self, progress: &Progress, compared: &[Comparison]) -> Markup {
        let marks = words::marks_of(progress.kind);
        let aim = progress.aim;
        html! {
            h2 { "Your " (marks) }
            p {
                (count(progress.n_days, "day", "days")) " of practice from " (progress.first_day) " to "
                (progress.last_day) "; the aim is " (format!("{:.0} to {:.0} ms", aim.from_ms, aim.to_ms)) ". "
                (tied(&words::standing(progress)))
            }
            ul {
                @for sentence in words::trends(progress) { li { (tied(&sentence)) } }
                @for sentence in words::goal(&progress.goal) { li { (tied(&sentence)) } }
            }
            @for picture in pictures_of(progress, self.lots) {
                (figure(&picture))
            }
            @if !compared.is_empty() {
                h3 { "Compared" }
                ul { @for one in compared { li { (tied(&words::comparison(one))) } } }
                @if compared.len() > 1 {
                    p { "Each p is corrected for all comparisons made together (Holm)." }
                }
            }
        }
    }

    /// Row by row, after all that has words: most readers never need it.
    fn figures(&self) -> Markup {
        html! {
            h2 { "The figures" }
            p class="narrow" {
                "In a wider window, and on paper, spread, strays and marks a minute stand here too."
            }
            @for progress in self.kinds {
                @let marks = words::marks_of(progress.kind);
                h3 { "Your " (marks) }
                div class="wide" tabindex="0" role="region" aria-label=(format!("Figures of your {marks}")) {
                    (table(&progress.rows))
                }
            }
        }
    }
}

/// Keeps a number and its unit on one line.
fn tied(words: &str) -> String {
    const UNITS: [&str; 5] = ["ms", "%", "s", "days", "weeks"];
    let mut tied = String::with_capacity(words.len());
    for word in words.split(' ') {
        let unit = word.trim_end_matches([')', ',', '.', ';', ':']);
        let after_number = tied.chars().next_back().is_some_and(|c| c.is_ascii_digit());
        if !tied.is_empty() {
            tied.push(if after_number && UNITS.contains(&unit) {
                '\u{a0}'
            } else {
                ' '
            });
        }
        tied += word;
    }
    tied
}

fn figure(picture: &Picture) -> Markup {
    html! {
        figure {
            (picture.on_page())
            figcaption { strong { (picture.title) "." } " " (tied(&picture.alt)) }
        }
    }
}

fn table(rows: &[Row]) -> Markup {
    let ms = |v: Option<f64>| v.map_or("–".to_owned(), |v| format!("{v:.0}").replace('-', "−"));
    html! {
        table {
            thead { tr {
                th { "From" } th { "Bouts" } th { "Median, ms (95 %)" }
                th.more { "Spread" } th { "On time" } th { "Missed" } th.more { "Stray" }
                th.more { "A minute" }
            } }
            tbody { @for row in rows {
                @let f = &row.figures;
                tr {
                    td { (row.from) } td { (row.bouts) }
                    td {
                        (ms(f.median_ms))
                        @if f.low_ms.is_some() { " (" (ms(f.low_ms)) " to " (ms(f.high_ms)) ")" }
                    }
                    td.more { (ms(f.spread_ms)) }
                    td { (f.on_time.count) " of " (f.on_time.of) }
                    td { (f.missed.count) } td.more { (f.stray.count) }
                    td.more { (f.per_minute.map_or("–".to_owned(), |v| format!("{v:.1}"))) }
                }
            } }
        }
    }
}

fn meaning() -> Markup {
    html! {
        h2 { "What the numbers mean, and what not" }
        ul {
            li { "They measure the trainer, not the animal, and are no medical test." }
            li {
                "The aim is the trainer's own. No study gives a number of milliseconds that an "
                "animal needs."
            }
            li {
                "A floor or a top can be seen coming: a little early is usual. A release or a "
                "behaviour can only be reacted to: some delay is human."
            }
            li { "Getting earlier is better only towards the aim, not beyond it." }
            li {
                "What is done with a ball need not carry over to an animal; nobody seems to have "
                "measured that."
            }
        }
    }
}

fn method() -> Markup {
    html! {
        h2 { "How they were worked out" }
        ul {
            li {
                "Median with the distribution-free interval between order statistics (David & "
                "Nagaraja 2003, Order Statistics); spread is the interquartile range by "
                "Hyndman & Fan's type 8 (1996, Am Stat 50:361–365)."
            }
            li { "Shares with Wilson's interval (1927, J Am Stat Assoc 22:209–212)." }
            li {
                "Trend: one value a day; Theil–Sen slope with Sen's interval (1968, J Am Stat "
                "Assoc 63:1379–1389), Mann–Kendall test with ties (Gilbert 1987, Statistical "
                "Methods for Environmental Pollution Monitoring, ch. 16). Both are widened by "
                "as much as one day hangs together with the next (Hamed & Rao 1998, J Hydrol "
                "204:182–196)."
            }
            li {
                "Shift: EWMA chart, weight 0.2, limits at 3 standard deviations, against the first "
                "ten days (NIST/SEMATECH e-Handbook 6.3.2.4). A signal is a hint, not a proof."
            }
            li {
                "Comparisons: one value a day on each side; Hodges–Lehmann shift with its interval, Mann–Whitney test or, for few "
                "values with ties, a permutation test (Hollander & Wolfe 1973, ch. 4); p by Holm "
                "(1979, Scand J Stat 6:65–70)."
            }
            li {
                "When the goal might be reached: least-squares line through the last 30 days of "
                "practice, Fieller's interval (1954, J R Stat Soc B 16:175–185)."
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::tied;

    #[test]
    fn a_number_keeps_its_unit() {
        assert_eq!(
            tied("allows 50 ms; goal is 80 %. About 3 days, not so ms"),
            "allows 50\u{a0}ms; goal is 80\u{a0}%. About 3\u{a0}days, not so ms"
        );
    }
}
