//! Plans: animals, what they are taught, and what a session is to practise.

use jiff::Timestamp;
use rusqlite::{Connection, OptionalExtension, params};

use super::error::JournalError;
use super::forget::drop_idle_people;
use super::insert::{Refused, person};
use super::open::Journal;
use super::read::maybe_instant_from;
use super::record::{BoutId, new_id};
use crate::timeline::Plan;
use crate::timeline::plan::{Behaviour, PLAN_FORMAT, Practise, Step};

/// A plan in a list.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanRow {
    /// The plan's name.
    pub name: String,
    /// The animal's name.
    pub animal: String,
    /// The length limit in minutes.
    pub length_min: f64,
    /// Sessions that followed it.
    pub sessions: u32,
    /// The latest of them, and when it began.
    pub latest: Option<(BoutId, Timestamp)>,
}

impl Journal {
    /// Keeps a plan under its name, in the place of one that has it already. Its
    /// animal and the animal's behaviours are made or brought up to date by
    /// their names.
    ///
    /// # Errors
    /// The plan makes no sense or names no animal, a step that another plan
    /// practises would be gone, or the file cannot be written.
    pub fn keep_plan(&mut self, plan: &Plan) -> Result<(), JournalError> {
        let bad = |what: String| JournalError::BadValue { what };
        plan.check().map_err(|error| bad(error.to_string()))?;
        for (what, text) in [("a name", &plan.name), ("its animal", &plan.animal)] {
            if text.trim().is_empty() {
                return Err(bad(format!("a plan that is kept needs {what}")));
            }
        }
        self.write(|tx| {
            let animal_key = animal(tx, &plan.animal)?;
            for one in &plan.behaviours {
                behaviour(tx, animal_key, one)?;
            }
            let person_key = match &plan.person {
                Some(name) => Some(person(tx, name)?),
                None => None,
            };
            let plan_key = plan_row(tx, plan, animal_key, person_key)?;
            for (number, one) in (1..).zip(&plan.practise) {
                item(tx, plan_key, animal_key, number, one)?;
            }
            no_step_is_gone(tx)
        })
    }

    /// The plan with this name.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn plan(&self, name: &str) -> Result<Option<Plan>, JournalError> {
        read_plan(&self.conn, name).map_err(|error| self.told(error))
    }

    /// All plans, by animal and name.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn plans(&self) -> Result<Vec<PlanRow>, JournalError> {
        let read = || -> rusqlite::Result<Vec<_>> {
            self.conn
                .prepare(
                    "SELECT p.name, a.name, p.length_min,
                            (SELECT count(*) FROM session AS s WHERE s.plan_key = p.plan_key),
                            b.id, b.started_at
                     FROM plan AS p JOIN animal AS a USING (animal_key)
                     LEFT JOIN bout AS b ON b.bout_key =
                         (SELECT s.bout_key FROM session AS s JOIN bout USING (bout_key)
                          WHERE s.plan_key = p.plan_key
                          ORDER BY started_at DESC, s.bout_key DESC LIMIT 1)
                     ORDER BY a.name, p.name, p.plan_key",
                )?
                .query_map([], |row| {
                    let id: Option<BoutId> = row.get(4)?;
                    let at = maybe_instant_from(row.get_ref(5)?)?;
                    Ok(PlanRow {
                        latest: id.zip(at),
                        name: row.get(0)?,
                        animal: row.get(1)?,
                        length_min: row.get(2)?,
                        sessions: row.get(3)?,
                    })
                })?
                .collect()
        };
        read().map_err(|error| self.told(error))
    }

    /// Takes a plan out; sessions that followed it stay. Whether there was one.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn forget_plan(&mut self, name: &str) -> Result<bool, JournalError> {
        self.write(|tx| {
            let gone = tx.execute("DELETE FROM plan WHERE name = ?1", [name])?;
            drop_idle_people(tx)?;
            Ok(gone > 0)
        })
    }

    /// Gives an animal another name. Whether there is one with the old name.
    ///
    /// # Errors
    /// The new name is empty or taken, or the file cannot be written.
    pub fn rename_animal(&mut self, old: &str, new: &str) -> Result<bool, JournalError> {
        self.write(|tx| {
            if animal_key(tx, old)?.is_none() {
                return Ok(false);
            }
            let is_taken = animal_key(tx, new)?.is_some();
            if new.trim().is_empty() || (is_taken && old != new) {
                return Err(Refused::Value(format!(
                    "{new:?} is empty or another animal's name"
                )));
            }
            let sql = "UPDATE animal SET name = ?2 WHERE name = ?1";
            tx.execute(sql, [old, new])?;
            Ok(true)
        })
    }

    /// Takes an animal out with its behaviours and plans; its sessions stay, with
    /// nobody's name. Whether there was one. [`Journal::sweep`] next, for the bytes.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn forget_animal(&mut self, name: &str) -> Result<bool, JournalError> {
        self.write(|tx| {
            let gone = tx.execute("DELETE FROM animal WHERE name = ?1", [name])?;
            drop_idle_people(tx)?;
            Ok(gone > 0)
        })
    }
}

