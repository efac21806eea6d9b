//! A session is kept as it happens: nothing told is lost, an undo loses nothing,
//! and replaying what was kept gives the measures that were kept.

use std::io::Write;
use std::time::Instant;

use jiff::Timestamp;
use marklag::journal::{Bout, BoutId, BoutKind, Journal, SCHEMA_VERSION, Settings, settings_json};
use marklag::session::{Setup, measure};
use marklag::timeline::session::{Happened, Log, SessionEvent};
use marklag::timeline::{MomentSource, Plan, Sound, SoundKind};

use crate::{child, scene};

const KILLS: usize = 40;

pub fn setup() -> Setup {
    let plan = Plan::parse(include_str!("../../fixtures/plans/target.toml")).unwrap();
    Settings::default().session_setup(plan, None)
}

fn bout(setup: &Setup) -> Bout {
    Bout {
        settings_json: settings_json(setup).unwrap(),
        ..scene::bout(BoutKind::Session)
    }
}

/// Event `k` of a session that goes on and on, with odd numbers in it.
fn event(k: u32) -> SessionEvent {
    let t_s = f64::from(k) * 4.0 / 3.0;
    let what = match k % 9 {
        0 => Happened::Cue,
        1 | 5 => Happened::Reached,
        2 | 6 => Happened::Mark(Sound {
            t_s,
            kind: SoundKind::Click,
            name: "box".into(),
            confidence: 0.1 + 0.2,
            level_dbfs: -12.5,
        }),
        3 | 7 => Happened::Treat,
        4 => match k % 4 {
            0 => Happened::Turn { item: 1 },
            1 => Happened::Offer,
            2 => Happened::Step { number: 3 },
            _ => Happened::NearMiss,
        },
        _ => match k % 5 {
            0 => Happened::Gap {
                missing_ms: 1.0 / 3.0,
            },
            1 => Happened::ClockMoved { by_s: -3.5 },
            2 => Happened::Break,
            3 => Happened::Resume,
            _ => Happened::Note("Ziegenkäse, \"ja\"".into()),
        },
    };
    SessionEvent {
        t_s,
        u_ms: if matches!(what, Happened::Note(_)) {
            0.0
        } else {
            0.1 + f64::from(k % 7)
        },
        source: match what {
            Happened::Mark(_) => MomentSource::Sound,
            _ => MomentSource::Hand,
        },
        what,
    }
}

/// A session of 150 events, some undone and one of those taken back, ended or not.
pub fn kept_session(journal: &mut Journal, setup: &Setup, is_ended: bool) -> BoutId {
    let plan = &setup.plan;
    let id = journal
        .begin_session(&bout(setup), Some(&plan.animal), Some(&plan.name))
        .unwrap();
    let mut numbers = Vec::new();
    for k in 0..150 {
        numbers.push(journal.append_session_event(&id, &event(k)).unwrap());
    }
    for (k, is_aside) in [(2, true), (12, true), (14, true), (12, false)] {
        let undo = SessionEvent {
            t_s: 200.0,
            u_ms: 0.0,
            source: MomentSource::Hand,
            what: Happened::Aside {
                target: numbers[k],
                is_aside,
            },
        };
        journal.append_session_event(&id, &undo).unwrap();
    }
    if is_ended {
        let end: Timestamp = "2025-03-30T06:19:00Z".parse().unwrap();
        journal.end_session(&id, end, 210.0).unwrap();
    }
    id
}

#[test]
fn what_was_kept_comes_back_bit_for_bit() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let id = kept_session(&mut journal, &setup(), false);
    let stored = journal.read_session(&id).unwrap();
    let events: Vec<SessionEvent> = stored
        .log
        .entries()
        .iter()
        .map(|e| e.event.clone())
        .take(150)
        .collect();
    assert_eq!(events, (0..150).map(event).collect::<Vec<_>>());
    assert_eq!(
        stored.log.entries().iter().filter(|e| e.is_aside).count(),
        2
    );
    let mut without = setup();
    // Not kept: it is a plan of its own that is linked.
    without.plan.animal = stored.setup.plan.animal.clone();
    without.plan.name = stored.setup.plan.name.clone();
    without.plan.person = None;
    assert_eq!(stored.setup, without);
    assert_eq!(journal.unended().unwrap(), [id]);
}

