//! Plans, sessions with an animal, and two people compared, from the command line.

use marklag::journal::{Bout, BoutKind, Journal, Settings, settings_json};
use marklag::session::SessionMeasures;
use marklag::sound::room::{Clicker, Colour, Room, Scene, farm, word};
use marklag::timeline::session::{Happened, SessionEvent};
use marklag::timeline::{MomentSource, Plan};

use crate::run::{Place, Run, drill, fixture};

const EVENTS: &str = "time,event,detail\n1.5,reached\n2.5,treat\n5.0,cue\n5.5,reached\n6.6,treat\n\
    9.5,reached\n11,treat\n13.4,near_miss\n15,turn,2\n17,cue\n17.6,reached\n\
    18.5,note,\"quick, and keen\"\n18.6,treat\n19,undo\n20,redo\n21,offer\n24,treat\n24.5,undo\n";

fn plan_file() -> String {
    fixture("plans/target.toml").display().to_string()
}

#[test]
fn a_plan_is_checked_kept_printed_and_forgotten() {
    let place = Place::new();
    let check = place
        .marklag(["plan", "--check", &plan_file()])
        .run()
        .well();
    assert!(
        check.contains("is a plan") && check.contains("nose within a hand"),
        "{check}"
    );
    let kept = place.marklag(["plan", "load", &plan_file()]).run().well();
    assert!(
        kept.contains("marklag train \"target, first week\""),
        "{kept}"
    );
    let list = place.marklag(["plan"]).run().well();
    assert!(
        list.contains("Juniper: target, first week, 5 min at most, 0 sessions"),
        "{list}"
    );
    let shown = place
        .marklag(["plan", "show", "target, first week"])
        .run()
        .well();
    let original = std::fs::read_to_string(plan_file()).unwrap();
    assert_eq!(
        Plan::parse(&shown).unwrap(),
        Plan::parse(&original).unwrap()
    );
    place
        .marklag(["plan", "rename-animal", "Juniper", "June"])
        .run()
        .well();
    assert!(place.marklag(["plan"]).run().well().contains("June:"));
    place
        .marklag(["plan", "forget-animal", "June", "--yes"])
        .run()
        .well();
    assert!(place.marklag(["plan"]).run().well().contains("No plan yet"));
}

#[test]
fn plans_and_events_that_are_wrong_are_named() {
    let place = Place::taught();
    let original = std::fs::read_to_string(plan_file()).unwrap();
    let wrong = place.file(
        "wrong.toml",
        original.replace("\"mat\"\nstep", "\"bow\"\nstep"),
    );
    place
        .marklag(["plan", "--check"])
        .arg(&wrong)
        .run()
        .fails(1, &["wrong.toml", "\"bow\"", "target, mat"]);
    place
        .marklag(["plan", "show", "no such"])
        .run()
        .fails(1, &["no such", "plan new"]);
    place
        .marklag(["train", "no such"])
        .run()
        .fails(1, &["no such", "marklag plan"]);
    place
        .marklag(["train", "--minutes", "0", "--from"])
        .arg(drill())
        .run()
        .fails(2, &["length_min is 0"]);
    let events = place.file("events.csv", "time,event\n1,clap\n");
    place
        .marklag(["train", "--fast", "--from"])
        .arg(drill())
        .arg("--events")
        .arg(&events)
        .run()
        .fails(1, &["events.csv", "line 2", "\"clap\""]);
    place
        .marklag(["plan", "forget", "no such"])
        .run()
        .fails(1, &["no plan called"]);
}

/// The same recording through the live path and through a review: the same
/// measures to the last digit, and the same again from the journal.
#[test]
fn live_and_reviewed_come_to_the_same() {
    let place = Place::taught();
    let events = place.file("events.csv", EVENTS);
    let plan = plan_file();
    let live = place
        .marklag(["train", &plan, "--fast", "--json", "--keep", "--from"])
        .arg(drill())
        .arg("--events")
        .arg(&events)
        .run();
    let live: SessionMeasures = serde_json::from_str(&live.well()).unwrap();
    let reviewed = place.review(
        &drill(),
        &[
            "--session",
            "--json",
            "--plan",
            &plan,
            "--events",
            events.to_str().unwrap(),
        ],
    );
    let reviewed: SessionMeasures = serde_json::from_str(&reviewed.well()).unwrap();
    assert_eq!(live, reviewed);
    // By hand from the drill's six marks: four moments, two marks stray, one of
    // them after an unasked offer; four treats that count.
    let lags = live.lags.as_ref().unwrap();
    assert_eq!((live.marks, lags.n_moments, lags.stray.count), (6, 4, 2));
    assert_eq!((live.treats, live.marks_on_offers), (Some(4), 1));
    let journal = Journal::open_existing(&place.home().join("journal.sqlite"))
        .unwrap()
        .unwrap();
    let stored = journal
        .read_session(&journal.find("last").unwrap())
        .unwrap();
    assert_eq!(stored.measures, Some(live));
    assert_eq!(stored.animal.as_deref(), Some("Juniper"));
}

