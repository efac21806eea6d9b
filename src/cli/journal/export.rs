//! `marklag journal export`: as JSON Lines, or as one CSV file a table.

use std::fs;
use std::io::{BufWriter, Write};
use std::path::Path;

use anyhow::{Context, Result};

use crate::journal::{BoutId, Journal, Table};
use crate::system::files::{create_new_private_file, create_private_folder};

pub(super) fn to_file(
    journal: &Journal,
    id: Option<&BoutId>,
    path: &Path,
    out: &mut dyn Write,
) -> Result<()> {
    let rows = into_new_file(path, |file| Ok(journal.export_json_lines(id, file)?))?;
    writeln!(out, "{rows} rows written to {}", path.display())?;
    Ok(())
}

pub(super) fn to_csv(
    journal: &Journal,
    id: Option<&BoutId>,
    folder: &Path,
    out: &mut dyn Write,
) -> Result<()> {
    create_private_folder(folder)
        .with_context(|| format!("the folder {} cannot be made", folder.display()))?;
    for table in Table::ALL {
        let path = folder.join(format!("{}.csv", table.name()));
        let rows = into_new_file(&path, |file| Ok(journal.export_csv(table, id, file)?))?;
        writeln!(out, "{rows} rows written to {}", path.display())?;
    }
    Ok(())
}

/// Writes a file that must not be there yet, so that no journal, and no earlier
/// export, is ever written over. A file that cannot be finished is taken away.
fn into_new_file(
    path: &Path,
    write: impl FnOnce(&mut BufWriter<fs::File>) -> Result<u64>,
) -> Result<u64> {
    let file = create_new_private_file(path).with_context(|| {
        format!(
            "{} cannot be made; give the name of a new file",
            path.display()
        )
    })?;
    let mut file = BufWriter::new(file);
    let done = write(&mut file).and_then(|rows| {
        file.flush()?;
        file.get_ref().sync_all()?;
        Ok(rows)
    });
    if done.is_err() {
        // Half an export is of no use; the first error is the one to tell.
        let _ = fs::remove_file(path);
    }
    done.with_context(|| format!("{} was not written", path.display()))
}
