//! `marklag check` on the project's own made-up sound.

use crate::run::{Place, Run, drill};

#[test]
fn a_recording_is_checked_and_its_json_holds_what_was_heard() {
    let place = Place::taught();
    let out = place
        .marklag(["check", "--fast", "--json", "--from"])
        .arg(drill())
        .run()
        .well();
    let report: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(report["format"], "marklag.check/1");
    assert_eq!(report["sample_rate_hz"], 48_000);
    assert_eq!(report["clickers"][0]["name"], "tilda");
    let heard = report["clickers"][0]["heard"].as_u64().unwrap() as usize;
    let scores = report["clickers"][0]["scores"].as_array().unwrap();
    assert!(heard > 0 && scores.len() == heard, "{out}");
    assert_eq!(report["clock"], serde_json::Value::Null);
    let verdict = &report["verdict"];
    assert_eq!(verdict["uses"][0]["trust"], "yes", "{verdict}");
    // The whole is the root of the sum of the squares of its parts, times a factor
    // between a box's 1.645 and the normal's 1.960; two boxes alike make 1.902.
    let parts = verdict["uses"][0]["parts"].as_array().unwrap();
    let sum: f64 = parts
        .iter()
        .map(|p| p["u_ms"].as_f64().unwrap().powi(2))
        .sum();
    let within = verdict["uses"][0]["within_ms"].as_f64().unwrap();
    let factor = within / sum.sqrt();
    assert!((1.89..1.96).contains(&factor), "{factor}");
}

#[test]
fn words_say_yes_and_what_it_is_made_of() {
    let place = Place::taught();
    let out = place
        .marklag(["check", "--fast", "--budget", "--from"])
        .arg(drill())
        .run()
        .well();
    for part in [
        "A click against a sound (a ball): yes, to ±",
        "way of the mark's sound",
        "tilda         heard",
        "A recording has no keys",
    ] {
        assert!(out.contains(part), "{part}: {out}");
    }
}

#[test]
fn with_nothing_taught_it_says_what_to_teach() {
    let out = Place::new()
        .marklag(["check", "--fast", "--from"])
        .arg(drill())
        .run()
        .well();
    assert!(
        out.contains("not known yet") && out.contains("marklag teach click NAME"),
        "{out}"
    );
}

#[test]
fn bad_usage_is_told() {
    let place = Place::new();
    place
        .marklag(["check", "--seconds", "0"])
        .run()
        .fails(2, &["1 to 3600"]);
    place
        .marklag(["check", "hands", "--fast", "--from"])
        .arg(drill())
        .run()
        .fails(2, &["--fast"]);
    place
        .marklag(["check", "hands", "--pedal", "Nobody's pedal"])
        .run()
        .fails(1, &["Nobody's pedal", "docs/pedal.md"]);
}
