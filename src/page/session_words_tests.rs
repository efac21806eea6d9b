use super::*;
use crate::journal::Settings;
use crate::page::{Glyphs, session_picture};
use crate::session::{Looking, measure};
use crate::timeline::session::{Happened, Log, SessionEvent};
use crate::timeline::{MomentSource, Plan, Sound, SoundKind};

fn setup() -> Setup {
    let plan = Plan::parse(include_str!("../../fixtures/plans/target.toml")).unwrap();
    Settings::default().session_setup(plan, None)
}

/// Ten tries, eight reached and marked 0.2 s late, one of them not paid.
fn log() -> Log {
    let mut log = Log::default();
    let mut number = 0;
    let mut add = |t_s: f64, what: Happened| {
        number += 1;
        log.apply(
            number,
            SessionEvent {
                t_s,
                u_ms: 3.0,
                source: MomentSource::Hand,
                what,
            },
        );
    };
    for k in 0..10 {
        let at = 10.0 * f64::from(k) + 2.0;
        if k % 5 == 4 {
            add(at, Happened::NearMiss);
            continue;
        }
        add(at, Happened::Reached);
        add(
            at + 0.2,
            Happened::Mark(Sound {
                t_s: at + 0.2,
                kind: SoundKind::Click,
                name: "blue".into(),
                confidence: 0.9,
                level_dbfs: -12.0,
            }),
        );
        if k != 3 {
            add(at + 2.0, Happened::Treat);
        }
    }
    log
}

#[test]
fn eight_of_ten_is_told_with_what_else_would_fit() {
    let setup = setup();
    let measures = measure(&log(), &setup, 100.0);
    let text = session_words(&measures, &setup).join("\n");
    for words in [
        "A session with Juniper: 1 min 40 s of 5 min at most.",
        "8 marks, 4.8 a minute",
        "7 treats of 40 set aside; 1 mark went unpaid.",
        "target, step 2: nose within a hand",
        "reached 8, near miss 2",
        "++++~++++~",
        "Reached 8 of 10 (49 to 94 % would fit): leans to asking for a little more. So few tries cannot tell well.",
    ] {
        assert!(text.contains(words), "{words}\n{text}");
    }
    assert!(!text.contains("NaN") && !text.contains("must"));
    let next = next_time(&measures, &setup).join("\n");
    for words in [
        "target: step 3 is worth a try.",
        "1 mark went unpaid",
        "again after 60 min",
    ] {
        assert!(next.contains(words), "{words}\n{next}");
    }
}

#[test]
fn nothing_is_said_of_what_was_not_noted() {
    let setup = setup();
    let text = session_words(&measure(&Log::default(), &setup, 30.0), &setup).join("\n");
    assert!(
        text.contains("no marks") && text.contains("nothing is said of pay"),
        "{text}"
    );
}

#[test]
fn the_picture_stays_in_its_width_and_shows_each_kind() {
    let setup = setup();
    let at = Looking::at(&log(), &setup, 100.0, true);
    for (width, glyphs) in [
        (80, Glyphs::Unicode),
        (40, Glyphs::Ascii),
        (10, Glyphs::Ascii),
        (120, Glyphs::Unicode),
    ] {
        let picture = session_picture(&at, 100.0, width, glyphs);
        assert!(
            picture.lines().all(|l| l.chars().count() <= width.max(40)),
            "{picture}"
        );
        let row = |name: &str, sign: char| {
            let line = picture.lines().find(|l| l.starts_with(name)).unwrap();
            line.chars().filter(|c| *c == sign).count()
        };
        assert_eq!(
            (row("reached", '+'), row("reached", '~')),
            (8, 2),
            "{picture}"
        );
        assert_eq!(
            (row("unpaid", '!'), row("treats", '.')),
            (1, 7),
            "{picture}"
        );
    }
    let empty = Looking::at(&Log::default(), &setup, 0.0, true);
    assert!(session_picture(&empty, 0.0, 60, Glyphs::Ascii).contains("0:00"));
}
