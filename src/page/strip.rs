//! A strip of lags in plain text: a dot for each mark along a line of
//! milliseconds, with the aim drawn on the line.

use unicode_width::UnicodeWidthStr;

use crate::timeline::Aim;

/// The narrowest strip, in columns; less counts as this.
pub const NARROWEST: usize = 20;
/// Rows of dots at most; where more lie in one column, a plus stands on top.
const TALLEST: usize = 5;

/// Which signs a strip is drawn with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Glyphs {
    /// Dots and lines.
    Unicode,
    /// Only signs of ASCII, for terminals and fonts without the others.
    Ascii,
}

struct Signs {
    dot: char,
    more: char,
    line: char,
    aim: char,
    aim_ends: [char; 2],
    zero: char,
    edges: [char; 2],
}

impl Glyphs {
    fn signs(self) -> Signs {
        match self {
            Self::Unicode => Signs {
                dot: '•',
                more: '+',
                line: '─',
                aim: '═',
                aim_ends: ['╞', '╡'],
                zero: '┼',
                edges: ['◂', '▸'],
            },
            Self::Ascii => Signs {
                dot: 'o',
                more: '+',
                line: '-',
                aim: '=',
                aim_ends: ['[', ']'],
                zero: '|',
                edges: ['<', '>'],
            },
        }
    }
}

/// Draws lags in milliseconds along a line around zero, with the aim on it; no
/// line is wider than `width` columns (at least [`NARROWEST`]), and each ends
/// with a line's end.
///
/// Lags far from the others (beyond three times the quartiles' distance) are not
/// let shrink the rest: they are shown at the edge, and a line says how many and
/// how far. Lags that are not finite are left out; with none left one line says
/// so.
pub fn strip(lags_ms: &[f64], aim: Aim, width: usize, glyphs: Glyphs) -> String {
    let width = width.max(NARROWEST);
    let signs = glyphs.signs();
    let mut lags: Vec<f64> = lags_ms.iter().copied().filter(|l| l.is_finite()).collect();
    if lags.is_empty() {
        return "no lags to draw\n".to_owned();
    }
    lags.sort_by(f64::total_cmp);
    let scale = Scale::around(&lags, aim, width);

    let mut heights = vec![0usize; width];
    for &lag in &lags {
        heights[scale.column(lag)] += 1;
    }
    let (early, late) = (
        lags.iter().filter(|l| **l < scale.from_ms).count(),
        lags.iter().filter(|l| **l > scale.to_ms).count(),
    );
    let tallest = heights.iter().copied().max().unwrap_or(0).min(TALLEST);
    let mut out = String::new();
    for row in (1..=tallest).rev() {
        let dots = heights.iter().enumerate().map(|(column, &height)| {
            let last = width - 1;
            match column {
                _ if height < row => ' ',
                0 => signs.edges[0],
                _ if column == last => signs.edges[1],
                _ if row == TALLEST && height > TALLEST => signs.more,
                _ => signs.dot,
            }
        });
        push_line(&mut out, &dots.collect::<String>());
    }
    push_line(&mut out, &scale.line(aim, &signs));
    push_line(&mut out, &scale.labels());

    let mut legend = vec![format!(
        "aim {} to {} ms",
        signed(aim.from_ms),
        signed(aim.to_ms)
    )];
    legend.push(format!("{} a mark", signs.dot));
    if heights.iter().any(|h| *h > TALLEST) {
        legend.push(format!("{} more than {TALLEST}", signs.more));
    }
    for (count, edge, word, far_ms) in [
        (early, signs.edges[0], "earlier than", scale.from_ms),
        (late, signs.edges[1], "later than", scale.to_ms),
    ] {
        if count > 0 {
            legend.push(format!("{edge} {count} {word} {} ms", signed(far_ms)));
        }
    }
    push_wrapped(&mut out, &legend, width);
    out
}

/// The stretch of lags that is drawn; the outermost columns are the edges'.
struct Scale {
    from_ms: f64,
    to_ms: f64,
    width: usize,
}

impl Scale {
    /// Zero, the aim (where finite) and the lags but those far out; ascending,
    /// not empty.
    fn around(lags: &[f64], aim: Aim, width: usize) -> Self {
        let at = |share: f64| lags[((lags.len() - 1) as f64 * share).round() as usize];
        let (q1, q3) = (at(0.25), at(0.75));
        let reach = 3.0 * (q3 - q1).max(20.0);
        let drawn = lags
            .iter()
            .copied()
            .filter(|l| (q1 - reach..=q3 + reach).contains(l))
            .chain(
                [0.0, aim.from_ms, aim.to_ms]
                    .into_iter()
                    .filter(|x| x.is_finite()),
            );
        let (least, most) = drawn.fold((0.0f64, 0.0f64), |(a, b), x| (a.min(x), b.max(x)));
        let margin = ((most - least) * 0.03).max(5.0);
        Self {
            from_ms: ((least - margin) / 10.0).floor() * 10.0,
            to_ms: ((most + margin) / 10.0).ceil() * 10.0,
            width,
        }
    }

    fn column(&self, lag_ms: f64) -> usize {
        if lag_ms < self.from_ms {
            0
        } else if lag_ms > self.to_ms {
            self.width - 1
        } else {
            let share = (lag_ms - self.from_ms) / (self.to_ms - self.from_ms);
            1 + (share * (self.width - 3) as f64).round() as usize
        }
    }

    fn line(&self, aim: Aim, signs: &Signs) -> String {
        let mut line = vec![signs.line; self.width];
        let (from, to) = (self.column(aim.from_ms), self.column(aim.to_ms));
        if from <= to {
            line[from..=to].fill(signs.aim);
            line[from] = signs.aim_ends[0];
            line[to] = signs.aim_ends[1];
        }
        line[self.column(0.0)] = signs.zero;
        line.into_iter().collect()
    }

    /// The ends' milliseconds and the zero, where there is room for it.
    fn labels(&self) -> String {
        let (left, right) = (signed(self.from_ms), format!("{} ms", signed(self.to_ms)));
        let zero = self.column(0.0);
        let right_at = self.width.saturating_sub(right.len());
        let mut labels = format!("{left:<right_at$}{right}");
        if zero > left.len() && zero + 1 < right_at {
            labels.replace_range(zero..=zero, "0");
        }
        labels
    }
}

/// Whole milliseconds with their sign.
fn signed(ms: f64) -> String {
    match ms.round() {
        0.0 => "0".to_owned(),
        ms => format!("{ms:+}"),
    }
}

fn push_line(out: &mut String, line: &str) {
    out.push_str(line.trim_end());
    out.push('\n');
}

/// Puts the parts on as few lines as the width allows, splitting a part at its
/// words where it must.
fn push_wrapped(out: &mut String, parts: &[String], width: usize) {
    let mut line = String::new();
    let length = |text: &str| text.width();
    for part in parts {
        let gap = if line.is_empty() { 0 } else { 3 };
        if length(&line) + gap + length(part) <= width {
            line.extend(std::iter::repeat_n(' ', gap));
            line.push_str(part);
            continue;
        }
        if !line.is_empty() {
            push_line(out, &std::mem::take(&mut line));
        }
        for word in part.split(' ') {
            if !line.is_empty() && length(&line) + 1 + length(word) > width {
                push_line(out, &std::mem::take(&mut line));
            }
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    push_line(out, &line);
}

#[cfg(test)]
#[path = "strip_tests.rs"]
mod tests;
