use super::*;

const TARGET: &str = include_str!("../../../fixtures/plans/target.toml");

fn typed(form: &mut Form, text: &str) {
    for sign in text.chars() {
        assert_eq!(form.take(FormKey::Sign(sign)), None);
    }
}

fn press(form: &mut Form, keys: &[FormKey]) {
    for key in keys {
        assert_eq!(form.take(*key), None, "{key:?}: {}", form.told());
    }
}

fn here(form: &Form) -> FormRow {
    form.rows().into_iter().find(|r| r.is_here).unwrap()
}

fn go_to(form: &mut Form, label: &str) {
    press(form, &[FormKey::PageUp; 8]);
    while here(form).label.trim() != label {
        let before = here(form);
        press(form, &[FormKey::Down]);
        assert_ne!(here(form), before, "no {label}");
    }
}

fn keep(form: &mut Form) -> Plan {
    go_to(form, "Keep this plan");
    match form.take(FormKey::Enter) {
        Some(Ending::Kept(plan)) => plan,
        other => panic!("{other:?}: {}", form.told()),
    }
}

/// What the file says, the form says; kept untouched it is the same plan.
#[test]
fn a_plan_goes_through_the_form_unchanged() {
    for text in [TARGET, include_str!("../../../fixtures/plans/pairing.toml")] {
        let plan = Plan::parse(text).unwrap();
        let mut form = Form::new(Some(&plan), &[]);
        assert_eq!(keep(&mut form), plan);
        assert_eq!(form.take(FormKey::Esc), Some(Ending::Left));
    }
}

#[test]
fn a_new_plan_is_typed() {
    use FormKey::{Down, Enter, Right};
    let mut form = Form::new(None, &["blue".to_owned(), "yes".to_owned()]);
    typed(&mut form, "bow");
    press(&mut form, &[Enter]);
    typed(&mut form, "Clover");
    press(&mut form, &[Down, Down, Right]);
    assert_eq!(here(&form).value, "blue");
    press(&mut form, &[Right, Right]);
    assert_eq!(here(&form).value, "any taught sound");
    press(&mut form, &[Right, Down]);
    press(&mut form, &[FormKey::Backspace]);
    typed(&mut form, "2,5");
    press(&mut form, &[Down]);
    typed(&mut form, "30");
    go_to(&mut form, "Behaviour");
    typed(&mut form, "bow");
    press(&mut form, &[Down]);
    typed(&mut form, "down");
    press(&mut form, &[Down, Right, Down]);
    typed(&mut form, "lowers its head");
    press(&mut form, &[Enter]);
    typed(&mut form, "one knee bends");
    // A step comes between, and the one below keeps its words.
    press(&mut form, &[FormKey::Up, Enter]);
    typed(&mut form, "head below the knee");
    go_to(&mut form, "Practise 1");
    press(&mut form, &[Right, Right, Right]);
    assert_eq!(here(&form).value, "bow, step 2: head below the knee");
    press(&mut form, &[Down, Enter]);
    assert_eq!(here(&form).value, "bow, step 1: lowers its head");
    press(&mut form, &[FormKey::Left]);
    assert_eq!(here(&form).value, "pairing the bridge with food");
    let plan = keep(&mut form);
    assert_eq!((plan.length_min, plan.treats), (2.5, Some(30)));
    assert_eq!(plan.bridge.as_deref(), Some("blue"));
    let bow = plan.behaviour("bow").unwrap();
    assert!(bow.on_cue && bow.cue == "down");
    let earns: Vec<&str> = bow.steps.iter().map(|s| s.earns.as_str()).collect();
    assert_eq!(
        earns,
        ["lowers its head", "head below the knee", "one knee bends"]
    );
    assert_eq!((plan.practise[0].step, plan.is_pairing(1)), (Some(2), true));
    Plan::parse(&plan.to_toml()).unwrap();
}

