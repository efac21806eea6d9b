//! The first use of each command, with nothing set up: it tells the next step.

use crate::run::{Place, Run};

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
