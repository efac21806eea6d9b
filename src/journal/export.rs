//! Everything in the journal as text that other programs read: JSON Lines with
//! a schema version, and CSV by table.

use std::io::{self, Write};

use rusqlite::types::ValueRef;
use rusqlite::{Connection, Row};
use serde::ser::{Error as _, SerializeMap};
use serde::{Serialize, Serializer};

use super::error::JournalError;
use super::migrate::version;
use super::open::Journal;
use super::record::BoutId;

/// The first line's `format`.
pub const EXPORT_FORMAT: &str = "marklag.journal/1";

/// The tables of an export, in an order in which each row comes after those it
/// names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Table {
    /// People.
    Person,
    /// Taught sounds as they were when used.
    Profile,
    /// Reviews, drills and sessions.
    Bout,
    /// Which bout listened for which profile.
    BoutProfile,
    /// Sounds heard.
    Sound,
    /// Moments.
    Moment,
    /// The pairing.
    Pair,
    /// Other events.
    Event,
    /// Notes and tags.
    Note,
    /// What was set aside.
    SetAside,
    /// Animals.
    Animal,
    /// What animals are taught.
    Behaviour,
    /// The steps of behaviours.
    Step,
    /// Plans.
    Plan,
    /// What plans practise.
    PlanItem,
    /// Which session followed which plan.
    Session,
    /// How people press a key.
    Observer,
}

/// The animal of the session `?1`.
const OF_ANIMAL: &str =
    "SELECT animal_key FROM session JOIN bout USING (bout_key) WHERE bout.id = ?1";

impl Table {
    /// All of them.
    pub const ALL: [Self; 17] = [
        Self::Person,
        Self::Profile,
        Self::Bout,
        Self::BoutProfile,
        Self::Sound,
        Self::Moment,
        Self::Pair,
        Self::Event,
        Self::Note,
        Self::SetAside,
        Self::Animal,
        Self::Behaviour,
        Self::Step,
        Self::Plan,
        Self::PlanItem,
        Self::Session,
        Self::Observer,
    ];

