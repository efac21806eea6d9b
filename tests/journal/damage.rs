//! A damaged journal gives an error or what is still right; it never ends the
//! program.

use std::fs;

use marklag::journal::{Journal, Table};
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
