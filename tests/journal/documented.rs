//! docs/journal.md names every table and view with every column.

use marklag::journal::Journal;
use rusqlite::Connection;

#[test]
fn every_column_is_documented() {
    let docs =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/docs/journal.md")).unwrap();
    let scratch = tempfile::tempdir().unwrap();
    let path = scratch.path().join("j");
    drop(Journal::open(&path).unwrap());
    let file = Connection::open(&path).unwrap();
    let names = |sql: &str, with: &[&str]| -> Vec<String> {
        let mut statement = file.prepare(sql).unwrap();
        let rows = statement
            .query_map(rusqlite::params_from_iter(with), |row| row.get(0))
            .unwrap();
        rows.map(Result::unwrap).collect()
    };
    let tables = names(
        "SELECT name FROM sqlite_schema WHERE type IN ('table', 'view')",
        &[],
    );
    assert_eq!(tables.len(), 23);
    for table in tables {
        let section = docs
            .split("\n### ")
            .find(|part| part.starts_with(&format!("`{table}`")));
        let section = section.unwrap_or_else(|| panic!("no section on {table}"));
        for column in names("SELECT name FROM pragma_table_info(?1)", &[&table]) {
            assert!(section.contains(&format!("`{column}`")), "{table}.{column}");
        }
    }
}
