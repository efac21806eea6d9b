//! Sessions that were cut off: found, told of, brought to their end.

use std::io::{self, BufRead, IsTerminal, Write};

use jiff::SignedDuration;

use super::report;
use crate::cli::columns;
use crate::journal::{BoutId, BoutKind, BoutRow, Journal, JournalError};
use crate::page::Glyphs;

/// Sessions that were begun and never ended.
pub(in crate::cli) fn unended(journal: &Journal) -> Result<Vec<BoutRow>, JournalError> {
    let ids = journal.unended()?;
    let rows: Result<Vec<BoutRow>, _> = ids.iter().map(|id| journal.row(id)).collect();
    let is_session = |row: &BoutRow| row.kind == BoutKind::Session;
    Ok(rows?.into_iter().filter(is_session).collect())
}

/// Sessions that were cut off are told of, and brought to their end if wanted.
pub(super) fn offer_unended(
    journal: &mut Journal,
    is_silent: bool,
    out: &mut dyn Write,
) -> anyhow::Result<()> {
    for row in unended(journal)? {
        let id = row.id.clone();
        let stored = journal.read_session(&id)?;
        let with = stored.animal.as_deref().unwrap_or("an animal");
        let when = crate::cli::journal::local(row.started_at, row.time_zone.as_deref());
        eprintln!(
            "Note: the session with {with} of {when} was never ended: it was cut off, or goes on in another window. All that was noted is kept."
        );
        if is_silent || !(io::stdin().is_terminal() && io::stderr().is_terminal()) {
            eprintln!(
                "To bring it to its end: marklag train --finish {}",
                id.short()
            );
            continue;
        }
        eprint!("Bring it to its end now? Type yes, or enter to leave it: ");
        io::stderr().flush()?;
        let mut answer = String::new();
        io::stdin().lock().read_line(&mut answer)?;
        if answer.trim().eq_ignore_ascii_case("yes") {
            finish(journal, &id, out)?;
        }
    }
    Ok(())
}

/// Ends a session that was cut off with its latest event.
pub(super) fn finish(
    journal: &mut Journal,
    id: &BoutId,
    out: &mut dyn Write,
) -> anyhow::Result<()> {
    let stored = journal.read_session(id)?;
    let length_s = stored.log.latest_s().max(0.0);
    let length = SignedDuration::try_from_secs_f64(length_s).unwrap_or_default();
    let ended_at = stored.bout.bout.started_at.checked_add(length)?;
    let measures = journal.end_session(id, ended_at, length_s)?;
    report(
        out,
        &stored.log,
        &stored.setup,
        &measures,
        Glyphs::Unicode,
        columns(),
    )?;
    writeln!(
        out,
        "\nEnded at its latest event and kept as {}.",
        id.short()
    )?;
    Ok(())
}
