use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::buffer::Buffer;
use ratatui::style::Style;

use super::*;
use crate::page::Glyphs;
use crate::screen::theme::Colours;

const AIM: Aim = Aim {
    from_ms: -50.0,
    to_ms: 50.0,
};

fn view() -> DrillView {
    let outcomes = [
        (Outcome::OnTime, 3),
        (Outcome::Early, 1),
        (Outcome::Late, 1),
        (Outcome::Missed, 0),
        (Outcome::Stray, 1),
    ];
    let keys = [("p", "pause"), ("u", "undo"), ("e", "end"), ("?", "help")];
    DrillView {
        title: "Ball drop: mark the floor".into(),
        progress: "5 of 20 drops, 15 left".into(),
        last: Some(Last {
            outcome: Outcome::Early,
            lag_ms: Some(-61.6),
        }),
        large: None,
        status: "Let the ball fall, mark when it hits the floor, let it bounce.".into(),
        lags_ms: Some(vec![12.0, -30.5, 48.0, 140.0, -61.6]),
        aim: AIM,
        middle: "Typically 12 ms late; half between 41 ms early and 79 ms late".into(),
        counts: outcomes.to_vec(),
        level: "Sound -48 dB; mark \"blue\" 2 s ago, -12 dB: good".into(),
        spoken: String::new(),
        warning: Some("30 ms of sound are missing. Lags near this place are flagged.".into()),
        ball: None,
        keys: keys.map(|(k, w)| (k.into(), w.into())).to_vec(),
        help: None,
    }
}

fn look(colours: Colours, signs: Glyphs) -> Look {
    Look { colours, signs }
}

fn drawn(view: &DrillView, look: Look, columns: u16, rows: u16) -> Buffer {
    let mut terminal = Terminal::new(TestBackend::new(columns, rows)).unwrap();
    terminal.draw(|frame| draw(view, look, frame)).unwrap();
    terminal.backend().buffer().clone()
}

fn text(buffer: &Buffer) -> String {
    let area = buffer.area;
    (0..area.height)
        .map(|y| {
            let row: String = (0..area.width).map(|x| buffer[(x, y)].symbol()).collect();
            format!("{}\n", row.trim_end())
        })
        .collect()
}

/// The picture and below it the pieces that have a style of their own.
fn styled(buffer: &Buffer) -> String {
    let mut out = text(buffer);
    let plain = Style::reset();
    let mut told: Vec<String> = Vec::new();
    for y in 0..buffer.area.height {
        let cells: Vec<_> = (0..buffer.area.width).map(|x| &buffer[(x, y)]).collect();
        for run in cells.chunk_by(|a, b| a.style() == b.style()) {
            let piece: String = run.iter().map(|cell| cell.symbol()).collect();
            let style = run[0].style();
            let is_large = piece.trim_matches(['█', '#', ' ']).is_empty();
            let piece = if is_large { "large" } else { piece.trim() };
            let colour = style.fg.unwrap_or_default();
            let line = format!("{colour:?} {:?}: {piece}\n", style.add_modifier);
            if style != plain && !told.contains(&line) {
                out += &line;
                told.push(line);
            }
        }
    }
    out
}

#[test]
fn the_screen_in_three_sizes_without_colours() {
    let look = look(Colours::None, Glyphs::Unicode);
    for (columns, rows) in [(200, 60), (80, 24), (40, 12)] {
        let picture = drawn(&view(), look, columns, rows);
        assert!(picture.content().iter().all(|cell| {
            let style = cell.style();
            style.fg == Some(ratatui::style::Color::Reset) && style.bg == style.fg
        }));
        insta::assert_snapshot!(format!("plain_{columns}x{rows}"), styled(&picture));
    }
}

