//! Years read at once: the digest is what the pairs come to, days are those of
//! the bout's own time zone, and a made-up school's known progress is found.

use jiff::tz::TimeZone;
use marklag::journal::school::{Made, School};
use marklag::journal::{
    Bout, BoutEvent, BoutKind, Journal, SetAside, Wanted, lots_of_review, settings_json,
};
use marklag::measure::weeks::{By, Day, Verdict, progress};
use marklag::timeline::{Aim, MomentKind};

use crate::scene;

const AIM: Aim = Aim {
    from_ms: -50.0,
    to_ms: 50.0,
};

fn wanted() -> Wanted {
    Wanted {
        bridge: None,
        behaviour: None,
        animal: None,
        from: None,
        until: None,
        zone: TimeZone::UTC,
    }
}

fn school(people: u32, days: u32) -> School {
    School {
        seed: 7,
        people,
        days,
        practice: 0.7,
        drills: 2,
        sessions: true,
    }
}

#[test]
fn lots_from_the_file_are_those_of_the_bouts() {
    let scratch = tempfile::tempdir().unwrap();
    let path = scratch.path().join("j");
    let school = school(1, 20);
    let bouts: Vec<_> = school.bouts(0).map(|made| made.as_review()).collect();
    let mut journal = Journal::open(&path).unwrap();
    assert_eq!(journal.keep_school(&school, 0).unwrap(), bouts.len());
    let name = school.truth(0).name;
    let figures = |lots: &[marklag::measure::weeks::Lot]| {
        progress(lots, MomentKind::Floor, AIM, 0.8, By::Bout).unwrap()
    };
    let from_file = figures(&journal.lots(Some(&name), &wanted()).unwrap());
    let direct = figures(&lots_of_review(&bouts));
    assert_eq!(from_file.whole.median_ms, direct.whole.median_ms);
    assert_eq!(from_file.whole.missed.count, direct.whole.missed.count);
    assert_eq!(from_file.lag_trend, direct.lag_trend);
    // Without what is kept for speed it is the same.
    let file = rusqlite::Connection::open(&path).unwrap();
    file.execute_batch("DELETE FROM digest").unwrap();
    let slow = figures(&journal.lots(Some(&name), &wanted()).unwrap());
    assert_eq!(slow, from_file);
    journal.prepare_lots().unwrap();
    let kept: i64 = file
        .query_row("SELECT count(DISTINCT bout_key) FROM digest", [], |r| {
            r.get(0)
        })
        .unwrap();
    assert_eq!(kept as usize, bouts.len());
}

#[test]
fn what_is_set_aside_leaves_the_digest_too() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let id = journal.begin_bout(&scene::bout(BoutKind::Drill)).unwrap();
    let review = scene::review();
    for sound in &review.sounds {
        journal
            .append_event(&id, &BoutEvent::Sound(sound.clone()))
            .unwrap();
    }
    for moment in &review.moments {
        journal
            .append_event(&id, &BoutEvent::Moment(moment.clone()))
            .unwrap();
    }
    let mut pairs = Vec::new();
    for pair in &review.pairs {
        pairs.push(
            journal
                .append_event(&id, &BoutEvent::Pair(scene::in_rows(pair, 1, 4)))
                .unwrap(),
        );
    }
    let lags = |journal: &Journal| -> Vec<f64> {
        let lots = journal.lots(Some("Ada"), &wanted()).unwrap();
        lots.into_iter().flat_map(|l| l.lags_ms).collect()
    };
    assert_eq!(lags(&journal), [42.0, 130.0]);
    let aside = SetAside {
        target_seq: pairs[1],
        is_aside: true,
        reason: String::new(),
    };
    journal
        .append_event(&id, &BoutEvent::SetAside(aside))
        .unwrap();
    assert_eq!(lags(&journal), [42.0]);
    let at = "2025-03-30T07:00:00Z".parse().unwrap();
    journal.end_bout(&id, at, Some(60.0)).unwrap();
    assert_eq!(lags(&journal), [42.0]);
}

