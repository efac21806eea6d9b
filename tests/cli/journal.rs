//! Reviews that are kept.

use serde_json::Value;

use crate::run::{Place, Run, drill};

fn kept() -> Place {
    let place = Place::taught();
    let ran = place.review(&drill(), &["--keep", "--person", "Ada", "--aim", "-40..40"]);
    assert!(ran.err.starts_with("Kept in the journal as "), "{ran:?}");
    ran.well();
    place
}

#[test]
fn list_show_export_forget() {
    let place = kept();
    let list = place.marklag(["journal", "list"]).run().well();
    assert_eq!(list.lines().count(), 2, "{list}");
    assert!(list.contains("review") && list.contains("Ada"), "{list}");
    let id = list
        .lines()
        .nth(1)
        .unwrap()
        .split(' ')
        .next()
        .unwrap()
        .to_owned();

    let shown = place.marklag(["journal", "show", &id]).run().well();
    assert_eq!(shown, place.marklag(["journal", "show"]).run().well());
    assert!(shown.contains("bridges     tilda"), "{shown}");
    let review: Value = serde_json::from_str(
        &place
            .review(&drill(), &["--json", "--aim", "-40..40"])
            .well(),
    )
    .unwrap();
    let on_time = review["summary"]["on_time"]["count"].as_u64();
    let moments = format!("moments     6: {} on time", on_time.unwrap());
    assert!(shown.contains(&moments), "{moments} in {shown}");

    let export = place.marklag(["journal", "export"]).run().well();
    let rows: Vec<Value> = export
        .lines()
        .map(|l| serde_json::from_str(l).unwrap())
        .collect();
    assert!(rows.len() > 12, "{export}");
    let lags = |text: &str| {
        review["pairs"]
            .as_array()
            .unwrap()
            .iter()
            .all(|p| text.contains(&p["lag_ms"].to_string()))
    };
    assert!(lags(&export), "every lag, every digit: {export}");
    place
        .marklag(["journal", "export", "--out", "all.jsonl"])
        .run()
        .well();
    assert_eq!(
        std::fs::read_to_string(place.path("all.jsonl")).unwrap(),
        export
    );
    place
        .marklag(["journal", "export", "--out", "all.jsonl"])
        .run()
        .fails(1, &["all.jsonl", "new file"]);
    place
        .marklag(["journal", "export", "--csv", "tables"])
        .run()
        .well();
    assert!(std::fs::read_dir(place.path("tables")).unwrap().count() >= 3);

    let mut forget = place.marklag(["journal", "forget", &id]);
    let asked = forget.write_stdin("").run();
    assert_eq!(asked.code, Some(1));
    assert!(asked.err.contains("--yes"), "{asked:?}");
    place
        .marklag(["journal", "forget", &id, "--yes"])
        .run()
        .well();
    let list = place.marklag(["journal", "list"]).run().well();
    assert_eq!(list, "Nothing has been kept yet.\n");
}

#[test]
fn a_review_that_is_not_kept_makes_no_journal() {
    let place = Place::taught();
    place.review(&drill(), &[]).well();
    assert!(!place.home().join("journal.sqlite").exists());
    let list = place.marklag(["journal", "list"]).run().well();
    assert!(list.contains("Nothing has been kept yet"), "{list}");
}

#[test]
fn an_id_that_is_none() {
    let place = kept();
    place
        .marklag(["journal", "show", "zzzz"])
        .run()
        .fails(1, &["zzzz", "marklag journal list"]);
}

fn listed(place: &Place) -> usize {
    let list = place.marklag(["journal", "list"]).run().well();
    list.lines().count() - 1
}

