//! A session's events (a table), put into a log and measured as a review does.
#![no_main]

use libfuzzer_sys::fuzz_target;
use marklag::journal::Settings;
use marklag::session::{FILE_U_MS, Setup, log_of_lines, measure};
use marklag::timeline::session::parse_events;
use marklag::timeline::{Aim, Plan};

fuzz_target!(|text: &str| {
    let Ok(lines) = parse_events(text, FILE_U_MS) else {
        return;
    };
    let end_s = lines.iter().map(|l| l.t_s()).fold(1.0, f64::max);
    assert!(end_s.is_finite());
    let log = log_of_lines(Vec::new(), &[], lines);
    let setup = Setup {
        plan: Plan::free(5.0),
        rules: Settings::default().session,
        aim: Aim { from_ms: 0.0, to_ms: 400.0 },
        before_ms: 500.0,
        after_ms: 1_500.0,
        clicker_m: 1.0,
        observer: None,
    };
    let measures = measure(&log, &setup, end_s);
    serde_json::to_string(&measures).unwrap();
});
