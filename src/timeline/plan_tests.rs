use super::*;

const TARGET: &str = include_str!("../../fixtures/plans/target.toml");
const PAIRING: &str = include_str!("../../fixtures/plans/pairing.toml");

#[test]
fn the_examples_are_plans_and_come_back_from_their_text() {
    for text in [TARGET, PAIRING] {
        let plan = Plan::parse(text).unwrap();
        assert_eq!(Plan::parse(&plan.to_toml()).unwrap(), plan);
    }
    let plan = Plan::parse(TARGET).unwrap();
    assert_eq!(plan.title(0), "target");
    assert_eq!(
        plan.earns(0, 2),
        "nose within a hand of the ball on the stick"
    );
    assert!(plan.behaviour_of(1).unwrap().on_cue);
    let pairing = Plan::parse(PAIRING).unwrap();
    assert!(pairing.is_pairing(0) && pairing.behaviour_of(0).is_none());
    Plan::free(5.0).check().unwrap();
}

/// Each mistake is made in an example that is right, and named.
#[test]
fn each_mistake_is_named() {
    for (from, to, words) in [
        ("length_min = 5 ", "length_min = 0 ", "length_min is 0"),
        ("length_min = 5 ", "length_min = nan ", "length_min is NaN"),
        ("length_min = 5 ", "length_min = 500 ", "at most 60"),
        (
            "again_after_min = 60",
            "again_after_min = -1",
            "again_after_min is -1",
        ),
        (
            "number = 2",
            "number = 3",
            "out of order: number 3 stands where 2 belongs",
        ),
        ("number = 1", "number = 0", "out of order: number 0"),
        (
            "behaviour = \"target\"",
            "behaviour = \"bow\"",
            "names the behaviour \"bow\"",
        ),
        (
            "step = 2",
            "step = 4",
            "step 4 of \"target\", which has steps 1 to 3",
        ),
        ("step = 2", "", "no step of it"),
        (
            "behaviour = \"target\"",
            "pairing = true",
            "names no behaviour and no step",
        ),
        ("behaviour = \"target\"", "", "needs a behaviour and a step"),
        ("name = \"mat\"", "name = \"target\"", "is there twice"),
        ("name = \"mat\"", "name = \"\"", "empty name"),
        (
            "earns = \"looks at the stick\"",
            "earns = \" \"",
            "does not say what earns",
        ),
        ("plan/1", "plan/9", "marklag.plan/9"),
        ("treats = 40", "treets = 40", "treets"),
        ("treats = 40", "treats = -1", "line 7"),
        (
            "name = \"target, first week\"",
            "name = \"a\\nb\"",
            "one line",
        ),
    ] {
        assert!(TARGET.contains(from), "{from}");
        let error = Plan::parse(&TARGET.replacen(from, to, 1))
            .unwrap_err()
            .to_string();
        assert!(error.contains(words), "{to:?}: {error}");
    }
    assert!(Plan::parse("").unwrap_err().to_string().contains("format"));
}
