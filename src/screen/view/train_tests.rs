use ratatui::Terminal;
use ratatui::backend::TestBackend;

use super::*;
use crate::page::Glyphs;
use crate::screen::theme::Colours;
use crate::timeline::Outcome;

fn view() -> TrainView {
    let keys = [
        ("space", "reached"),
        ("t", "treat"),
        ("c", "cue"),
        ("p", "break"),
        ("e", "end"),
    ];
    TrainView {
        title: "Juniper: target, step 2".into(),
        clock: "2:31 of 5:00".into(),
        last: Some(Last {
            outcome: Outcome::OnTime,
            lag_ms: Some(180.4),
        }),
        earns: "nose within a hand of the ball on the stick".into(),
        tries: "+ + ~ + + - + + + +   8 of 10 reached".into(),
        pace: "6.0 marks a minute now, 5.1 in all".into(),
        treats: "Treats left: 23 of 40".into(),
        times: "Answer 2.1 s   treat gap 1.2 s".into(),
        level: "Sound -48 dB; mark \"blue\" 12 s ago, -12 dB: good".into(),
        told: "Treat noted.".into(),
        warning: Some("Near your limit. End on something that goes well.".into()),
        keys: keys.map(|(k, w)| (k.into(), w.into())).to_vec(),
        ..TrainView::default()
    }
}

fn text(view: &TrainView, columns: u16, rows: u16) -> String {
    let look = Look {
        colours: Colours::None,
        signs: Glyphs::Ascii,
    };
    let mut terminal = Terminal::new(TestBackend::new(columns, rows)).unwrap();
    terminal.draw(|frame| draw(view, look, frame)).unwrap();
    let buffer = terminal.backend().buffer();
    (0..rows)
        .map(|y| {
            let row: String = (0..columns).map(|x| buffer[(x, y)].symbol()).collect();
            format!("{}\n", row.trim_end())
        })
        .collect()
}

#[test]
fn everything_has_its_place_at_80_by_24() {
    let text = text(&view(), 80, 24);
    for words in [
        "Juniper: target, step 2",
        "2:31 of 5:00",
        "nose within a hand",
        "180 ms late: on time",
        "+ + ~ + + - + + + +",
        "6.0 marks a minute now, 5.1 in all",
        "Treats left: 23 of 40",
        "Answer 2.1 s",
        "! Near your limit.",
        "Treat noted.",
        "Sound -48 dB; mark \"blue\" 12 s ago, -12 dB: good",
        "space reached",
        "######",
    ] {
        assert!(text.contains(words), "{words}\n{text}");
    }
    assert!(!text.contains("No room"), "{text}");
}

#[test]
fn what_matters_most_stays_when_room_is_short_and_the_rest_is_named() {
    let small = text(&view(), 40, 8);
    for words in [
        "2:31 of 5:00",
        "! Near your limit.",
        "+ + ~",
        "6.0 marks a minute now",
        "No room",
    ] {
        assert!(small.contains(words), "{words}\n{small}");
    }
    for (columns, rows) in [(1, 1), (3, 2), (20, 3), (200, 60), (80, 1)] {
        text(&view(), columns, rows);
    }
    assert!(text(&view(), 30, 2).contains("2:31"));
}

#[test]
fn keys_are_shown_whole_or_not_at_all() {
    let narrow = text(&view(), 30, 24);
    assert!(narrow.contains("space reached   t treat\n"), "{narrow}");
}

/// Nothing but the warning's own line changes when a warning comes.
#[test]
fn a_warning_moves_nothing() {
    let with = text(&view(), 80, 24);
    let without = text(
        &TrainView {
            warning: None,
            ..view()
        },
        80,
        24,
    );
    let changed = with
        .lines()
        .zip(without.lines())
        .filter(|(a, b)| a != b)
        .count();
    assert_eq!(changed, 1, "{with}{without}");
}

#[test]
fn help_and_numbers_take_the_screen() {
    let help = TrainView {
        help: Some(vec![("t".into(), "A treat was given.".into())]),
        ..view()
    };
    assert!(text(&help, 60, 10).contains("t  A treat was given."));
    let numbers = TrainView {
        numbers: Some(vec!["limit: 271 s of 300 s".into()]),
        ..view()
    };
    let numbers = text(&numbers, 60, 10);
    for words in [
        "The numbers behind it, at 2:31 of 5:00",
        "limit: 271 s of 300 s",
    ] {
        assert!(numbers.contains(words), "{numbers}");
    }
}

#[test]
fn the_list_shows_what_is_picked_and_what_is_set_aside() {
    let row = |k: usize| ListRow {
        at: format!("1:{:02}", 59 - k),
        what: format!("event {k}"),
        is_aside: k == 30,
    };
    let with = |picked: usize, n: usize| TrainView {
        list: Some(ListView {
            rows: (0..n).map(row).collect(),
            picked,
            keys: vec![("u".into(), "set aside".into())],
        }),
        ..view()
    };
    let text_of = |picked, rows| text(&with(picked, 50), 60, rows);
    let top = text_of(0, 24);
    assert!(top.contains(">   1:59  event 0\n"), "{top}");
    assert!(
        top.contains("2:31 of 5:00") && top.contains("Treat noted.") && top.contains("u set aside"),
        "{top}"
    );
    let deep = text_of(30, 24);
    assert!(deep.contains(">   1:29  event 30   set aside"), "{deep}");
    assert!(text_of(49, 8).contains("event 49"));
    assert!(text(&with(0, 0), 60, 10).contains("Nothing yet."));
    for (columns, rows) in [(1, 1), (3, 2), (20, 3)] {
        text(&with(3, 50), columns, rows);
    }
}

#[test]
fn the_corrected_lag_stands_below_the_lag() {
    let corrected = TrainView {
        corrected: "Corrected for who presses: 60 ms late ± 41 ms".into(),
        ..view()
    };
    assert!(text(&corrected, 80, 24).contains("60 ms late ± 41 ms"));
}
