//! Lags over days in plain text: one column a day, or several days together
//! where there are more days than columns.

use super::Glyphs;
use crate::measure::median::median;
use crate::measure::weeks::Day;
use crate::timeline::Aim;

/// Columns of the scale at the left.
const SCALE: usize = 7;

/// Draws medians (day, milliseconds), in order, with the aim's stretch shaded.
/// Time runs evenly from left to right; the latest is at the right. Empty for
/// fewer than two values. `of` says what a value is the median of: "a day".
pub fn lag_chart(
    points: &[(Day, f64)],
    of: &str,
    aim: Aim,
    width: usize,
    rows: usize,
    glyphs: Glyphs,
) -> String {
    let (Some(first), Some(last)) = (points.first(), points.last()) else {
        return String::new();
    };
    let days = last.0.0 - first.0.0;
    if days < 1 || rows < 3 {
        return String::new();
    }
    let (mark, shade, bar) = match glyphs {
        Glyphs::Unicode => ('●', '·', '│'),
        Glyphs::Ascii => ('o', '.', '|'),
    };
    let columns = (days as usize + 1).min(width.saturating_sub(SCALE + 2).max(10));
    let column_of = |day: Day| {
        let part = f64::from(day.0 - first.0.0) / f64::from(days);
        (part * (columns - 1) as f64).round() as usize
    };
    let mut in_column: Vec<Vec<f64>> = vec![Vec::new(); columns];
    for (day, value) in points.iter().filter(|p| p.1.is_finite()) {
        in_column[column_of(*day)].push(*value);
    }
    let heights: Vec<Option<f64>> = in_column.iter().map(|values| median(values)).collect();
    let drawn = || heights.iter().flatten().copied();
    let low = drawn().fold(aim.from_ms.max(-500.0), f64::min);
    let high = drawn().fold(aim.to_ms.min(500.0), f64::max);
    let step = ((high - low) / (rows - 1) as f64).max(1.0);
    let mut out = String::new();
    for row in 0..rows {
        let middle = high - row as f64 * step;
        let is_in = |value: f64| ((high - value) / step).round() as usize == row;
        let label = if row % 2 == 0 {
            format!("{:>+5.0}", middle.round() + 0.0)
        } else {
            String::new()
        };
        let mut line = format!("{label:>5} {bar}");
        for height in &heights {
            let inside = (aim.from_ms..=aim.to_ms).contains(&middle);
            line.push(match height {
                Some(value) if is_in(*value) => mark,
                _ if inside => shade,
                _ => ' ',
            });
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }
    let (from, to) = (first.0.to_string(), last.0.to_string());
    let gap = columns.saturating_sub(from.len() + to.len()).max(1);
    out.push_str(&format!("       {from}{}{to}\n", " ".repeat(gap)));
    let each = f64::from(days + 1) / columns as f64;
    let what = if each > 1.5 && of == "a day" {
        format!("median lag of about {each:.0} days")
    } else {
        format!("median lag of {of}")
    };
    out.push_str(&format!(
        "       {mark} {what}, in ms; {shade} your aim; up is later\n"
    ));
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    const AIM: Aim = Aim {
        from_ms: -50.0,
        to_ms: 50.0,
    };

    #[test]
    fn later_is_higher_and_it_fits() {
        let points: Vec<(Day, f64)> = (0..200).map(|d| (Day(d), 200.0 - f64::from(d))).collect();
        for (width, glyphs) in [(80, Glyphs::Unicode), (40, Glyphs::Ascii)] {
            let text = lag_chart(&points, "a day", AIM, width, 11, glyphs);
            assert!(
                text.lines().take(12).all(|l| l.chars().count() <= width),
                "{text}"
            );
            let mark = if glyphs == Glyphs::Unicode {
                '●'
            } else {
                'o'
            };
            let columns: Vec<usize> = text
                .lines()
                .take(11)
                .filter_map(|line| line.chars().position(|c| c == mark))
                .collect();
            // It falls from the upper left to the lower right.
            assert!(columns.first() < columns.last(), "{text}");
            assert!(columns.is_sorted(), "{text}");
        }
    }

    #[test]
    fn little_gives_nothing() {
        assert_eq!(lag_chart(&[], "a day", AIM, 80, 11, Glyphs::Ascii), "");
        let one = [(Day(1), 5.0), (Day(1), 6.0)];
        assert_eq!(lag_chart(&one, "a day", AIM, 80, 11, Glyphs::Ascii), "");
    }
}