#[test]
fn a_recording_is_kept_once_whatever_it_is_called() {
    let place = Place::taught();
    let mut live = place.marklag(["drop", "--fast", "--plain", "--keep", "--from"]);
    live.arg(drill()).run().well();
    assert_eq!(listed(&place), 1);
    let copy = place.file("another-name.wav", std::fs::read(drill()).unwrap());
    for file in [&drill(), &copy] {
        let ran = place.review(file, &["--keep"]);
        assert!(ran.err.contains("Already kept as "), "{ran:?}");
        assert!(ran.err.contains("--again keeps it once more"), "{ran:?}");
        ran.well();
    }
    assert_eq!(listed(&place), 1);
    let again = place.review(&copy, &["--keep", "--again"]);
    assert!(again.err.contains("Kept in the journal as "), "{again:?}");
    assert_eq!(listed(&place), 2);
    // Another moment of the ball is another measurement.
    place.review(&copy, &["--keep", "--mark", "top"]).well();
    assert_eq!(listed(&place), 3);
    // So are other told moments.
    for (name, n) in [("2.0", 4), ("2.1", 5), ("2.1", 5)] {
        let moments = place.file("moments.csv", format!("time\n{name}\n"));
        let mut run = place.marklag(["review", "another-name.wav", "--keep", "--moments"]);
        run.arg(moments).run().well();
        assert_eq!(listed(&place), n, "{name}");
    }
    place.review(&copy, &["--again"]).fails(2, &["--keep"]);
}

#[test]
fn a_session_is_kept_once() {
    let place = Place::taught();
    place.file("events.csv", "time,event,detail\n2,reached,\n3,treat,\n");
    let keep = |more: &[&str]| {
        let mut run = place.marklag(["review", "--session", "--events", "events.csv", "--keep"]);
        run.args(more).arg(drill()).run()
    };
    keep(&[]).well();
    let ran = keep(&[]);
    assert!(ran.err.contains("Already kept as "), "{ran:?}");
    assert_eq!(listed(&place), 1);
    keep(&["--again"]).well();
    assert_eq!(listed(&place), 2);
    place.file("events.csv", "time,event,detail\n2.2,reached,\n3,treat,\n");
    keep(&[]).well();
    assert_eq!(listed(&place), 3);
}

#[test]
fn a_person_is_one_however_the_name_is_written() {
    let place = Place::taught();
    let keep = |more: &[&str]| place.review(&drill(), &[&["--keep", "--again"], more].concat());
    keep(&["--person", "Tilda"]).well();
    let ran = keep(&["--person", " tilda "]);
    assert!(ran.err.contains("is taken for Tilda"), "{ran:?}");
    ran.well();
    let ran = keep(&["--person", "Tild"]);
    assert!(
        ran.err
            .contains("\"Tild\" is new in the journal; did you mean Tilda?"),
        "{ran:?}"
    );
    ran.well();
    keep(&[]).well();
    place
        .marklag(["page", "me.html"])
        .run()
        .fails(1, &["Tild, Tilda", "nobody named (--nobody)"]);
    let told = place.marklag(["progress", "--nobody"]).run().well();
    assert!(told.starts_with("Nobody named: "), "{told}");
    let told = place
        .marklag(["progress", "--person", "TILDA"])
        .run()
        .well();
    assert!(told.starts_with("Tilda: "), "{told}");
    assert!(told.contains("moments"), "{told}");

    // Two of one person become one, and nobody's are given.
    let told = place
        .marklag(["journal", "rename", "tild", "tilda"])
        .run()
        .well();
    assert!(told.contains("the two are one person"), "{told}");
    let told = place
        .marklag(["journal", "give", "--all-nobodys", "--person", "tilda"])
        .run()
        .well();
    assert!(told.contains("Tilda's now"), "{told}");
    place
        .marklag(["progress", "--nobody"])
        .run()
        .fails(1, &["every bout has somebody's name", "Tilda"]);
    let list = place.marklag(["journal", "list"]).run().well();
    assert_eq!(list.matches("Tilda,").count(), 4, "{list}");
    place
        .marklag(["journal", "give", "last", "--person", "Ada"])
        .run()
        .well();
    place
        .marklag(["journal", "rename", "Ada", "Ida"])
        .run()
        .well();
    let list = place.marklag(["journal", "list"]).run().well();
    assert_eq!(
        (list.matches("Tilda,").count(), list.matches("Ida,").count()),
        (3, 1)
    );
    place
        .marklag(["journal", "rename", "Ada", "Ode"])
        .run()
        .fails(1, &["Ada", "Ida, Tilda"]);
    place.marklag(["journal", "check"]).run().well();
    let written = place
        .marklag(["page", "me.html", "--person", "tilda"])
        .run()
        .well();
    assert_eq!(written, "Written: me.html. Open it in a browser.\n");
}
