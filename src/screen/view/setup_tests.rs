use ratatui::Terminal;
use ratatui::backend::TestBackend;

use super::*;
use crate::screen::theme::Colours;

fn level() -> Level {
    Level {
        peak_dbfs: -18.0,
        now_dbfs: -61.0,
        noise_dbfs: Some(-63.0),
        over_noise_db: Some(41.0),
    }
}

fn check() -> SetupView {
    let row = |n: &str, v: &str| (n.to_owned(), v.to_owned());
    SetupView {
        title: "Check of the set-up".into(),
        large: "GOOD".into(),
        status: "Click a few times, as far from the microphone as when you train.".into(),
        level: Some(level()),
        rows: vec![
            row("tilda", "heard 6 times, scores 0.97 to 1.00"),
            row("Clock", "+40.1 ±2.0 ppm, scatter 0.10 ms"),
            row("Blocks", "every 13.3 ms, longest 21 ms"),
            row("Microphone", "Desk, through ALSA, 48000 Hz"),
        ],
        warnings: vec![
            "How late the terminal keys are was never measured: marklag check hands.".into(),
        ],
        keys: vec![row("e", "end")],
    }
}

fn picture(view: &SetupView, width: u16, height: u16) -> String {
    let look = Look {
        colours: Colours::None,
        signs: Glyphs::Unicode,
    };
    let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
    terminal.draw(|frame| draw(view, look, frame)).unwrap();
    let buffer = terminal.backend().buffer();
    (0..height)
        .map(|y| {
            let row: String = (0..width).map(|x| buffer[(x, y)].symbol()).collect();
            row.trim_end().to_owned() + "\n"
        })
        .collect()
}

#[test]
fn the_check_at_three_sizes() {
    for (width, height) in [(200, 60), (80, 24), (40, 12)] {
        insta::assert_snapshot!(
            format!("check_{width}x{height}"),
            picture(&check(), width, height)
        );
    }
}

#[test]
fn the_lesson_at_three_sizes() {
    let view = SetupView {
        title: "Teaching \"tilda\"".into(),
        large: "7 OF 10".into(),
        status: "click 7/10: good, 41 dB over the room".into(),
        rows: vec![],
        warnings: vec![],
        ..check()
    };
    for (width, height) in [(200, 60), (80, 24), (40, 12)] {
        insta::assert_snapshot!(
            format!("lesson_{width}x{height}"),
            picture(&view, width, height)
        );
    }
}

#[test]
fn small_windows_keep_what_matters_and_none_panics() {
    for (width, height) in [(1, 1), (3, 2), (20, 5), (39, 3), (80, 7), (10, 40)] {
        picture(&check(), width, height);
    }
    let small = picture(&check(), 60, 6);
    assert!(
        small.contains("Click a few times") && small.contains("good"),
        "{small}"
    );
    assert!(small.contains("No room:"), "{small}");
}

/// By hand: −18 dB is 72/90 of 40 columns = 32; −63 dB is 27/90 = 12.
#[test]
fn the_bar_is_as_long_as_the_level() {
    let bar = bar(level(), 40, Glyphs::Ascii);
    assert_eq!(bar.chars().filter(|c| *c == '#').count(), 31);
    assert_eq!(bar.find('|'), Some(12));
    assert_eq!(bar.len(), 40);
}

#[test]
fn words_are_kept_whole() {
    assert_eq!(lines_of("one two three", 7), ["one two", "three"]);
    assert_eq!(lines_of("extraordinarily", 4), ["extraordinarily"]);
}
