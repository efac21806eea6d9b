use super::*;
use proptest::prelude::*;

const AIM: Aim = Aim {
    from_ms: -50.0,
    to_ms: 100.0,
};

/// Columns of 1 … 32 stand for -60 … +250 ms, 10 ms each: the picture can be
/// drawn by hand.
#[test]
fn a_strip_drawn_by_hand() {
    let lags = [-40.0, 0.0, 0.0, 30.0, 60.0, 150.0, 240.0];
    let expected = [
        "       o",
        "   o   o  o  o        o        o",
        "--[====|=========]----------------",
        "-60    0                   +250 ms",
        "aim -50 to +100 ms   o a mark",
    ];
    let drawn = strip(&lags, AIM, 34, Glyphs::Ascii);
    assert_eq!(drawn.lines().collect::<Vec<_>>(), expected, "\n{drawn}");
}

#[test]
fn a_far_lag_stands_at_the_edge_and_is_told() {
    let mut lags: Vec<f64> = (0..20).map(|i| f64::from(i) * 4.0).collect();
    lags.extend([5000.0, 9000.0, -3000.0]);
    let drawn = strip(&lags, AIM, 60, Glyphs::Ascii);
    assert!(drawn.contains("> 2 later than +110 ms"), "{drawn}");
    assert!(drawn.contains("< 1 earlier than -60 ms"), "{drawn}");
    let dots = drawn.lines().filter(|l| l.starts_with('<')).count();
    assert_eq!(dots, 1, "{drawn}");
}

#[test]
fn a_tall_column_says_that_there_are_more() {
    let drawn = strip(&[10.0; 9], AIM, 40, Glyphs::Ascii);
    assert!(drawn.lines().next().unwrap().contains('+'), "{drawn}");
    assert!(drawn.contains("+ more than 5"), "{drawn}");
}

#[test]
fn nothing_to_draw_is_said() {
    assert_eq!(strip(&[], AIM, 40, Glyphs::Ascii), "no lags to draw\n");
    assert_eq!(
        strip(&[f64::NAN], AIM, 0, Glyphs::Unicode),
        "no lags to draw\n"
    );
}

proptest! {
    #[test]
    fn any_strip_keeps_its_width_and_loses_no_mark(
        lags in prop::collection::vec(-20_000.0..20_000.0f64, 1..TALLEST),
        from_ms in -500.0..0.0f64, length_ms in 0.0..1000.0f64, width in 0usize..200,
    ) {
        let aim = Aim { from_ms, to_ms: from_ms + length_ms };
        let ascii = strip(&lags, aim, width, Glyphs::Ascii);
        prop_assert!(ascii.is_ascii());
        for drawn in [&ascii, &strip(&lags, aim, width, Glyphs::Unicode)] {
            for line in drawn.lines() {
                prop_assert!(line.chars().count() <= width.max(NARROWEST), "{}", drawn);
            }
        }
        let rows = ascii.lines().take_while(|l| !l.contains('|'));
        let signs: usize = rows.map(|l| l.matches(['o', '<', '>']).count()).sum();
        prop_assert_eq!(signs, lags.len(), "{}", ascii);
    }
}