/// A session's marks are found by its animal and by the behaviour of its plan, also
/// when it is kept event by event and turns from one behaviour to the next.
#[test]
fn sessions_are_found_by_animal_and_behaviour() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let setup = crate::sessions::setup();
    let id = crate::sessions::kept_session(&mut journal, &setup, true);
    journal.keep_review(&scene::review()).unwrap();
    let stored = journal.read_session(&id).unwrap();
    let acts = marklag::timeline::session::acts(&stored.log, &setup.plan);
    let title = |t_s: f64| {
        let act = acts.iter().find(|a| a.t_s == t_s).unwrap();
        setup.plan.behaviour_of(act.item).map(|b| b.name.clone())
    };
    let mut expected = std::collections::BTreeMap::new();
    for pair in stored.bout.pairs().filter(|p| p.moment_s.is_some()) {
        *expected
            .entry(title(pair.moment_s.unwrap()).unwrap())
            .or_insert(0) += 1;
    }
    assert!(!expected.is_empty(), "{expected:?}");
    let moments = |wanted: &Wanted| -> usize {
        let lots = journal.lots(Some("Ada"), wanted).unwrap();
        lots.iter().map(|l| l.lags_ms.len() + l.missed).sum()
    };
    for (behaviour, count) in &expected {
        let of = Wanted {
            behaviour: Some(behaviour.clone()),
            ..wanted()
        };
        let with_reviews = moments(&of);
        let session_only = Wanted {
            animal: Some(setup.plan.animal.clone()),
            ..of
        };
        assert_eq!(
            (moments(&session_only), with_reviews),
            (*count, *count),
            "{behaviour}"
        );
        assert_eq!(
            journal
                .latest_sessions(Some("Ada"), &session_only, 3)
                .unwrap()
                .len(),
            1
        );
    }
    let other = Wanted {
        animal: Some("Nobody's goat".into()),
        ..wanted()
    };
    assert_eq!(moments(&other), 0);
    assert_eq!(
        journal.animals().unwrap(),
        std::slice::from_ref(&setup.plan.animal)
    );
    assert_eq!(journal.latest_sessions(Some("Ada"), &other, 3).unwrap(), []);
}

/// What a made-up session is kept as at once is what keeping it event by event gives.
#[test]
fn a_session_kept_at_once_is_as_one_kept_as_it_happened() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    let made = school(1, 40).bouts(0);
    let sessions = made.filter_map(|made| match made {
        Made::Session(session) => Some(session),
        Made::Drill(_) => None,
    });
    for kept in sessions.take(3) {
        let at_once = journal.keep_session(&kept).unwrap();
        let bout = Bout {
            settings_json: settings_json(&kept.setup).unwrap(),
            ..kept.bout.clone()
        };
        let slowly = journal
            .begin_session(&bout, kept.animal.as_deref(), None)
            .unwrap();
        for entry in kept.log.entries() {
            journal.append_session_event(&slowly, &entry.event).unwrap();
        }
        let end = kept.bout.started_at;
        journal.end_session(&slowly, end, kept.length_s).unwrap();
        let (a, b) = (
            journal.read_session(&at_once).unwrap(),
            journal.read_session(&slowly).unwrap(),
        );
        assert_eq!(a.bout.events, b.bout.events);
        assert_eq!((a.log, a.measures, a.animal), (b.log, b.measures, b.animal));
    }
}

/// Bouts that come in no order, and some from before the others: the same.
#[test]
fn times_that_go_backwards_change_nothing() {
    let scratch = tempfile::tempdir().unwrap();
    let made: Vec<_> = school(1, 30)
        .bouts(0)
        .map(|made| made.as_review())
        .collect();
    let mut told = Vec::new();
    for (name, backwards) in [("a", false), ("b", true)] {
        let mut journal = Journal::open(&scratch.path().join(name)).unwrap();
        let mut bouts = made.clone();
        if backwards {
            bouts.reverse();
        }
        journal.keep_reviews(bouts).unwrap();
        let who = made[0].bout.person.clone();
        let lots = journal.lots(who.as_deref(), &wanted()).unwrap();
        told.push(progress(&lots, MomentKind::Floor, AIM, 0.8, By::Day));
    }
    assert_eq!(told[0], told[1]);
}

/// 2025-03-30 is 23 hours long in Vienna. A bout at 22:30 UTC of the day before
/// was on the 29th, 23:30; one at 22:30 UTC of the 30th was on the 31st, 00:30.
#[test]
fn a_day_is_the_day_there_also_when_the_clocks_change() {
    let scratch = tempfile::tempdir().unwrap();
    let mut journal = Journal::open(&scratch.path().join("j")).unwrap();
    for at in [
        "2025-03-29T22:30:00Z",
        "2025-03-30T21:30:00Z",
        "2025-03-30T22:30:00Z",
    ] {
        let mut review = scene::review();
        review.bout.started_at = at.parse().unwrap();
        journal.keep_review(&review).unwrap();
    }
    let days = |wanted: &Wanted| -> Vec<String> {
        let lots = journal.lots(Some("Ada"), wanted).unwrap();
        lots.iter().map(|l| l.day.to_string()).collect()
    };
    assert_eq!(days(&wanted()), ["2025-03-29", "2025-03-30", "2025-03-31"]);
    let one = Wanted {
        from: Some(Day::of("2025-03-30".parse().unwrap())),
        until: Some(Day::of("2025-03-30".parse().unwrap())),
        ..wanted()
    };
    assert_eq!(days(&one), ["2025-03-30"]);
}

