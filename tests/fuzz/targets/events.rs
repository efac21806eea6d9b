//! A session's events (a table), put into a log and measured as a review does.
#![no_main]

use libfuzzer_sys::fuzz_target;
use marklag::journal::Settings;
use marklag::session::{FILE_U_MS, log_of_lines, measure};
use marklag::timeline::session::parse_events;
use marklag::timeline::Plan;

fuzz_target!(|text: &str| {
    let Ok(lines) = parse_events(text, FILE_U_MS) else {
        return;
    };
    let end_s = lines.iter().map(|l| l.t_s()).fold(1.0, f64::max);
    assert!(end_s.is_finite());
    let setup = Settings::default().session_setup(Plan::free(5.0), None);
    let log = log_of_lines(&setup, &[], &[], lines);
    let measures = measure(&log, &setup, end_s);
    serde_json::to_string(&measures).unwrap();
});
