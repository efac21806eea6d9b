//! Every direct dependency is explained, with what it is for, in docs/dependencies.md,
//! and nothing is explained there that is not used.
#![allow(clippy::unwrap_used)]

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

fn read(name: &str) -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).unwrap()
}

/// Names in every table of dependencies, of all systems.
fn direct(manifest: &toml::Table, into: &mut BTreeSet<String>) {
    for kind in ["dependencies", "dev-dependencies", "build-dependencies"] {
        if let Some(table) = manifest.get(kind).and_then(toml::Value::as_table) {
            into.extend(table.keys().cloned());
        }
    }
    if let Some(targets) = manifest.get("target").and_then(toml::Value::as_table) {
        for table in targets.values().filter_map(toml::Value::as_table) {
            direct(table, into);
        }
    }
}

#[test]
fn every_direct_dependency_is_explained() {
    let manifest: toml::Table = toml::from_str(&read("Cargo.toml")).unwrap();
    let mut used = BTreeSet::new();
    direct(&manifest, &mut used);
    assert!(used.len() > 20, "{used:?}");
    let mut explained = BTreeSet::new();
    for line in read("docs/dependencies.md").lines() {
        let Some((name, why)) = line.strip_prefix("| `").and_then(|l| l.split_once("` | ")) else {
            continue;
        };
        assert!(
            why.trim_end_matches(['|', ' ']).len() > 15,
            "{name} is not explained: {line}"
        );
        assert!(
            explained.insert(name.to_owned()),
            "{name} is explained twice"
        );
    }
    assert_eq!(used, explained);
}
