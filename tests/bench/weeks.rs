//! What years of practice cost: ten years of one person, 3,650 days of four
//! drills, some 290,000 lags; and one year, to see how it grows.
#![allow(missing_docs, clippy::unwrap_used)]

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use jiff::tz::TimeZone;
use marklag::journal::school::School;
use marklag::journal::{Journal, Wanted};
use marklag::measure::weeks::{By, progress};
use marklag::timeline::{Aim, MomentKind};

fn weeks(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("weeks");
    group.sample_size(10);
    for days in [365, 3_650] {
        let scratch = tempfile::tempdir().unwrap();
        let school = School {
            seed: 1,
            people: 1,
            days,
            practice: 1.0,
            drills: 4,
            sessions: false,
        };
        let mut journal = Journal::open(&scratch.path().join("journal.sqlite")).unwrap();
        journal.keep_school(&school, 0).unwrap();
        let name = school.truth(0).name;
        let wanted = Wanted {
            bridge: None,
            behaviour: None,
            animal: None,
            from: None,
            until: None,
            zone: TimeZone::UTC,
        };
        let aim = Aim {
            from_ms: -50.0,
            to_ms: 50.0,
        };
        let read = || {
            journal.prepare_lots().unwrap();
            journal.lots(Some(&name), &wanted).unwrap()
        };
        group.bench_function(format!("read {days} days"), |b| {
            b.iter(|| black_box(read()))
        });
        let lots = read();
        group.bench_function(format!("progress of {days} days"), |b| {
            b.iter(|| progress(black_box(&lots), MomentKind::Floor, aim, 0.8, By::Day));
        });
    }
    group.finish();
}

criterion_group!(benches, weeks);
criterion_main!(benches);