pub(super) fn animal_key(conn: &Connection, name: &str) -> rusqlite::Result<Option<i64>> {
    conn.prepare_cached("SELECT min(animal_key) FROM animal WHERE name = ?1")?
        .query_row([name], |row| row.get(0))
}

pub(super) fn plan_key(conn: &Connection, name: &str) -> rusqlite::Result<Option<i64>> {
    conn.prepare_cached("SELECT min(plan_key) FROM plan WHERE name = ?1")?
        .query_row([name], |row| row.get(0))
}

/// The key of an animal, made when it is new.
pub(super) fn animal(conn: &Connection, name: &str) -> rusqlite::Result<i64> {
    if let Some(key) = animal_key(conn, name)? {
        return Ok(key);
    }
    conn.prepare_cached("INSERT INTO animal (id, name) VALUES (?1, ?2)")?
        .execute([&new_id(), name])?;
    Ok(conn.last_insert_rowid())
}

fn behaviour_key(conn: &Connection, animal: i64, name: &str) -> rusqlite::Result<Option<i64>> {
    conn.prepare_cached(
        "SELECT min(behaviour_key) FROM behaviour WHERE animal_key = ?1 AND name = ?2",
    )?
    .query_row(params![animal, name], |row| row.get(0))
}

fn behaviour(conn: &Connection, animal: i64, one: &Behaviour) -> rusqlite::Result<()> {
    let key = match behaviour_key(conn, animal, &one.name)? {
        Some(key) => {
            conn.execute(
                "UPDATE behaviour SET cue = ?2, is_on_cue = ?3 WHERE behaviour_key = ?1",
                params![key, one.cue, one.on_cue],
            )?;
            key
        }
        None => {
            conn.execute(
                "INSERT INTO behaviour (id, animal_key, name, cue, is_on_cue)
                 VALUES (?1, ?2, ?3, ?4, ?5)",
                params![new_id(), animal, one.name, one.cue, one.on_cue],
            )?;
            conn.last_insert_rowid()
        }
    };
    for step in &one.steps {
        // A step keeps its id when its sentence is put better.
        conn.prepare_cached(
            "INSERT INTO step (behaviour_key, number, id, earns) VALUES (?1, ?2, ?3, ?4)
             ON CONFLICT (behaviour_key, number) DO UPDATE SET earns = excluded.earns",
        )?
        .execute(params![key, step.number, new_id(), step.earns])?;
    }
    conn.execute(
        "DELETE FROM step WHERE behaviour_key = ?1 AND number > ?2",
        params![key, i64::try_from(one.steps.len()).unwrap_or(i64::MAX)],
    )?;
    Ok(())
}

fn plan_row(
    conn: &Connection,
    plan: &Plan,
    animal: i64,
    person: Option<i64>,
) -> rusqlite::Result<i64> {
    let known = plan_key(conn, &plan.name)?;
    let key = match known {
        Some(key) => key,
        None => {
            conn.execute(
                "INSERT INTO plan (id, name, animal_key, length_min) VALUES (?1, ?2, ?3, ?4)",
                params![new_id(), plan.name, animal, plan.length_min],
            )?;
            conn.last_insert_rowid()
        }
    };
    conn.execute(
        "UPDATE plan SET animal_key = ?2, person_key = ?3, bridge = ?4, length_min = ?5,
             treats = ?6, again_after_min = ?7
         WHERE plan_key = ?1",
        params![
            key,
            animal,
            person,
            plan.bridge,
            plan.length_min,
            plan.treats,
            plan.again_after_min
        ],
    )?;
    conn.execute("DELETE FROM plan_item WHERE plan_key = ?1", [key])?;
    Ok(key)
}

