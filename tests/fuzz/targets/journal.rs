//! A journal file of any bytes: refused or read, never spoilt when it is not ours.
#![no_main]

use libfuzzer_sys::fuzz_target;
use marklag::journal::Journal;

fuzz_target!(|bytes: &[u8]| {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("journal.sqlite");
    std::fs::write(&file, bytes).unwrap();
    match Journal::open(&file) {
        Ok(journal) => {
            let _ = journal.check();
            if let Ok(rows) = journal.list(None) {
                for row in rows {
                    let _ = journal.read_bout(&row.id);
                }
            }
            let mut out = Vec::new();
            let _ = journal.export_json_lines(None, &mut out);
        }
        Err(_) => {
            assert_eq!(std::fs::read(&file).unwrap(), bytes, "a refused file was changed");
        }
    }
});
