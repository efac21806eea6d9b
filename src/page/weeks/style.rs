//! The look of the page and its pictures: one set of colours for light, one for
//! dark. No colour carries a meaning alone: signs differ in shape, lines in dash.

/// A colour's name in the style sheet, in light and in dark.
pub(super) const COLOURS: [(&str, &str, &str); 6] = [
    ("paper", "#ffffff", "#15181b"),
    ("ink", "#1b1b1b", "#ececec"),
    ("mark", "#0b4f91", "#8ec5ff"),
    ("other", "#8a3a00", "#ffb27a"),
    ("line", "#5f5f5f", "#a5a5a5"),
    ("aim", "#dcebd8", "#23402a"),
];

/// The style of pictures, on the page or alone.
const PICTURE: &str = "\
svg{font:15px system-ui,sans-serif;background:var(--paper)}\
svg text{fill:var(--ink)}\
.axis{stroke:var(--line);fill:none}.aim{fill:var(--aim)}\
.dot{fill:var(--mark)}.bar{stroke:var(--mark);stroke-width:1.5}\
.now{stroke:var(--mark);fill:none;stroke-width:2}\
.then{stroke:var(--other);fill:none;stroke-width:2;stroke-dasharray:6 4}\
.trend{stroke:var(--other);fill:none;stroke-width:2}\
.limit{stroke:var(--line);fill:none;stroke-dasharray:2 3}\
.out{fill:var(--paper);stroke:var(--other);stroke-width:2}\
.grid{stroke:var(--line);stroke-width:.5;opacity:.5}\
.stroke{stroke:var(--ink);fill:none;stroke-width:2}\
.ring{stroke:var(--ink);fill:none;stroke-width:1.5}\
.cross{stroke:var(--other);fill:none;stroke-width:2.5}\
svg .loud{fill:var(--other);font-weight:700;font-size:16px}";

const PAGE: &str = "\
body{background:var(--paper);color:var(--ink);font:1rem/1.5 system-ui,sans-serif;\
max-width:46rem;margin:0 auto;padding:1rem;overflow-wrap:anywhere}\
h1{font-size:1.5rem}h2{font-size:1.25rem;margin-top:2rem}\
figure{margin:1.5rem 0}figcaption{font-size:.9rem;margin-top:.3rem}\
svg{display:block;width:100%;max-width:40rem;height:auto}\
.wide{overflow-x:auto}.narrow{display:none}table{border-collapse:collapse;font-variant-numeric:tabular-nums}\
th,td{padding:.15rem .35rem;text-align:right;border-bottom:1px solid var(--line);white-space:nowrap}\
th:first-child,td:first-child{text-align:left}.words{text-align:left;white-space:normal}th{white-space:normal;vertical-align:bottom}a{color:var(--mark)}\
@media screen and (max-width:34rem){.more{display:none}.narrow{display:block}body{padding:.75rem}th,td{padding:.15rem .2rem;font-size:.85rem}}\
@media print{body{max-width:none;padding:0;font-size:10pt}figure,table,tr{break-inside:avoid}\
h2{break-after:avoid}.wide{overflow:visible}}";

fn colours() -> String {
    let set = |pick: fn(&(&'static str, &'static str, &'static str)) -> &'static str| {
        let each = COLOURS.iter().map(|c| format!("--{}:{};", c.0, pick(c)));
        each.collect::<String>()
    };
    // Paper is light: ink on it is dark whatever the screen prefers.
    format!(
        ":root{{color-scheme:light dark;{}}}@media screen and (prefers-color-scheme:dark){{:root{{{}}}}}",
        set(|c| c.1),
        set(|c| c.2)
    )
}

/// The style sheet of a picture that stands alone.
pub(super) fn of_picture() -> String {
    format!("{}{PICTURE}", colours())
}

/// The style sheet of the page.
pub(super) fn of_page() -> String {
    format!("{}{PICTURE}{PAGE}", colours())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance of "#rrggbb" (WCAG 2.2, definition).
    fn luminance(colour: &str) -> f64 {
        let part = |from: usize| {
            let value = u8::from_str_radix(&colour[from..from + 2], 16).unwrap();
            let c = f64::from(value) / 255.0;
            if c <= 0.04045 {
                c / 12.92
            } else {
                ((c + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * part(1) + 0.7152 * part(3) + 0.0722 * part(5)
    }

    fn contrast(a: &str, b: &str) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    /// Reads the colours out of the style sheet itself: the first set is light,
    /// the second dark.
    fn in_css(name: &str, dark: bool) -> String {
        let css = of_page();
        let wanted = format!("--{name}:");
        let mut sets = css.match_indices(&wanted);
        let (at, found) = sets.nth(usize::from(dark)).unwrap();
        let from = at + found.len();
        css[from..from + 7].to_owned()
    }

    /// WCAG 2.2: text 4.5 (1.4.3), ink at the stricter 7 (1.4.6), signs and
    /// lines 3 (1.4.11), on the paper and on the aim's stretch.
    #[test]
    fn contrast_is_enough_in_light_and_dark() {
        assert!((contrast("#000000", "#ffffff") - 21.0).abs() < 1e-9);
        for dark in [false, true] {
            for ground in ["paper", "aim"] {
                let ground = in_css(ground, dark);
                for (name, least) in [("ink", 7.0), ("mark", 4.5), ("other", 4.5), ("line", 3.0)] {
                    let got = contrast(&in_css(name, dark), &ground);
                    assert!(got >= least, "{name} on {ground}, dark {dark}: {got:.2}");
                }
            }
        }
    }
}
