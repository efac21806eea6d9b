//! Teaching from any samples at any rate.
#![no_main]

use libfuzzer_sys::fuzz_target;
use marklag::ear::teach_click;

fuzz_target!(|input: (u32, Vec<i16>)| {
    let (rate_hz, raw) = input;
    let samples: Vec<f32> = raw.iter().map(|v| f32::from(*v) / 32_768.0).collect();
    let _ = teach_click("blue", &samples, rate_hz);
});