/// The live log, the stored events and the stored measures say the same.
#[test]
fn replaying_gives_the_stored_measures() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let id = kept_session(&mut journal, &setup(), true);
    let stored = journal.read_session(&id).unwrap();
    let kept = stored.measures.clone().unwrap();
    // As JSON, in which the events' numbers in the log are not.
    let json = |measures| serde_json::to_value(measures).unwrap();
    let again = measure(&stored.log, &stored.setup, 210.0);
    assert_eq!(json(&again), json(&kept));
    assert!(kept.pairs.len() > 30 && kept.lags.is_some() && kept.steps.len() >= 2);
    assert!(journal.unended().unwrap().is_empty());
    // The view of the journal, in SQL, counts the same.
    let row = journal.row(&id).unwrap();
    let lags = kept.lags.unwrap();
    assert_eq!(row.moments as usize, lags.n_moments);
    assert_eq!(row.on_time as usize, lags.on_time.count);
    assert_eq!(row.stray as usize, lags.stray.count);
    // The same events taken in live, without the journal.
    let mut log = Log::default();
    for entry in stored.log.entries() {
        log.apply(entry.number, entry.event.clone());
    }
    assert_eq!(measure(&log, &setup(), 210.0).pairs, again.pairs);
}

#[test]
fn a_bout_that_is_no_session_is_named() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let id = journal.keep_review(&scene::review()).unwrap();
    let error = journal.read_session(&id).unwrap_err().to_string();
    assert!(error.contains("is no session"), "{error}");
}

#[test]
#[ignore = "a child process of the test below"]
fn a_session_until_killed() {
    let Some(file) = child::file_for("sessions::a_session_until_killed") else {
        return;
    };
    let mut journal = Journal::open(&file).unwrap();
    let id = journal
        .begin_session(&bout(&setup()), Some("Juniper"), None)
        .unwrap();
    println!("\nbegun {id}");
    for k in 0..150 {
        journal.append_session_event(&id, &event(k)).unwrap();
        println!("kept {k}");
        std::io::stdout().flush().unwrap();
    }
}

/// Killed at any instant, from before the journal is made to after the last of
/// 150 events, a session has all that was said to be kept and at most the event in
/// hand besides, is found, and can be brought to its end.
#[test]
fn a_killed_session_loses_at_most_the_event_in_hand() {
    let at_speed = {
        let scratch = tempfile::tempdir().unwrap();
        let begun = Instant::now();
        let mut child = child::command(
            "sessions::a_session_until_killed",
            &scratch.path().join("j"),
        );
        assert!(child.output().unwrap().status.success());
        begun.elapsed()
    };
    let mut chance = 0x2545_f491_4f6c_dd1du64;
    let (mut proved, mut acknowledged) = (0, 0);
    for _ in 0..KILLS {
        // Xorshift (Marsaglia 2003): the instants are spread over a whole run.
        chance ^= chance << 13;
        chance ^= chance >> 7;
        chance ^= chance << 17;
        let part = (chance >> 11) as f64 / (1u64 << 53) as f64;
        let scratch = tempfile::tempdir().unwrap();
        let file = scratch.path().join("j");
        let mut run = child::command("sessions::a_session_until_killed", &file)
            .spawn()
            .unwrap();
        std::thread::sleep(at_speed.mul_f64(part));
        run.kill().unwrap();
        let output = run.wait_with_output().unwrap();
        let text = String::from_utf8_lossy(&output.stdout);
        let said = |words: &str| {
            let whole = text.split_inclusive('\n').filter(|l| l.ends_with('\n'));
            whole.filter(|l| l.starts_with(words)).count()
        };
        let kept = said("kept ");
        if said("begun ") == 0 {
            continue;
        }
        let mut journal = Journal::open(&file).unwrap();
        journal.check().unwrap();
        let id = journal.unended().unwrap().remove(0);
        let stored = journal.read_session(&id).unwrap();
        let there = stored.log.entries();
        assert!(
            (kept..=kept + 1).contains(&there.len()),
            "{} of {kept}",
            there.len()
        );
        for (k, entry) in (0..).zip(there) {
            assert_eq!(entry.event, event(k));
        }
        let end_s = stored.log.latest_s();
        let measures = journal
            .end_session(&id, Timestamp::UNIX_EPOCH, end_s)
            .unwrap();
        assert_eq!(measures, measure(&stored.log, &stored.setup, end_s));
        assert!(journal.unended().unwrap().is_empty());
        proved += usize::from((1..150).contains(&kept));
        acknowledged += kept;
    }
    println!(
        "{KILLS} kills; {proved} met a session in its middle; {acknowledged} events said to be kept, none lost"
    );
    assert!(
        proved >= KILLS / 4,
        "only {proved} kills met a session in its middle"
    );
}