#[test]
fn a_session_is_told_in_words_and_with_marks_alone() {
    let place = Place::taught();
    let told = place.review(&drill(), &["--session"]).well();
    for words in ["6 marks", "No treat was noted", "Next time", "marks    "] {
        assert!(told.contains(words), "{words}: {told}");
    }
    assert!(
        told.lines().all(|l| l.chars().count() <= 160) && !told.contains("NaN"),
        "{told}"
    );
    let lines = place
        .marklag(["train", "--plain", "--fast", "--minutes", "0.4", "--from"])
        .arg(drill())
        .run()
        .well();
    assert!(lines.contains("! Near your limit."), "{lines}");
    assert!(lines.contains("Past") || lines.contains("0:2"), "{lines}");
}

/// A session whose program was killed is told of at the next start, and brought
/// to its end with all that was kept.
#[test]
fn a_session_that_never_ended_is_found_and_finished() {
    let place = Place::taught();
    let plan = Plan::parse(&std::fs::read_to_string(plan_file()).unwrap()).unwrap();
    let setup = Settings::default().session_setup(plan, None);
    let bout = Bout {
        kind: BoutKind::Session,
        started_at: "2025-03-30T06:15:00Z".parse().unwrap(),
        time_zone: None,
        person: None,
        source: None,
        sound_file: None,
        sample_rate_hz: None,
        channels: None,
        duration_s: None,
        program_version: "0.1.0".into(),
        settings_json: settings_json(&setup).unwrap(),
        profiles: Vec::new(),
    };
    let mut journal = Journal::open(&place.home().join("journal.sqlite")).unwrap();
    let id = journal.begin_session(&bout, Some("Juniper"), None).unwrap();
    let treat = SessionEvent {
        t_s: 61.0,
        u_ms: 3.0,
        source: MomentSource::Hand,
        what: Happened::Treat,
    };
    journal.append_session_event(&id, &treat).unwrap();
    drop(journal);
    let run = place
        .marklag(["train", "--plain", "--fast", "--keep", "--from"])
        .arg(drill())
        .run();
    for words in [
        "with Juniper of 2025-03-30 06:15Z was never ended",
        "train --finish",
    ] {
        assert!(run.err.contains(words), "{run:#?}");
    }
    run.well();
    let finished = place
        .marklag(["train", "--finish", id.short()])
        .run()
        .well();
    assert!(
        finished.contains("A session with Juniper: 1 min 1 s"),
        "{finished}"
    );
    let again = place.marklag(["train", "--finish", id.short()]).run();
    assert_eq!(again.code, Some(1));
    assert!(again.err.contains("ended"), "{again:#?}");
}

