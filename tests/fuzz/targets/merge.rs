//! Any file as the other journal of a merge: ours stays whole, and on an error
//! nothing of the other is in it.
#![no_main]

use libfuzzer_sys::fuzz_target;
use marklag::journal::Journal;

fuzz_target!(|bytes: &[u8]| {
    let folder = tempfile::tempdir().unwrap();
    let other = folder.path().join("other.sqlite");
    std::fs::write(&other, bytes).unwrap();
    let mut journal = Journal::open(&folder.path().join("journal.sqlite")).unwrap();
    if journal.merge(&other).is_err() {
        assert!(journal.list(None).unwrap().is_empty(), "half was taken in");
    }
    journal.check().unwrap();
    let mut out = Vec::new();
    journal.export_json_lines(None, &mut out).unwrap();
});