    /// The table's name, in the file and in an export.
    pub fn name(self) -> &'static str {
        match self {
            Self::Person => "person",
            Self::Profile => "profile",
            Self::Bout => "bout",
            Self::BoutProfile => "bout_profile",
            Self::Sound => "sound",
            Self::Moment => "moment",
            Self::Pair => "pair",
            Self::Event => "event",
            Self::Note => "note",
            Self::SetAside => "set_aside",
            Self::Animal => "animal",
            Self::Behaviour => "behaviour",
            Self::Step => "step",
            Self::Plan => "plan",
            Self::PlanItem => "plan_item",
            Self::Session => "session",
            Self::Observer => "observer",
        }
    }

    /// The rows to export. Keys that mean something in this file only are left
    /// out; ids stand in their place, and give the order. `?1` is a bout's id,
    /// or NULL for all.
    fn sql(self) -> String {
        let of_bout = |columns: &str| {
            let table = self.name();
            // CROSS JOIN keeps the order of the loops: one bout after the other.
            format!(
                "SELECT b.id AS bout_id, r.seq, {columns} FROM bout AS b
                 CROSS JOIN {table} AS r ON r.bout_key = b.bout_key
                 WHERE ?1 IS NULL OR b.id = ?1 ORDER BY b.id, r.seq"
            )
        };
        match self {
            Self::Person => "SELECT id, name FROM person AS p
                 WHERE ?1 IS NULL
                    OR person_key = (SELECT person_key FROM bout WHERE id = ?1)
                    OR person_key = (SELECT p.person_key FROM bout JOIN session USING (bout_key)
                                     JOIN plan AS p USING (plan_key) WHERE bout.id = ?1)
                 ORDER BY id"
                .to_owned(),
            Self::Profile => "SELECT name, sha256, profile_json FROM profile
                 WHERE ?1 IS NULL OR profile_key IN
                     (SELECT profile_key FROM bout_profile JOIN bout USING (bout_key)
                      WHERE id = ?1)
                 ORDER BY name, sha256"
                .to_owned(),
            Self::Bout => "SELECT b.id, b.kind, p.id AS person_id, b.started_at, b.ended_at,
                        b.time_zone, b.source, b.sound_file, b.sample_rate_hz, b.channels,
                        b.duration_s, b.program_version, b.settings_json
                 FROM bout AS b LEFT JOIN person AS p USING (person_key)
                 WHERE ?1 IS NULL OR b.id = ?1 ORDER BY b.id"
                .to_owned(),
            Self::BoutProfile => "SELECT b.id AS bout_id, p.name, p.sha256
                 FROM bout AS b JOIN bout_profile USING (bout_key)
                 JOIN profile AS p USING (profile_key)
                 WHERE ?1 IS NULL OR b.id = ?1 ORDER BY b.id, p.name, p.sha256"
                .to_owned(),
            Self::Sound => of_bout("r.t_s, r.kind, r.name, r.confidence, r.level_dbfs"),
            Self::Moment => of_bout("r.t_s, r.kind, r.source, r.label"),
            Self::Pair => of_bout(
                "r.outcome, r.moment_kind, r.moment_seq, r.mark_seq, r.moment_s, r.mark_s,
                 r.lag_ms, r.u_ms",
            ),
            Self::Event => of_bout("r.t_s, r.u_ms, r.kind, r.detail_json"),
            Self::Note => of_bout("r.t_s, r.kind, r.text"),
            Self::SetAside => of_bout("r.target_seq, r.is_aside, r.reason"),
            Self::Animal => format!(
                "SELECT id, name FROM animal WHERE ?1 IS NULL OR animal_key IN ({OF_ANIMAL})
                 ORDER BY id"
            ),
            Self::Behaviour => format!(
                "SELECT b.id, a.id AS animal_id, b.name, b.cue, b.is_on_cue
                 FROM behaviour AS b JOIN animal AS a USING (animal_key)
                 WHERE ?1 IS NULL OR b.animal_key IN ({OF_ANIMAL}) ORDER BY b.id"
            ),
            Self::Step => format!(
                "SELECT s.id, b.id AS behaviour_id, s.number, s.earns
                 FROM step AS s JOIN behaviour AS b USING (behaviour_key)
                 WHERE ?1 IS NULL OR b.animal_key IN ({OF_ANIMAL}) ORDER BY s.id"
            ),
            Self::Plan => "SELECT p.id, p.name, a.id AS animal_id, w.id AS person_id, p.bridge,
                        p.length_min, p.treats, p.again_after_min
                 FROM plan AS p JOIN animal AS a USING (animal_key)
                 LEFT JOIN person AS w USING (person_key)
                 WHERE ?1 IS NULL OR p.plan_key =
                     (SELECT plan_key FROM session JOIN bout USING (bout_key) WHERE id = ?1)
                 ORDER BY p.id"
                .to_owned(),
            Self::PlanItem => "SELECT p.id AS plan_id, i.number, b.id AS behaviour_id, i.step
                 FROM plan AS p JOIN plan_item AS i USING (plan_key)
                 LEFT JOIN behaviour AS b USING (behaviour_key)
                 WHERE ?1 IS NULL OR p.plan_key =
                     (SELECT plan_key FROM session JOIN bout USING (bout_key) WHERE id = ?1)
                 ORDER BY p.id, i.number"
                .to_owned(),
            Self::Session => "SELECT b.id AS bout_id, a.id AS animal_id, p.id AS plan_id
                 FROM session AS s JOIN bout AS b USING (bout_key)
                 LEFT JOIN animal AS a ON a.animal_key = s.animal_key
                 LEFT JOIN plan AS p ON p.plan_key = s.plan_key
                 WHERE ?1 IS NULL OR b.id = ?1 ORDER BY b.id"
                .to_owned(),
            Self::Observer => "SELECT o.id, p.id AS person_id, o.measured_at, o.n, o.bias_ms,
                        o.spread_ms
                 FROM observer AS o JOIN person AS p USING (person_key)
                 WHERE ?1 IS NULL
                    OR person_key = (SELECT person_key FROM bout WHERE id = ?1)
                 ORDER BY o.id"
                .to_owned(),
        }
    }
}

impl Journal {
    /// Writes all tables, or what belongs to one bout, as JSON Lines: first a
    /// line with the format and the schema's version, then one line a row, then
    /// a line that counts the rows, so that half a file is known for one. Gives
    /// the number of rows. Loses nothing.
    ///
    /// # Errors
    /// The file cannot be read, or `out` cannot be written.
    pub fn export_json_lines(
        &self,
        bout: Option<&BoutId>,
        out: &mut impl Write,
    ) -> Result<u64, JournalError> {
        // One transaction: the journal as it is at one instant.
        let tx = self
            .conn
            .unchecked_transaction()
            .map_err(|e| self.told(e))?;
        let journal_id: String = tx
            .query_row("SELECT journal_id FROM about", [], |row| row.get(0))
            .map_err(|error| self.told(error))?;
        let first = FirstLine {
            format: EXPORT_FORMAT,
            schema: version(&tx).map_err(|error| self.told(error))?,
            journal_id,
            program_version: env!("CARGO_PKG_VERSION"),
        };
        json_line(out, &first)?;
        let mut rows = 0;
        for table in Table::ALL {
            rows += self.each_row(&tx, table, bout, |names, row| {
                json_line(out, &JsonRow { table, names, row })
            })?;
        }
        json_line(out, &LastLine { end: true, rows })?;
        Ok(rows)
    }