#[test]
fn steps_are_taken_away_and_what_is_practised_follows() {
    let plan = Plan::parse(TARGET).unwrap();
    let mut form = Form::new(Some(&plan), &[]);
    // The first step emptied: the second is the first now, and still practised.
    go_to(&mut form, "Step 1");
    press(&mut form, &[FormKey::Backspace; 30]);
    let fewer = keep(&mut form);
    assert_eq!(fewer.behaviours[0].steps.len(), 2);
    assert_eq!(fewer.practise[0].step, Some(1));
    assert_eq!(fewer.earns(0, 1), plan.earns(0, 2));
    // A backspace in an empty step takes its line away.
    go_to(&mut form, "Step 2");
    let lines = form.rows().len();
    press(&mut form, &[FormKey::Backspace; 80]);
    assert_eq!(form.rows().len(), lines - 1);
    // What was practised is gone: it says so and goes there.
    go_to(&mut form, "Keep this plan");
    assert_eq!(form.take(FormKey::Enter), None);
    assert!(
        form.told().contains("target is not practised"),
        "{}",
        form.told()
    );
    assert_eq!(here(&form).label, "+ another thing to practise");
}

#[test]
fn what_is_wrong_is_named_where_it_stands() {
    let plan = Plan::parse(TARGET).unwrap();
    for (label, text, words) in [
        ("Plan", "", "a name"),
        ("Animal", " ", "animal's name"),
        ("Minutes", "soon", "How many minutes"),
        ("Minutes", "0", "The limit is 0"),
        ("Minutes", "90", "at most 60"),
        ("Treats", "2.5", "whole number"),
        ("Again after", "x", "A number, or nothing"),
        ("Again after", "0", "The wait is 0"),
    ] {
        let mut form = Form::new(Some(&plan), &[]);
        go_to(&mut form, label);
        press(&mut form, &[FormKey::Home]);
        press(&mut form, &[FormKey::Delete; 80]);
        typed(&mut form, text);
        go_to(&mut form, "Keep this plan");
        assert_eq!(form.take(FormKey::Enter), None);
        assert!(form.told().contains(words), "{label}: {}", form.told());
        assert_eq!(here(&form).label, label);
        press(&mut form, &[FormKey::Right]);
        assert_eq!(form.told(), "");
    }
    let mut form = Form::new(None, &[]);
    typed(&mut form, "a");
    press(&mut form, &[FormKey::Down]);
    typed(&mut form, "b");
    go_to(&mut form, "Keep this plan");
    assert_eq!(form.take(FormKey::Enter), None);
    assert!(form.told().contains("Choose something"), "{}", form.told());
}

#[test]
fn leaving_asks_when_something_would_be_lost() {
    let mut form = Form::new(None, &[]);
    assert_eq!(form.take(FormKey::Esc), Some(Ending::Left));
    typed(&mut form, "a");
    assert_eq!(form.take(FormKey::Esc), None);
    assert!(form.told().contains("Leave without keeping?"));
    press(&mut form, &[FormKey::Sign('b')]);
    assert_eq!(here(&form).value, "ab", "any other key goes on");
    assert_eq!(form.take(FormKey::Esc), None);
    assert_eq!(form.take(FormKey::Esc), Some(Ending::Left));
}

proptest::proptest! {
    /// No keys break the form, and what it keeps is always a plan.
    #[test]
    fn any_keys_leave_it_whole(keys in proptest::collection::vec(0usize..20, 0..120)) {
        use FormKey::*;
        let all = [
            Sign('a'), Sign(' '), Sign('5'), Sign('é'), Enter, Enter, Down, Down, Up, PageDown,
            PageUp, Left, Right, Right, Home, End, Backspace, Backspace, Delete, Down,
        ];
        let plan = Plan::parse(TARGET).unwrap();
        let mut form = Form::new(Some(&plan), &["blue".to_owned()]);
        for key in keys {
            if let Some(Ending::Kept(plan)) = form.take(all[key]) {
                proptest::prop_assert!(plan.check().is_ok());
                proptest::prop_assert_eq!(Plan::parse(&plan.to_toml()).unwrap(), plan);
            }
            let rows = form.rows();
            proptest::prop_assert_eq!(rows.iter().filter(|r| r.is_here).count(), 1);
        }
    }
}
