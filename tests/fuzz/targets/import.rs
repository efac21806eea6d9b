//! An export (JSON Lines) taken into a journal that holds something: all of it or
//! nothing, and the journal stays whole either way.
#![no_main]

use libfuzzer_sys::fuzz_target;
use marklag::journal::Journal;

fuzz_target!(|bytes: &[u8]| {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("journal.sqlite");
    let mut journal = Journal::open(&file).unwrap();
    let before = journal.list(None).unwrap().len();
    match journal.import(bytes) {
        Ok(_) => {
            let mut out = Vec::new();
            journal.export_json_lines(None, &mut out).unwrap();
            // The same once more is nothing new.
            let again = journal.import(&out[..]).unwrap();
            assert!(again.added.iter().all(|(_, n)| *n == 0), "{again:?}");
        }
        Err(_) => assert_eq!(journal.list(None).unwrap().len(), before, "half was taken in"),
    }
    journal.check().unwrap();
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().filter(|f| {
        f.as_ref().unwrap().file_name().to_string_lossy().contains(".import")
    }).count(), 0, "the passing journal was left behind");
});