/// By hand: three of four noted by both, B 0.1 s later each time.
#[test]
fn two_who_noted_the_same_session_are_compared() {
    let place = Place::new();
    let a = place.file(
        "a.csv",
        "time,event\n1,reached\n5,reached\n9,near_miss\n20,reached\n21,treat\n",
    );
    let b = place.file(
        "b.csv",
        "time,event\n1.1,reached\n5.1,near_miss\n9.1,near_miss\n21.3,treat\n22,cue\n",
    );
    let told = place.marklag(["compare"]).arg(&a).arg(&b).run().well();
    for words in [
        "3 of 4 (75 %) noted by both within 500 ms; A alone 1, B alone 0.",
        "2 of 3 (67 %) alike",
        "kappa 0.40",
        "A − B is -100 ms on average",
        "Treats:\n  Whether: 1 of 1 (100 %)",
        "Cues:\n  Whether: 0 of 1 (0 %) noted by both within 500 ms; A alone 0, B alone 1.",
        "a session of the journal has marks, and none was named",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
    place
        .marklag(["compare", "nothing", "at-all"])
        .run()
        .fails(1, &["nothing"]);
}

/// A second look at a recorded session, as an events file and as moments, against
/// the session in the journal. The truth is known by construction: the session
/// noted all six presses 0.2 s before; the second look five of them 0.25 s before,
/// one of those as a near miss.
#[test]
fn a_second_look_is_compared_with_a_session() {
    let place = Place::taught();
    let presses = farm::drill(7, 6).clicks;
    let presses: Vec<f64> = presses.iter().map(|c| c.press as f64 / 48_000.0).collect();
    let table = |name: &str, rows: Vec<(f64, &str)>| {
        let rows = rows.iter().map(|(t, word)| format!("{t:.4},{word}\n"));
        place.file(name, format!("time,event\n{}", rows.collect::<String>()))
    };
    let live = table(
        "live.csv",
        presses.iter().map(|t| (t - 0.2, "reached")).collect(),
    );
    place
        .review(
            &drill(),
            &["--session", "--keep", "--events", live.to_str().unwrap()],
        )
        .well();
    let calls = ["reached", "reached", "near_miss", "reached", "reached"];
    let look = presses.iter().zip(calls).map(|(t, call)| (t - 0.25, call));
    let look = table("look.csv", look.collect());
    let told = place.marklag(["compare", "last"]).arg(&look).run().well();
    for words in [
        "5 of 6 (83 %) noted by both",
        "both called 4 of 5 (80 %) alike",
        "A − B is +50 ms on average",
        // The near miss and the one that was not noted earn nothing.
        "Earned or stray: both say the same of 4 of 6 (67 %)",
        "to the same 4 marks: ICC(2,1)",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
    let moments: String = presses
        .iter()
        .map(|t| format!("{:.4}\n", t - 0.2))
        .collect();
    let moments = place.file("moments.csv", format!("time\n{moments}"));
    let told = place
        .marklag(["compare"])
        .arg(&moments)
        .arg("last")
        .run()
        .well();
    for words in [
        "What the animal did (reached its step):",
        "6 of 6 (100 %) noted by both",
        "A − B is +0 ms",
        "Earned or stray: both say the same of 6 of 6 (100 %)",
        "No kappa: it has no meaning where both call all marks alike",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
    assert!(!told.contains("near misses"), "{told}");
}

/// The kept sound and the kept events give the live measures again, and so does
/// what is kept of that.
#[test]
fn kept_sound_and_kept_events_give_the_live_measures() {
    let place = Place::taught();
    let events = place.file("events.csv", EVENTS);
    let live = place
        .marklag([
            "train",
            &plan_file(),
            "--fast",
            "--json",
            "--keep-sound",
            "--from",
        ])
        .arg(drill())
        .arg("--events")
        .arg(&events)
        .run();
    let live: SessionMeasures = serde_json::from_str(&live.well()).unwrap();
    let sounds = place.home().join("sounds");
    let sound = std::fs::read_dir(&sounds).unwrap().next().unwrap().unwrap();
    assert!(sound.file_name().to_str().unwrap().starts_with("session-"));
    let again = |keep: &[&str]| -> SessionMeasures {
        let mut options = vec!["--session", "--json", "--events", "last"];
        options.extend(keep);
        serde_json::from_str(&place.review(&sound.path(), &options).well()).unwrap()
    };
    // What is the same is not kept again, unless that is wanted.
    let kept = || {
        let journal = Journal::open_existing(&place.home().join("journal.sqlite"));
        journal.unwrap().unwrap().list(None).unwrap().len()
    };
    assert_eq!((again(&["--keep"]), kept()), (live.clone(), 1));
    assert_eq!((again(&["--keep", "--again"]), kept()), (live.clone(), 2));
    assert_eq!(again(&[]), live);
    place
        .review(&sound.path(), &["--session", "--events", "nothing"])
        .fails(1, &["\"nothing\" is neither a file nor a session"]);
    place
        .review(
            &sound.path(),
            &["--session", "--events", "last", "--plan", &plan_file()],
        )
        .fails(2, &["brings its plan"]);
}

/// Writes a made-up room as a WAV of 16 bits.
fn wav(place: &Place, name: &str, scene: &Scene) -> std::path::PathBuf {
    let path = place.path(name);
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: scene.rate_hz,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut file = hound::WavWriter::create(&path, spec).unwrap();
    for sample in &scene.samples {
        file.write_sample((sample * 32_767.0) as i16).unwrap();
    }
    file.finalize().unwrap();
    path
}

/// A cue that is spoken aloud, taught under the cue's name: each time it is heard
/// the animal is asked for that behaviour.
#[test]
fn a_spoken_cue_is_heard_in_a_recorded_session() {
    let place = Place::taught();
    let said = |room: &mut Room, at_s: f64, pace: f64| {
        let rate_hz = room.rate();
        room.add((at_s * rate_hz) as usize, &word(rate_hz, 5, pace), 0.3);
    };
    let mut lesson = Room::new(48_000, 10.0, 9);
    for k in 0..8 {
        let pace = 0.94 + 0.03 * f64::from(k % 5);
        said(&mut lesson, 0.8 + 1.1 * f64::from(k), pace);
    }
    lesson.noise(0.001, Colour::Pink);
    let lesson = wav(&place, "lesson.wav", &lesson.finish());
    place
        .marklag(["teach", "word", "place", "--from"])
        .arg(&lesson)
        .run()
        .well();
    let mut session = Room::new(48_000, 24.0, 11);
    let clicker = Clicker::from_seed(7);
    session.click(&clicker, 2.0, 0.35);
    for k in 0..3 {
        let at_s = 5.0 + 6.0 * f64::from(k);
        said(&mut session, at_s, 0.97 + 0.03 * f64::from(k));
        session.click(&clicker, at_s + 2.0, 0.35);
    }
    session.noise(0.001, Colour::Pink);
    let session = wav(&place, "session.wav", &session.finish());
    let reached = place.file(
        "events.csv",
        "time,event\n1.8,reached\n6.8,reached\n12.8,reached\n18.8,reached\n",
    );
    let told = place.review(
        &session,
        &[
            "--session",
            "--json",
            "--plan",
            &plan_file(),
            "--events",
            reached.to_str().unwrap(),
        ],
    );
    let told: SessionMeasures = serde_json::from_str(&told.well()).unwrap();
    assert_eq!(told.marks, 4);
    let steps: Vec<(&str, usize, usize)> = told
        .steps
        .iter()
        .map(|s| (s.behaviour.as_str(), s.asked, s.reached))
        .collect();
    assert_eq!(steps, [("target", 0, 1), ("mat", 3, 3)]);
    let answer_s = told.answer_s.unwrap();
    assert!((answer_s - 1.8).abs() < 0.03, "{answer_s}");
    let kept = place.marklag(["plan", "load", &plan_file()]).run().well();
    assert!(
        kept.contains("The cue \"place\" is heard when it is spoken"),
        "{kept}"
    );
}

/// The keys as they are set, and what is wrong with them.
#[test]
fn keys_and_pedals_are_told_and_checked() {
    let place = Place::new();
    let told = place.marklag(["train", "--keys"]).run().well();
    for words in [
        "space        It reached its step",
        "l            What happened",
        "docs/pedal.md",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
    std::fs::create_dir_all(place.home()).unwrap();
    let set = |text: &str| std::fs::write(place.home().join("settings.toml"), text).unwrap();
    set("[keys]\ntreat = \"enter f5\"\n[pedals.\"Three Pedals\"]\n30 = \"cue\"\nany = \"treat\"\n");
    let told = place.marklag(["train", "--keys"]).run().well();
    for words in [
        "enter f5     A treat was given.",
        "Three Pedals, key 30: The behaviour was asked for.",
        "Three Pedals, any other key: A treat was given.",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
    for (text, words) in [
        (
            "[pedals.Feet]\n30 = \"jump\"\n",
            "\"jump\" is nothing that a key can do",
        ),
        (
            "[pedals.Feet]\nleft = \"cue\"\n",
            "\"left\" is no key's code",
        ),
        ("[keys]\ncue = \"t\"\n", "are both \"t\""),
        ("[keys]\njump = \"t\"\n", "unknown field"),
    ] {
        set(text);
        place.marklag(["train", "--keys"]).run().fails(1, &[words]);
    }
}

/// One moment keyed for six marks: the five others are no strays, live and
/// reviewed alike, and it is said.
#[test]
fn marks_are_strays_only_where_moments_were_keyed_for_them() {
    let place = Place::taught();
    let first = farm::drill(7, 6).clicks[0].press as f64 / 48_000.0;
    let one = place.file(
        "one.csv",
        format!("time,event\n{:.3},reached\n", first - 0.2),
    );
    let live = place
        .marklag(["train", "--fast", "--json", "--from"])
        .arg(drill())
        .arg("--events")
        .arg(&one)
        .run();
    let live: SessionMeasures = serde_json::from_str(&live.well()).unwrap();
    let lags = live.lags.as_ref().unwrap();
    assert_eq!((live.marks, lags.n_moments, lags.stray.of), (6, 1, 0));
    assert_eq!((live.pairs.len(), live.steps[0].strays), (1, None));
    let session = ["--session", "--json", "--events", one.to_str().unwrap()];
    let reviewed = place.review(&drill(), &session).well();
    let reviewed: SessionMeasures = serde_json::from_str(&reviewed).unwrap();
    assert_eq!(reviewed.pairs, live.pairs);
    let told = place
        .review(&drill(), &["--session", "--events", one.to_str().unwrap()])
        .well();
    assert!(
        told.contains("so no mark is called stray") && !told.contains("stray 5"),
        "{told}"
    );
}

/// A moment that no mark came for is told in the lines, and what is not kept is
/// said not to be.
#[test]
fn a_missed_moment_is_told_and_so_is_that_nothing_is_kept() {
    let place = Place::taught();
    let first = farm::drill(7, 6).clicks[0].press as f64 / 48_000.0;
    let missed = place.file(
        "missed.csv",
        format!("time,event\n{:.3},reached\n", first - 5.0_f64.min(first)),
    );
    let train = |options: &[&str]| {
        let mut command = place.marklag(["train", "--plain", "--fast", "--from"]);
        command.arg(drill()).args(options);
        command.run().well()
    };
    let told = train(&["--events", missed.to_str().unwrap()]);
    assert!(
        told.contains("0:00  missed: no mark for that one."),
        "{told}"
    );
    assert!(
        told.contains("Not kept in the journal; --keep keeps it."),
        "{told}"
    );
    assert!(train(&["--no-keep"]).contains("\nNot kept.\n"));
    assert!(train(&["--keep"]).contains("Kept in the journal as"));
}

/// Another clicker than the one that was taught: it is asked about calmly, once,
/// and nothing is said of the animal.
#[test]
fn a_clicker_that_was_not_taught_is_asked_about() {
    let place = Place::new();
    let lesson = wav(&place, "lesson.wav", &farm::ten_clicks(3));
    place
        .marklag(["teach", "click", "blue", "--from"])
        .arg(&lesson)
        .run()
        .well();
    let words = "\"blue\" is not heard; other sounds are.";
    let mut room = Room::new(48_000, 60.0, 4);
    let other = Clicker::from_seed(7);
    for k in 0..9 {
        room.click(&other, 3.0 + 5.0 * f64::from(k), 0.35);
    }
    room.noise(0.001, Colour::Pink);
    let session = wav(&place, "session.wav", &room.finish());
    let train = |events: &str| {
        let events = place.file("events.csv", format!("time,event\n{events}"));
        let mut command = place.marklag(["train", "--plain", "--fast", "--from"]);
        command.arg(&session).arg("--events").arg(&events);
        command.run().well()
    };
    let told = train("2.8,reached\n7.8,reached\n");
    // As fast as it goes a line may stand some seconds of sound later.
    let at = |told: &str| {
        let line = told
            .lines()
            .find(|l| l.contains(words) && l.contains(" ! "));
        line.map(|l| l[..4].to_owned())
    };
    assert!(at(&told) >= Some("0:09".to_owned()), "{told}");
    assert!(
        told.contains("0:02  missed: no mark for that one."),
        "{told}"
    );
    assert!(!told.contains("Something easier"), "{told}");
    // In the lines and at the end.
    assert_eq!(told.matches(words).count(), 2, "{told}");
    let without_moments = train("1,treat\n");
    assert!(
        at(&without_moments) >= Some("0:45".to_owned()),
        "{without_moments}"
    );
}

/// Plans are told of where none is named, the latest used first, and a session by a
/// plan begins with how the last one went.
#[test]
fn plans_are_told_of_and_so_is_the_last_session() {
    let place = Place::taught();
    let train = |options: &[&str]| {
        let mut command = place.marklag(["train", "--plain", "--fast", "--from"]);
        command.arg(drill()).args(options);
        command.run()
    };
    let alone = train(&[]);
    assert!(!alone.err.contains("no plan was named"), "{alone:#?}");
    for file in ["plans/target.toml", "plans/pairing.toml"] {
        let load = place.marklag(["plan", "load"]).arg(fixture(file)).run();
        load.well();
    }
    let pairing = Plan::parse(&std::fs::read_to_string(fixture("plans/pairing.toml")).unwrap());
    let pairing = pairing.unwrap().name;
    let first = train(&["target, first week", "--keep"]).well();
    assert!(!first.contains("Last time"), "{first}");
    let second = train(&["target, first week"]).well();
    for words in [
        "Last time, 0 min ago: 6 marks in 26 s.",
        "target: step 2 again; the tries are too few to say more.",
        "Your plan says again after",
    ] {
        assert!(second.contains(words), "{words}: {second}");
    }
    let told = train(&[]);
    let at = |words: &str| told.err.find(words).unwrap_or_else(|| panic!("{told:#?}"));
    assert!(at("no plan was named") < at("marklag train \"target, first week\""));
    assert!(at("marklag train \"target, first week\"") < at(&format!("marklag train {pairing:?}")));
    let other = train(&["--animal", "Nobody"]);
    assert!(!other.err.contains("no plan was named"), "{other:#?}");
}
