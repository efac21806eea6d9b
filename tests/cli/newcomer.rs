//! The first use of each command, with nothing set up: it tells the next step.

use crate::run::{Place, Run, clicks, write_floats};

#[test]
fn every_first_use_tells_the_next_step() {
    let place = Place::new();
    place.file("drill.wav", std::fs::read(crate::run::drill()).unwrap());
    for (args, next) in [
        (&[][..], "marklag teach click NAME"),
        (&["bridges"], "marklag teach click NAME"),
        (&["teach", "click"], "marklag teach click blue"),
        (&["drop"], "marklag teach click NAME"),
        (&["train"], "marklag teach click NAME"),
        (&["plan"], "marklag plan new"),
        (&["plan", "new"], "marklag plan load FILE"),
        (&["review"], "marklag review drill.wav"),
        (&["review", "drill.wav"], "marklag teach click NAME"),
        (&["compare"], "marklag compare first-look.csv"),
        (&["progress"], "marklag drop"),
        (&["journal", "list"], "marklag drop"),
        (&["page"], "marklag page me.html"),
        (&["page", "me.html"], "marklag review drill.m4a --keep"),
    ] {
        let ran = place.marklag(args).run();
        let told = format!("{}{}", ran.out, ran.err);
        assert!(
            told.contains(next),
            "{args:?} does not name {next:?}: {ran:#?}"
        );
    }
}

#[test]
fn a_review_that_comes_to_nothing_tells_the_way_out() {
    let place = Place::taught();
    let silent = place.path("silent.wav");
    write_floats(&silent, 48_000, 1, &vec![0.0; 96_000]);
    let told = place.review(&silent, &[]).well();
    assert!(told.contains("nothing but silence"), "{told}");
    assert!(!told.contains("was not heard"), "{told}");
    // Clicks alone: what would give moments.
    let told = place.review(&clicks(), &[]).well();
    for way in [
        "--session --events",
        "--moments FILE",
        "--height",
        "hard floor",
    ] {
        assert!(told.contains(way), "{way}: {told}");
    }
    // A hum in which nobody clicks.
    let hum = place.path("hum.wav");
    let wave = |k: usize| 0.01 * (k as f32 * 0.02).sin();
    write_floats(&hum, 48_000, 1, &(0..96_000).map(wave).collect::<Vec<_>>());
    let told = place.review(&hum, &[]).well();
    assert!(told.contains("\"tilda\" was not heard."), "{told}");
    assert!(told.contains("marklag check"), "{told}");
}

#[test]
fn a_name_that_is_taught_again_is_told() {
    let place = Place::new();
    let teach = || {
        let mut run = place.marklag(["teach", "click", "tilda", "--from"]);
        run.arg(clicks()).run().well()
    };
    assert!(!teach().contains("replaces"));
    let told = teach();
    assert!(told.contains("It replaces the one taught on "), "{told}");
}
