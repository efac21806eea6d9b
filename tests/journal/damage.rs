//! A damaged journal gives an error or what is still right; it never ends the
//! program.

use std::fs;

use marklag::journal::{BoutEvent, BoutKind, Journal, SetAside, Table};
use marklag::timeline::{MomentId, Outcome, Pair, SoundId};
use proptest::collection::vec;
use proptest::prelude::*;

use crate::scene;

fn whole() -> Vec<u8> {
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("journal.sqlite");
    let mut journal = Journal::open(&file).unwrap();
    for _ in 0..5 {
        journal.keep_review(&scene::review()).unwrap();
    }
    drop(journal);
    fs::read(file).unwrap()
}

/// Does everything there is to do with the file; all that matters is that each
/// call returns.
fn use_all_of(bytes: &[u8]) {
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("journal.sqlite");
    fs::write(&file, bytes).unwrap();
    let Ok(mut journal) = Journal::open(&file) else {
        return;
    };
    let _ = journal.check();
    for row in journal.list(None).unwrap_or_default() {
        let _ = journal.read_bout(&row.id);
    }
    let _ = journal.export_json_lines(None, &mut Vec::new());
    for table in Table::ALL {
        let _ = journal.export_csv(table, None, &mut Vec::new());
    }
    let _ = journal.unended();
    if let Ok(id) = journal.find("last") {
        let _ = journal.row(&id);
        let _ = journal.forget(&id);
    }
    let _ = journal.keep_review(&scene::review());
    let _ = journal.sweep();
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn changed_bytes_never_end_the_program(
        changes in vec((any::<prop::sample::Index>(), any::<u8>()), 1..40),
        in_header in vec((0..200usize, any::<u8>()), 0..2),
        cut in prop::option::of(any::<prop::sample::Index>()),
    ) {
        let mut bytes = whole();
        for (at, byte) in changes {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        for (at, byte) in in_header {
            bytes[at] = byte;
        }
        if let Some(cut) = cut {
            bytes.truncate(cut.index(bytes.len()));
        }
        use_all_of(&bytes);
    }

    #[test]
    fn any_bytes_never_end_the_program(bytes in vec(any::<u8>(), 0..2000), titled in any::<bool>()) {
        let mut all = Vec::new();
        if titled {
            all.extend_from_slice(&whole()[..100]);
        }
        all.extend_from_slice(&bytes);
        use_all_of(&all);
    }
}

#[test]
fn damage_is_called_damage() {
    let mut bytes = whole();
    // Everything after the first page: the tables' contents.
    for byte in &mut bytes[4096..] {
        *byte = 0xA5;
    }
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("journal.sqlite");
    fs::write(&file, &bytes).unwrap();
    let error = Journal::open(&file)
        .and_then(|journal| journal.list(None))
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("is damaged") && error.contains("Make a copy"),
        "{error}"
    );
}

/// A pair that was judged anew is set aside for the better one; its moment and mark are
/// no fault then. Counted twice, they are.
#[test]
fn a_pair_judged_anew_is_no_fault() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let id = journal.begin_bout(&scene::bout(BoutKind::Drill)).unwrap();
    let (moment, early, mark) = (scene::floor(10.0), scene::click(9.8), scene::click(10.03));
    let pair = |row: i64, mark_s: f64| {
        BoutEvent::Pair(Pair {
            moment: Some(MomentId(1)),
            mark: Some(SoundId(row)),
            moment_s: Some(moment.t_s),
            mark_s: Some(mark_s),
            lag_ms: Some(1e3 * (mark_s - moment.t_s)),
            outcome: Outcome::Early,
            u_ms: None,
        })
    };
    let events = [
        BoutEvent::Moment(moment.clone()),
        BoutEvent::Sound(early.clone()),
        BoutEvent::Sound(mark.clone()),
        pair(2, early.t_s),
        pair(3, mark.t_s),
    ];
    let first = journal.append_events(&id, &events).unwrap().start;
    let told = journal.check_all().unwrap();
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(
        told[0].what.ends_with("one moment is in two pairs"),
        "{told:?}"
    );
    let aside = BoutEvent::SetAside(SetAside {
        target_seq: first + 3,
        is_aside: true,
        reason: "judged anew".into(),
    });
    journal.append_events(&id, &[aside]).unwrap();
    assert_eq!(journal.check_all().unwrap(), []);
}
