//! Years read at once: the digest is what the pairs come to, days are those of
//! the bout's own time zone, and a made-up school's known progress is found.

use jiff::tz::TimeZone;
use marklag::journal::school::School;
use marklag::journal::{BoutEvent, BoutKind, Journal, SetAside, Wanted, lots_of_review};
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
                .append_event(&id, &BoutEvent::Pair(pair.clone()))
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