fn item(
    conn: &Connection,
    plan: i64,
    animal: i64,
    number: i64,
    one: &Practise,
) -> rusqlite::Result<()> {
    let behaviour = match &one.behaviour {
        Some(name) => behaviour_key(conn, animal, name)?,
        None => None,
    };
    conn.prepare_cached("INSERT INTO plan_item VALUES (?1, ?2, ?3, ?4)")?
        .execute(params![plan, number, behaviour, one.step])?;
    Ok(())
}

/// A plan that shortens a behaviour must not take a step away from another plan.
fn no_step_is_gone(conn: &Connection) -> Result<(), Refused> {
    let broken: Option<(String, u32, String)> = conn
        .prepare_cached(
            "SELECT p.name, i.step, b.name
             FROM plan_item AS i JOIN plan AS p USING (plan_key)
             JOIN behaviour AS b USING (behaviour_key)
             WHERE NOT EXISTS (SELECT 1 FROM step AS s
                 WHERE s.behaviour_key = i.behaviour_key AND s.number = i.step)
             LIMIT 1",
        )?
        .query_row([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
        .optional()?;
    match broken {
        None => Ok(()),
        Some((plan, step, behaviour)) => Err(Refused::Value(format!(
            "the plan {plan:?} practises step {step} of {behaviour:?}, which would be gone; change that plan first"
        ))),
    }
}

fn read_plan(conn: &Connection, name: &str) -> rusqlite::Result<Option<Plan>> {
    // One transaction, so that a program writing now is seen whole or not.
    let tx = conn.unchecked_transaction()?;
    let Some(key) = plan_key(&tx, name)? else {
        return Ok(None);
    };
    let mut plan = tx.query_row(
        "SELECT p.name, a.name, w.name, p.bridge, p.length_min, p.treats, p.again_after_min
         FROM plan AS p JOIN animal AS a USING (animal_key)
         LEFT JOIN person AS w USING (person_key) WHERE p.plan_key = ?1",
        [key],
        |row| {
            Ok(Plan {
                format: PLAN_FORMAT.to_owned(),
                name: row.get(0)?,
                animal: row.get(1)?,
                person: row.get(2)?,
                bridge: row.get(3)?,
                length_min: row.get(4)?,
                treats: row.get(5)?,
                again_after_min: row.get(6)?,
                behaviours: Vec::new(),
                practise: Vec::new(),
            })
        },
    )?;
    let mut keys: Vec<i64> = Vec::new();
    let mut items = tx.prepare(
        "SELECT i.behaviour_key, b.name, i.step FROM plan_item AS i
         LEFT JOIN behaviour AS b USING (behaviour_key)
         WHERE i.plan_key = ?1 ORDER BY i.number",
    )?;
    let mut rows = items.query([key])?;
    while let Some(row) = rows.next()? {
        let behaviour: Option<i64> = row.get(0)?;
        keys.extend(behaviour.filter(|key| !keys.contains(key)));
        plan.practise.push(Practise {
            pairing: behaviour.is_none(),
            behaviour: row.get(1)?,
            step: row.get(2)?,
        });
    }
    for key in keys {
        plan.behaviours.push(read_behaviour(&tx, key)?);
    }
    Ok(Some(plan))
}

fn read_behaviour(conn: &Connection, key: i64) -> rusqlite::Result<Behaviour> {
    let mut behaviour = conn.query_row(
        "SELECT name, cue, is_on_cue FROM behaviour WHERE behaviour_key = ?1",
        [key],
        |row| {
            Ok(Behaviour {
                name: row.get(0)?,
                cue: row.get(1)?,
                on_cue: row.get(2)?,
                steps: Vec::new(),
            })
        },
    )?;
    behaviour.steps = conn
        .prepare("SELECT number, earns FROM step WHERE behaviour_key = ?1 ORDER BY number")?
        .query_map([key], |row| {
            Ok(Step {
                number: row.get(0)?,
                earns: row.get(1)?,
            })
        })?
        .collect::<rusqlite::Result<_>>()?;
    Ok(behaviour)
}