    /// Writes one table as CSV with a header, whole or what belongs to one bout.
    /// Gives the number of rows. For spreadsheets and data-frame libraries: a
    /// missing value and an empty text look alike.
    ///
    /// # Errors
    /// The file cannot be read, or `out` cannot be written.
    pub fn export_csv(
        &self,
        table: Table,
        bout: Option<&BoutId>,
        out: &mut impl Write,
    ) -> Result<u64, JournalError> {
        let mut csv = csv::Writer::from_writer(out);
        let names = self
            .conn
            .prepare(&table.sql())
            .map(|statement| names_of(&statement))
            .map_err(|error| self.told(error))?;
        csv.write_record(&names).map_err(io::Error::from)?;
        let rows = self.each_row(&self.conn, table, bout, |names, row| {
            for column in 0..names.len() {
                let field = csv_field(row.get_ref(column).map_err(|e| self.told(e))?);
                csv.write_field(field).map_err(io::Error::from)?;
            }
            csv.write_record(None::<&[u8]>).map_err(io::Error::from)?;
            Ok(())
        })?;
        csv.flush()?;
        Ok(rows)
    }

    fn each_row(
        &self,
        conn: &Connection,
        table: Table,
        bout: Option<&BoutId>,
        mut give: impl FnMut(&[String], &Row<'_>) -> Result<(), JournalError>,
    ) -> Result<u64, JournalError> {
        let mut statement = conn.prepare(&table.sql()).map_err(|e| self.told(e))?;
        let names = names_of(&statement);
        let mut rows = statement.query([bout]).map_err(|e| self.told(e))?;
        let mut count = 0;
        while let Some(row) = rows.next().map_err(|e| self.told(e))? {
            give(&names, row)?;
            count += 1;
        }
        Ok(count)
    }
}

fn names_of(statement: &rusqlite::Statement<'_>) -> Vec<String> {
    let names = statement.column_names();
    names.into_iter().map(str::to_owned).collect()
}

#[derive(Serialize)]
struct FirstLine {
    format: &'static str,
    schema: usize,
    journal_id: String,
    program_version: &'static str,
}

#[derive(Serialize)]
struct LastLine {
    end: bool,
    rows: u64,
}

fn json_line(out: &mut impl Write, line: &impl Serialize) -> Result<(), JournalError> {
    serde_json::to_writer(&mut *out, line).map_err(io::Error::from)?;
    out.write_all(b"\n")?;
    Ok(())
}

/// A row with its columns in their order. JSON texts stay texts, so that they
/// keep every letter.
struct JsonRow<'a, 'b> {
    table: Table,
    names: &'a [String],
    row: &'a Row<'b>,
}

impl Serialize for JsonRow<'_, '_> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut map = to.serialize_map(Some(self.names.len() + 1))?;
        map.serialize_entry("table", self.table.name())?;
        for (column, name) in self.names.iter().enumerate() {
            match self.row.get_ref(column).map_err(S::Error::custom)? {
                ValueRef::Null => map.serialize_entry(name, &())?,
                ValueRef::Integer(number) => map.serialize_entry(name, &number)?,
                ValueRef::Real(number) => map.serialize_entry(name, &number)?,
                ValueRef::Text(text) => {
                    let text = std::str::from_utf8(text).map_err(S::Error::custom)?;
                    map.serialize_entry(name, text)?;
                }
                ValueRef::Blob(_) => {
                    return Err(S::Error::custom(format!(
                        "column {name} holds bytes; the journal is damaged"
                    )));
                }
            }
        }
        map.end()
    }
}

fn csv_field(value: ValueRef<'_>) -> Vec<u8> {
    match value {
        ValueRef::Null => Vec::new(),
        ValueRef::Integer(number) => number.to_string().into_bytes(),
        // The shortest text that reads back as the same number.
        ValueRef::Real(number) => format!("{number:?}").into_bytes(),
        ValueRef::Text(text) | ValueRef::Blob(text) => text.to_vec(),
    }
}