#[test]
fn the_screen_in_three_sizes_in_colour() {
    for (columns, rows) in [(200, 60), (80, 24), (40, 12)] {
        let picture = drawn(&view(), look(Colours::Dark, Glyphs::Unicode), columns, rows);
        insta::assert_snapshot!(format!("dark_{columns}x{rows}"), styled(&picture));
    }
    let light = drawn(&view(), look(Colours::Light, Glyphs::Ascii), 80, 24);
    insta::assert_snapshot!("light_ascii_80x24", styled(&light));
    assert!(text(&light).is_ascii());
}

#[test]
fn a_ball_on_the_screen() {
    let view = DrillView {
        ball: Some((0.4, true)),
        large: Some("READY".into()),
        last: None,
        warning: None,
        ..view()
    };
    let look = look(Colours::None, Glyphs::Unicode);
    insta::assert_snapshot!("ball_80x24", text(&drawn(&view, look, 80, 24)));
    assert!(text(&drawn(&view, look, 40, 24)).contains("held"));
}

#[test]
fn full_at_80_by_24_and_smaller_says_what_is_missing() {
    let look = look(Colours::None, Glyphs::Ascii);
    let whole = text(&drawn(&view(), look, 80, 24));
    for words in [
        "62 ms early: outside the aim",
        "aim -50 to +50 ms",
        "on time 3",
        "stray 1",
        "Typically 12 ms late; half between 41 ms early and 79 ms late",
        "Sound -48 dB",
        "! 30 ms",
        "15 left",
        "e end",
    ] {
        assert!(whole.contains(words), "{words}\n{whole}");
    }
    assert!(!whole.contains("No room"), "{whole}");
    let small = text(&drawn(&view(), look, 40, 12));
    assert!(small.contains("No room: title"), "{small}");
    let tiny = text(&drawn(&view(), look, 26, 2));
    assert!(tiny.contains("62 ms early"), "{tiny}");
}

#[test]
fn the_help_is_the_key_table() {
    let view = DrillView {
        help: Some(vec![("p".into(), "Pause.".into())]),
        ..view()
    };
    let help = text(&drawn(&view, look(Colours::None, Glyphs::Unicode), 40, 12));
    assert!(help.contains("p  Pause."), "{help}");
    assert!(help.starts_with("Any key closes this\n"), "{help}");
}

/// From nothing to 300 × 100, every view; none may panic.
#[test]
fn no_size_is_a_panic() {
    let mut others = vec![view()];
    others.push(DrillView {
        ball: Some((0.5, true)),
        large: Some("PAUSED".into()),
        ..view()
    });
    others.push(DrillView {
        last: Some(Last {
            outcome: Outcome::Stray,
            lag_ms: None,
        }),
        lags_ms: Some(vec![f64::NAN, 1e9, -1e9]),
        warning: Some("a very long warning ".repeat(40)),
        ..view()
    });
    others.push(DrillView {
        help: Some(vec![("p".into(), "Pause.".repeat(30))]),
        ..view()
    });
    others.push(DrillView {
        last: Some(Last {
            outcome: Outcome::Late,
            lag_ms: Some(1e300),
        }),
        lags_ms: None,
        title: "Ü".repeat(400),
        progress: "é".repeat(400),
        counts: Vec::new(),
        ..view()
    });
    let sizes = |most: u16| (0..=most).filter(move |n| *n < 30 || n % 27 == 0 || *n == most);
    for view in &others {
        for columns in sizes(300) {
            for rows in sizes(100) {
                drawn(view, look(Colours::Dark, Glyphs::Unicode), columns, rows);
            }
        }
    }
}

/// The picture in the README is the program's own, not a drawing of it.
#[test]
fn the_readme_shows_the_screen_as_it_is() {
    let mut view = view();
    view.warning = None;
    let look = look(Colours::None, Glyphs::Unicode);
    let picture = text(&drawn(&view, look, 80, 24));
    let readme = include_str!("../../../README.md");
    assert!(
        readme.contains(&format!("```text\n{picture}```")),
        "README.md is to show:\n{picture}"
    );
}
