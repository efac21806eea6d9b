//! What the statistics cost at the sizes that years of practice reach.
#![allow(missing_docs, clippy::unwrap_used)]

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use marklag::measure::{compare, exgauss, median, trend};

/// Made-up lags in milliseconds: a slow improvement with a repeatable wobble.
fn lags(n: usize) -> Vec<f64> {
    (0..n as u64)
        .map(|i| {
            let wobble = (i.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 40) as f64 / 16_777_216.0;
            200.0 - 0.002 * i as f64 - 60.0 * (1.0 - 0.999 * wobble).ln()
        })
        .collect()
}

fn measure(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("measure");
    group.sample_size(10);
    let days: Vec<f64> = (0..15_000).map(|i| f64::from(i) / 4.0).collect();
    let medians = lags(15_000);
    group.bench_function("theil_sen 15,000 points", |b| {
        b.iter(|| {
            trend::theil_sen(
                black_box(&days),
                black_box(&medians),
                0.95,
                trend::Scatter::HangsTogether,
            )
        });
    });
    group.bench_function("mann_kendall 15,000 points", |b| {
        b.iter(|| trend::mann_kendall(black_box(&days), black_box(&medians)));
    });
    let (now, then) = (lags(150_000), lags(300_000));
    group.bench_function("hodges_lehmann 150,000 against 300,000", |b| {
        b.iter(|| compare::hodges_lehmann(black_box(&now), black_box(&then), 0.95));
    });
    group.bench_function("median interval 300,000 lags", |b| {
        b.iter(|| median::median_interval(black_box(&then), 0.95));
    });
    let drill = lags(60);
    group.bench_function("ex-Gaussian fit 60 lags", |b| {
        b.iter(|| exgauss::fit(black_box(&drill)))
    });
    group.bench_function("ex-Gaussian fit 300,000 lags", |b| {
        b.iter(|| exgauss::fit(black_box(&then)));
    });
    group.finish();
}

criterion_group!(benches, measure);
criterion_main!(benches);