/// Two programs on one journal: each keeps its own session whole.
#[test]
fn two_programs_keep_two_sessions_at_once() {
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("j");
    let mut one = Journal::open(&file).unwrap();
    let mut two = Journal::open(&file).unwrap();
    let a = one
        .begin_session(&bout(&setup()), Some("Juniper"), None)
        .unwrap();
    let b = two
        .begin_session(&bout(&setup()), Some("Clover"), None)
        .unwrap();
    for k in 0..40 {
        one.append_session_event(&a, &event(k)).unwrap();
        two.append_session_event(&b, &event(k + 1)).unwrap();
    }
    one.end_session(&a, Timestamp::UNIX_EPOCH, 60.0).unwrap();
    let other = one.read_session(&b).unwrap();
    assert_eq!(other.log.entries().len(), 40);
    assert_eq!(other.animal.as_deref(), Some("Clover"));
    assert_eq!(one.unended().unwrap(), [b]);
}

/// A journal of the first schema is brought up to date and loses nothing.
#[test]
fn an_older_journal_is_brought_up_to_date() {
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("j");
    let old = rusqlite::Connection::open(&file).unwrap();
    old.execute_batch(include_str!("../../src/journal/migrations/0001_first.sql"))
        .unwrap();
    old.pragma_update(None, "application_id", marklag::journal::APPLICATION_ID)
        .unwrap();
    old.pragma_update(None, "user_version", 1).unwrap();
    old.execute_batch(
        "INSERT INTO person VALUES (1, '00000000-0000-4000-8000-000000000001', 'Ada');",
    )
    .unwrap();
    drop(old);
    let mut journal = Journal::open(&file).unwrap();
    kept_session(&mut journal, &setup(), true);
    let mut text = Vec::new();
    journal.export_json_lines(None, &mut text).unwrap();
    let text = String::from_utf8(text).unwrap();
    assert!(text.contains(&format!("\"schema\":{SCHEMA_VERSION}")));
    assert!(text.contains("00000000-0000-4000-8000-000000000001"));
}

/// What fails at its last step leaves nothing of itself: ended again, the session has
/// each of its pairs once.
#[test]
fn an_end_that_fails_leaves_nothing_to_be_counted_twice() {
    let scratch = tempfile::tempdir().unwrap();
    let path = scratch.path().join("j");
    let mut journal = Journal::open(&path).unwrap();
    let id = kept_session(&mut journal, &setup(), false);
    let other = rusqlite::Connection::open(&path).unwrap();
    other
        .execute_batch(
            "CREATE TRIGGER no_end BEFORE UPDATE OF ended_at ON bout
             BEGIN SELECT RAISE(ABORT, 'no room'); END",
        )
        .unwrap();
    let end: Timestamp = "2025-03-30T06:19:00Z".parse().unwrap();
    assert!(journal.end_session(&id, end, 210.0).is_err());
    assert_eq!(journal.unended().unwrap(), std::slice::from_ref(&id));
    other.execute_batch("DROP TRIGGER no_end").unwrap();
    let measures = journal.end_session(&id, end, 210.0).unwrap();
    assert!(!measures.pairs.is_empty());
    assert_eq!(
        journal.read_bout(&id).unwrap().pairs().count(),
        measures.pairs.len()
    );
}
