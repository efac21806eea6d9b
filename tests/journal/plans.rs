//! Plans come back as they were kept; animals are renamed and forgotten while
//! their sessions stay.

use std::fs;

use marklag::journal::{Journal, Table};
use marklag::timeline::Plan;

use crate::sessions::{kept_session, setup};

const TARGET: &str = include_str!("../../fixtures/plans/target.toml");

fn target() -> Plan {
    Plan::parse(TARGET).unwrap()
}

#[test]
fn a_plan_comes_back_and_is_replaced_by_its_name() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let mut plan = target();
    journal.keep_plan(&plan).unwrap();
    assert_eq!(journal.plan(&plan.name).unwrap().unwrap(), plan);
    plan.length_min = 3.0;
    plan.behaviours[0].steps[1].earns = "nose close to the ball".into();
    plan.behaviours[0].on_cue = true;
    plan.practise.swap(0, 1);
    plan.behaviours.swap(0, 1);
    journal.keep_plan(&plan).unwrap();
    assert_eq!(journal.plan(&plan.name).unwrap().unwrap(), plan);
    let rows = journal.plans().unwrap();
    assert_eq!(rows.len(), 1);
    assert_eq!((rows[0].animal.as_str(), rows[0].sessions), ("Juniper", 0));
    let pairing = Plan::parse(include_str!("../../fixtures/plans/pairing.toml")).unwrap();
    journal.keep_plan(&pairing).unwrap();
    assert_eq!(journal.plan(&pairing.name).unwrap().unwrap(), pairing);
    assert!(journal.plan("nothing of the kind").unwrap().is_none());
    assert!(journal.forget_plan(&pairing.name).unwrap());
    assert!(!journal.forget_plan(&pairing.name).unwrap());
}

#[test]
fn a_step_keeps_its_id_and_is_not_taken_from_another_plan() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let ids = |journal: &Journal| {
        let mut text = Vec::new();
        journal.export_csv(Table::Step, None, &mut text).unwrap();
        let text = String::from_utf8(text).unwrap();
        let mut ids: Vec<String> = text.lines().skip(1).map(|l| l[..36].to_owned()).collect();
        ids.sort();
        ids
    };
    journal.keep_plan(&target()).unwrap();
    let before = ids(&journal);
    let mut other = target();
    other.name = "second week".into();
    other.behaviours[0].steps[0].earns = "turns to the stick".into();
    other.practise[0].step = Some(3);
    journal.keep_plan(&other).unwrap();
    assert_eq!(ids(&journal), before);
    let mut shorter = target();
    shorter.behaviours[0].steps.pop();
    let error = journal.keep_plan(&shorter).unwrap_err().to_string();
    assert!(
        error.contains("\"second week\" practises step 3"),
        "{error}"
    );
    assert_eq!(ids(&journal), before, "nothing was changed");
}

#[test]
fn plans_that_make_no_sense_are_not_kept() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let mut nameless = target();
    nameless.animal = String::new();
    let error = journal.keep_plan(&nameless).unwrap_err().to_string();
    assert!(error.contains("its animal"), "{error}");
    let mut wrong = target();
    wrong.practise[0].behaviour = Some("bow".into());
    let error = journal.keep_plan(&wrong).unwrap_err().to_string();
    assert!(error.contains("\"bow\""), "{error}");
    assert!(journal.plans().unwrap().is_empty());
}

#[test]
fn an_animal_is_renamed_and_its_sessions_go_with_it() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    journal.keep_plan(&target()).unwrap();
    let id = kept_session(&mut journal, &setup(), true);
    assert!(journal.rename_animal("Juniper", "June").unwrap());
    assert!(!journal.rename_animal("Juniper", "June").unwrap());
    let stored = journal.read_session(&id).unwrap();
    assert_eq!(stored.animal.as_deref(), Some("June"));
    assert_eq!(stored.plan.as_deref(), Some("target, first week"));
    assert_eq!(
        journal.plan("target, first week").unwrap().unwrap().animal,
        "June"
    );
    let mut other = target();
    other.name = "another".into();
    other.animal = "Clover".into();
    journal.keep_plan(&other).unwrap();
    let error = journal
        .rename_animal("Clover", "June")
        .unwrap_err()
        .to_string();
    assert!(error.contains("\"June\""), "{error}");
}

#[test]
fn an_animal_is_forgotten_to_its_bytes_and_its_sessions_stay() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let mut plan = target();
    plan.animal = "JuniperGoes".into();
    plan.name = "JuniperGoes target".into();
    journal.keep_plan(&plan).unwrap();
    let mut own = setup();
    own.plan = plan;
    let id = kept_session(&mut journal, &own, true);
    let before = journal.read_session(&id).unwrap();
    assert!(journal.forget_animal("JuniperGoes").unwrap());
    journal.sweep().unwrap();
    let stored = journal.read_session(&id).unwrap();
    assert_eq!((stored.animal, stored.plan), (None, None));
    assert_eq!(stored.measures, before.measures);
    assert_eq!(stored.log, before.log);
    assert!(journal.plans().unwrap().is_empty());
    for entry in fs::read_dir(scratch.path()).unwrap() {
        let bytes = fs::read(entry.unwrap().path()).unwrap();
        assert!(!bytes.windows(11).any(|w| w == b"JuniperGoes"));
    }
}

#[test]
fn people_stay_while_a_plan_needs_them() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    journal.keep_plan(&target()).unwrap();
    let id = kept_session(&mut journal, &setup(), true);
    let who = marklag::measure::observer::Observer {
        n: 20,
        bias_ms: 120.5,
        spread_ms: 30.25,
    };
    let at = |text: &str| text.parse::<jiff::Timestamp>().unwrap();
    let later = marklag::measure::observer::Observer { n: 30, ..who };
    journal
        .keep_observer("Ada", at("2025-03-01T06:00:00Z"), &later)
        .unwrap();
    journal
        .keep_observer("Ada", at("2025-02-01T06:00:00Z"), &who)
        .unwrap();
    assert_eq!(journal.observer("Ada").unwrap(), Some(later));
    assert_eq!(journal.observer("Ben").unwrap(), None);
    journal.forget(&id).unwrap();
    assert_eq!(journal.observer("Ada").unwrap(), Some(later));
    journal.forget_plan("target, first week").unwrap();
    assert_eq!(journal.observer("Ada").unwrap(), None);
}
