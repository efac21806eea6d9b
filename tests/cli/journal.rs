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
