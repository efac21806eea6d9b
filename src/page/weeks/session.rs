//! A session as a picture: time from left to right, a row for each kind of event.

use maud::{Markup, html};

use super::frame::{Picture, WIDTH, round};
use crate::page::session_rows::{Sign, SignRow, sign_rows};
use crate::session::Looking;
use crate::timeline::session::ActKind;

/// Where the names of the rows end.
const LEFT: f64 = 72.0;
const RIGHT: f64 = 12.0;
/// From one row to the next.
const ROW: f64 = 26.0;

/// A session to draw.
pub struct Session {
    /// When and with whom, in words.
    pub title: String,
    /// What happened.
    pub at: Looking,
    /// Length in seconds.
    pub length_s: f64,
}

impl Session {
    /// The picture; `number` tells several apart.
    pub(super) fn picture(&self, number: usize) -> Picture {
        let rows = sign_rows(&self.at);
        let length_s = self.length_s.max(1.0);
        let x = |t_s: f64| {
            let part = (t_s / length_s).clamp(0.0, 1.0);
            round(LEFT + part * (WIDTH - LEFT - RIGHT))
        };
        // Room above for the word that says what is shaded.
        let top = if self.at.breaks().is_empty() {
            8.0
        } else {
            26.0
        };
        let bottom = top + ROW * rows.len() as f64;
        let ticks = ticks(length_s);
        Picture {
            name: format!("session-{number}"),
            title: self.title.clone(),
            alt: self.words(),
            height: bottom + 28.0,
            drawn: html! {
                @for (from, to) in self.at.breaks() {
                    rect class="aim" x=(x(*from)) y=(top)
                        width=(round(x(*to) - x(*from))) height=(bottom - top) {}
                    text x=(round(0.5 * (x(*from) + x(*to)))) y="19" text-anchor="middle" { "break" }
                }
                @for (k, SignRow { name, signs }) in rows.iter().enumerate() {
                    @let y = top + ROW * (k as f64 + 0.5);
                    text x=(LEFT - 8.0) y=(y + 5.0) text-anchor="end" { (name) }
                    path class="grid" d=(format!("M{LEFT} {y}H{}", WIDTH - RIGHT)) {}
                    @for (t_s, sign) in signs { (shape(*sign, x(*t_s), y)) }
                }
                path class="axis" d=(format!("M{LEFT} {bottom}H{}", WIDTH - RIGHT)) {}
                @for t_s in ticks {
                    path class="axis" d=(format!("M{} {bottom}v4", x(t_s))) {}
                    text x=(x(t_s)) y=(bottom + 19.0) text-anchor="middle" { (clock(t_s)) }
                }
            },
        }
    }

    /// What is to be seen, in words.
    fn words(&self) -> String {
        let count = |kind: ActKind| self.at.acts().iter().filter(|a| a.kind == kind).count();
        let signs: Vec<Sign> = sign_rows(&self.at)
            .iter()
            .flat_map(|row| row.signs.iter().map(|(_, sign)| *sign))
            .collect();
        let number = |sign: Sign| signs.iter().filter(|s| **s == sign).count();
        let mut parts = vec![format!("{} long", clock(self.length_s))];
        let mut tell = |n: usize, one: &str, several: &str, how: &str| {
            if n > 0 {
                let what = if n == 1 { one } else { several };
                parts.push(format!("{n} {what} ({how})"));
            }
        };
        tell(count(ActKind::Cue), "asked", "asked", "upright strokes");
        let offered = "offered unasked";
        tell(count(ActKind::Offer), offered, offered, "rings");
        tell(count(ActKind::Reached), "reached", "reached", "plus signs");
        tell(
            count(ActKind::NearMiss),
            "near miss",
            "near misses",
            "waves",
        );
        tell(number(Sign::Mark), "mark", "marks", "dots");
        tell(
            number(Sign::Late),
            "late mark",
            "late marks",
            "pointing right",
        );
        tell(
            number(Sign::Early),
            "early mark",
            "early marks",
            "pointing left",
        );
        let nothing = ("mark for nothing", "marks for nothing");
        tell(number(Sign::Stray), nothing.0, nothing.1, "crosses");
        tell(
            number(Sign::Unpaid),
            "unpaid",
            "unpaid",
            "exclamation marks",
        );
        tell(count(ActKind::Treat), "treat", "treats", "squares");
        tell(self.at.breaks().len(), "break", "breaks", "shaded");
        format!("{}.", parts.join(", "))
    }
}

/// Each sign has a shape of its own, so that none needs its colour.
fn shape(sign: Sign, x: f64, y: f64) -> Markup {
    let stroke = |class: &str, d: String| html! { path class=(class) d=(d) {} };
    match sign {
        Sign::Cue => stroke("stroke", format!("M{x} {}v12", y - 6.0)),
        Sign::Reached => stroke("stroke", format!("M{} {y}h10M{x} {}v10", x - 5.0, y - 5.0)),
        Sign::Near => stroke("stroke", format!("M{} {}q2.5 -6 5 0t5 0", x - 5.0, y)),
        Sign::Offer => html! { circle class="ring" cx=(x) cy=(y) r="4" {} },
        Sign::Mark => html! { circle class="dot" cx=(x) cy=(y) r="4" {} },
        Sign::Late => stroke("out", format!("M{} {}l10 5l-10 5z", x - 5.0, y - 5.0)),
        Sign::Early => stroke("out", format!("M{} {}l-10 5l10 5z", x + 5.0, y - 5.0)),
        Sign::Stray => stroke("cross", format!("M{} {}l9 9m-9 0l9 -9", x - 4.5, y - 4.5)),
        Sign::Unpaid => html! {
            text class="loud" x=(x) y=(y + 5.0) text-anchor="middle" { "!" }
        },
        Sign::Treat => html! {
            rect class="dot" x=(round(x - 3.5)) y=(y - 3.5) width="7" height="7" {}
        },
    }
}

/// Some round instants within the session.
fn ticks(length_s: f64) -> Vec<f64> {
    let steps = [10.0, 30.0, 60.0, 120.0, 300.0, 600.0];
    let step = steps.into_iter().find(|s| length_s / s <= 8.0);
    let step = step.unwrap_or(1800.0);
    let last = (length_s / step) as usize;
    (0..=last.min(100)).map(|k| k as f64 * step).collect()
}

fn clock(t_s: f64) -> String {
    let s = t_s.round().max(0.0) as u64;
    format!("{}:{:02}", s / 60, s % 60)
}
