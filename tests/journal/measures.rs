//! The views' simple measures, against counts and means done by hand.

use marklag::journal::{BoutEvent, BoutKind, Journal, JournalError, SetAside};

use crate::scene;

#[test]
fn counts_and_means_of_a_review() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let mut review = scene::review();
    // Lags of +42 and -130 ms: mean -44, mean without signs 86.
    review.pairs[1].lag_ms = Some(-130.0);
    review.pairs[1].outcome = marklag::timeline::Outcome::Early;
    let id = journal.keep_review(&review).unwrap();
    let row = journal.row(&id).unwrap();
    let counts = (
        row.moments,
        row.lags,
        row.on_time,
        row.early,
        row.late,
        row.missed,
        row.stray,
    );
    assert_eq!(counts, (3, 2, 1, 1, 0, 1, 1));
    assert_eq!(row.mean_lag_ms, Some(-44.0));
    assert_eq!(row.mean_abs_lag_ms, Some(86.0));
    assert_eq!(row.person.as_deref(), Some("Ada"));
}

#[test]
fn no_lags_have_no_mean() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let mut review = scene::review();
    review.pairs.clear();
    let id = journal.keep_review(&review).unwrap();
    let row = journal.row(&id).unwrap();
    assert_eq!((row.moments, row.lags, row.missed, row.stray), (0, 0, 0, 0));
    assert_eq!((row.mean_lag_ms, row.mean_abs_lag_ms), (None, None));
}

#[test]
fn what_is_set_aside_counts_no_longer_and_can_come_back() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let review = scene::review();
    let id = journal.begin_bout(&scene::bout(BoutKind::Drill)).unwrap();
    let mut events: Vec<BoutEvent> = Vec::new();
    events.extend(review.sounds.into_iter().map(BoutEvent::Sound)); // 1 to 3
    events.extend(review.moments.into_iter().map(BoutEvent::Moment)); // 4 to 6
    let pairs = review.pairs.iter().map(|pair| scene::in_rows(pair, 1, 4));
    events.extend(pairs.map(BoutEvent::Pair)); // 7 to 10
    journal.append_events(&id, &events).unwrap();
    let mut after = |target_seq, is_aside| {
        let change = SetAside {
            target_seq,
            is_aside,
            reason: String::new(),
        };
        journal
            .append_event(&id, &BoutEvent::SetAside(change))
            .unwrap();
        let row = journal.row(&id).unwrap();
        (row.moments, row.lags, row.missed, row.stray)
    };
    assert_eq!(after(8, true), (2, 1, 1, 1), "the late pair itself");
    assert_eq!(after(6, true), (1, 1, 0, 1), "the moment that was missed");
    assert_eq!(after(3, true), (1, 1, 0, 0), "the mark that was a stray");
    assert_eq!(after(8, false), (2, 2, 0, 0), "the late pair is back");
    assert_eq!(after(8, true), (1, 1, 0, 0), "and out again");
    let nothing = SetAside {
        target_seq: 99,
        is_aside: true,
        reason: String::new(),
    };
    let error = journal
        .append_event(&id, &BoutEvent::SetAside(nothing))
        .unwrap_err();
    assert!(matches!(error, JournalError::BadValue { .. }), "{error}");
}

#[test]
fn newest_first_and_found_by_the_beginning_of_an_id() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    assert!(matches!(
        journal.find("last"),
        Err(JournalError::NoLastBout)
    ));
    let mut ids = Vec::new();
    // Not in the order of keeping; fractions of a second that plain text would
    // put before the whole second.
    for start in [
        "2025-01-02T00:00:00.5Z",
        "2025-01-03T00:00:00Z",
        "2025-01-02T00:00:00Z",
    ] {
        let mut review = scene::review();
        review.bout.started_at = start.parse().unwrap();
        ids.push(journal.keep_review(&review).unwrap());
    }
    let listed: Vec<_> = journal
        .list(None)
        .unwrap()
        .into_iter()
        .map(|row| row.id)
        .collect();
    assert_eq!(listed, [ids[1].clone(), ids[0].clone(), ids[2].clone()]);
    assert_eq!(journal.list(Some(1)).unwrap()[0].id, ids[1]);
    assert_eq!(journal.find("last").unwrap(), ids[1]);
    for id in &ids {
        assert_eq!(journal.find(id.as_str()).unwrap(), *id);
        assert_eq!(journal.find(&id.short().to_uppercase()).unwrap(), *id);
    }
    for wanted in ["", "%", "_", "zz"] {
        let error = journal.find(wanted).unwrap_err();
        assert!(matches!(error, JournalError::NoSuchBout { .. }), "{error}");
    }
    // Sixteen first characters: seventeen bouts cannot all differ in it.
    for _ in 0..14 {
        journal.keep_review(&scene::review()).unwrap();
    }
    let ambiguous = (0..16).map(|digit| journal.find(&format!("{digit:x}")));
    let error = ambiguous
        .filter_map(Result::err)
        .find(|error| matches!(error, JournalError::Ambiguous { .. }));
    assert!(error.unwrap().to_string().contains("more than one"));
}