/// 300 invented people whose progress is known by construction: Sen's interval
/// over days (with a day's own shift, unequal gaps, two drills a day) holds the
/// truth as often as it says, 95 % (binomial 3 sd: 91.2 to 98.8 %).
#[test]
fn the_known_progress_is_found_as_often_as_is_said() {
    let school = School {
        sessions: false,
        ..school(300, 56)
    };
    let (mut told, mut covered, mut falls) = (0, 0, 0);
    for person in 0..school.people {
        let truth = school.truth(person);
        let bouts: Vec<_> = school.bouts(person).map(|made| made.as_review()).collect();
        let p = progress(
            &lots_of_review(&bouts),
            MomentKind::Floor,
            AIM,
            0.8,
            By::Day,
        )
        .unwrap();
        let days = f64::from(school.days - 1);
        let per_week = 7.0 * (truth.last_ms - truth.first_ms) / days;
        if let Some(interval) = p.lag_trend.per_week_interval {
            told += 1;
            covered += i32::from(interval.contains(per_week));
            falls += i32::from(p.lag_trend.verdict == Verdict::Falls);
        }
    }
    assert_eq!(told, 300);
    let share = f64::from(covered) / f64::from(told);
    assert!((0.912..=0.988).contains(&share), "covered {share}");
    assert!(falls > 290, "{falls} of {told} seen to fall");
}

#[test]
fn only_misses_and_one_drill_are_told_without_numbers_that_are_not_there() {
    let mut review = scene::review();
    review.pairs.retain(|p| p.mark_s.is_none());
    review.sounds.clear();
    let p = progress(
        &lots_of_review(&[review]),
        MomentKind::Floor,
        AIM,
        0.8,
        By::Day,
    )
    .unwrap();
    assert_eq!((p.whole.median_ms, p.whole.missed.count), (None, 1));
    assert!(matches!(p.lag_trend.verdict, Verdict::TooFew { .. }));
    let one = progress(
        &lots_of_review(&[scene::review()]),
        MomentKind::Floor,
        AIM,
        0.8,
        By::Day,
    );
    assert!(matches!(
        one.unwrap().lag_trend.verdict,
        Verdict::TooFew { more_days: 4 }
    ));
    assert_eq!(progress(&[], MomentKind::Floor, AIM, 0.8, By::Day), None);
}

/// Whatever is in the lots, the progress and the page hold no number that is none.
mod odd {
    use marklag::measure::weeks::{By, Comparison, Day, Lot, Occasion, Progress};
    use marklag::measure::weeks::{comparisons, progress, suggest, words};
    use marklag::page::Weeks;
    use marklag::timeline::{MomentKind, SoundKind};
    use proptest::prelude::*;

    use super::AIM;

    fn lag() -> impl Strategy<Value = f64> {
        prop_oneof![
            4 => -300.0..300.0_f64,
            2 => Just(40.0),
            1 => prop_oneof![Just(0.0), Just(-0.0), Just(1e150), Just(-1e150), Just(5e-324)],
        ]
    }

    prop_compose! {
        fn lot()(
            bout in 0..40_i64,
            day in prop_oneof![8 => 20_000..20_080_i32, 1 => -4_000_000..2_900_000_i32],
            session in any::<bool>(),
            duration_s in prop::option::of(prop_oneof![Just(0.0), Just(-1.0), 1.0..900.0_f64]),
            bridge in prop_oneof![Just(""), Just("blue"), Just("<b>&\"yes")],
            lags_ms in prop::collection::vec(lag(), 0..14),
            missed in 0..4_usize,
            strays in 0..3_usize,
        ) -> Lot {
            Lot {
                bout,
                day: Day(day),
                occasion: if session { Occasion::Session } else { Occasion::Drill },
                duration_s,
                kind: MomentKind::Floor,
                bridge_kind: Some(if bridge == "blue" { SoundKind::Click } else { SoundKind::Word }),
                bridge: bridge.to_owned(),
                lags_ms,
                missed,
                strays,
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(200))]

        #[test]
        fn numbers_are_numbers(lots in prop::collection::vec(lot(), 0..40)) {
            let mut lots = lots;
            lots.sort_by_key(|lot| lot.day);
            let kinds: Vec<Progress> = progress(&lots, MomentKind::Floor, AIM, 0.8, By::Day)
                .into_iter()
                .collect();
            let compared: Vec<Vec<Comparison>> =
                kinds.iter().map(|p| comparisons(&lots, p.kind)).collect();
            let next = suggest(&kinds);
            let mut text = serde_json::to_string(&kinds).unwrap();
            for p in &kinds {
                text += &words::standing(p);
                text += &words::trends(p).join(" ");
                text += &words::goal(&p.goal).join(" ");
            }
            for one in compared.iter().flatten() {
                text += &words::comparison(one);
            }
            let page = Weeks {
                person: "<i>Ada</i>",
                kinds: &kinds,
                comparisons: &compared,
                next: next.as_ref(),
                lots: &lots,
                sessions: &[],
            at_centre: 0,
            budget: None,
            };
            text += &page.html();
            for none in ["NaN", "inf ", "inf\"", "inf,", "<i>Ada", "<b>&"] {
                prop_assert!(!text.contains(none), "{none}: {text}");
            }
        }
    }
}
