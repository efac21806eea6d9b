use ratatui::Terminal;
use ratatui::backend::TestBackend;

use super::*;
use crate::screen::theme::Colours;
use crate::timeline::Plan;
use crate::timeline::plan::form::{Form, FormKey};

fn view(form: &Form) -> FormView {
    FormView {
        title: "A plan".into(),
        rows: form.rows(),
        hint: form.hint().into(),
        told: form.told().into(),
        keys: vec![
            ("tab".into(), "next".into()),
            ("esc".into(), "leave".into()),
        ],
    }
}

fn text(form: &Form, columns: u16, rows: u16) -> String {
    let look = Look {
        colours: Colours::None,
        signs: Glyphs::Ascii,
    };
    let mut terminal = Terminal::new(TestBackend::new(columns, rows)).unwrap();
    let view = view(form);
    terminal.draw(|frame| draw(&view, look, frame)).unwrap();
    let buffer = terminal.backend().buffer();
    (0..rows)
        .map(|y| {
            let row: String = (0..columns).map(|x| buffer[(x, y)].symbol()).collect();
            format!("{}\n", row.trim_end())
        })
        .collect()
}

fn target() -> Form {
    let plan = Plan::parse(include_str!("../../../fixtures/plans/target.toml")).unwrap();
    Form::new(Some(&plan), &["tilda".to_owned()])
}

#[test]
fn a_whole_plan_is_seen_at_80_by_24() {
    let mut form = target();
    let top = text(&form, 80, 24);
    for words in [
        "> Plan         target, first week\n",
        "  Animal       Juniper\n",
        "  Bridge       any taught sound\n",
        "  Step 2     nose within a hand",
        "The plan's name.",
        "tab next   esc leave",
        "1 of 22",
    ] {
        assert!(top.contains(words), "{words}\n{top}");
    }
    assert!(!top.contains("No room"), "{top}");
    for _ in 0..30 {
        form.take(FormKey::Down);
    }
    let bottom = text(&form, 80, 24);
    assert!(bottom.contains("> Keep this plan"), "{bottom}");
    assert!(
        bottom.contains("Practise 2   mat, step 1: all four hooves"),
        "{bottom}"
    );
    assert!(bottom.contains("22 of 22"), "{bottom}");
}

#[test]
fn a_choice_shows_which_way_it_goes_and_a_long_text_its_cursor() {
    let mut form = target();
    for _ in 0..3 {
        form.take(FormKey::Down);
    }
    form.take(FormKey::Right);
    assert!(text(&form, 80, 24).contains("> Bridge       < tilda >"));
    for _ in 0..5 {
        form.take(FormKey::Up);
    }
    for sign in "and then the stick is held a little higher".chars() {
        form.take(FormKey::Sign(sign));
    }
    let narrow = text(&form, 40, 24);
    let row = narrow.lines().find(|l| l.starts_with("> Plan")).unwrap();
    assert!(
        row.ends_with("a little higher") && row.len() <= 40,
        "{narrow}"
    );
}

#[test]
fn no_size_is_too_small() {
    let mut form = target();
    for (columns, rows) in [(1, 1), (3, 2), (20, 3), (30, 6), (200, 60)] {
        text(&form, columns, rows);
    }
    assert!(text(&form, 40, 4).contains("> Plan"));
    form.take(FormKey::Sign('x'));
    form.take(FormKey::Esc);
    assert!(text(&form, 60, 20).contains("! Leave without keeping?"));
}
