//! A person as named on the line, held against those whom the journal knows.

use super::journal::plain;
use strsim::osa_distance;

use super::prose;
use crate::journal::{Journal, JournalError};

/// The name to keep under: as the journal has it, where there is one; what is to be
/// said of it is said.
pub(super) fn known(
    journal: Option<&Journal>,
    given: Option<&str>,
) -> Result<Option<String>, JournalError> {
    let (Some(journal), Some(given)) = (journal, given) else {
        return Ok(given.map(str::to_owned));
    };
    let (name, note) = named(journal, given)?;
    if let Some(note) = note {
        prose::aside(&format!("Note: {note}."));
    }
    Ok(Some(name))
}

/// The name to go on with, and what is to be said of it: that somebody is known under
/// another spelling of it, or that it is new and near to one who is known.
pub(super) fn named(
    journal: &Journal,
    given: &str,
) -> Result<(String, Option<String>), JournalError> {
    let given = given.trim();
    if let Some(known) = journal.person_known_as(given)? {
        let note = (known != given).then(|| {
            format!(
                "{:?} is taken for {}, who is in the journal already",
                given,
                plain(&known)
            )
        });
        return Ok((known, note));
    }
    let people = journal.people()?;
    let lower = given.to_lowercase();
    let near = people.iter().flatten().find(|known| {
        known.chars().count() > 2 && osa_distance(&lower, &known.to_lowercase()) == 1
    });
    let note = near.map(|known| {
        let known = plain(known);
        format!(
            "{given:?} is new in the journal; did you mean {known}? Then: marklag journal rename {given:?} {known:?}"
        )
    });
    Ok((given.to_owned(), note))
}

/// The people there are, for a line that must name one of them.
pub(super) fn listed(people: &[Option<String>]) -> String {
    let names: Vec<String> = people.iter().flatten().map(|name| plain(name)).collect();
    let nobody = people.contains(&None);
    match (names.is_empty(), nobody) {
        (true, false) => "nobody by name".to_owned(),
        (true, true) => "only bouts with nobody named (--nobody)".to_owned(),
        (false, false) => names.join(", "),
        (false, true) => format!(
            "{}, and bouts with nobody named (--nobody)",
            names.join(", ")
        ),
    }
}
