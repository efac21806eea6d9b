//! A file of moments, CSV or WebVTT.
#![no_main]

use libfuzzer_sys::fuzz_target;
use marklag::timeline::moments_file::parse_moments;

fuzz_target!(|text: &str| {
    if let Ok(file) = parse_moments(text) {
        for moment in &file.moments {
            assert!(moment.t_s.is_finite());
        }
    }
});
