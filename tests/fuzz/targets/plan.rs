//! A session's plan (TOML): what is taken can be written again and reads the same.
#![no_main]

use libfuzzer_sys::fuzz_target;
use marklag::timeline::Plan;

fuzz_target!(|text: &str| {
    if let Ok(plan) = Plan::parse(text) {
        assert_eq!(Plan::parse(&plan.to_toml()).as_ref(), Ok(&plan));
        for item in 0..plan.practise.len() {
            let _ = (plan.title(item), plan.earns(item, 1), plan.behaviour_of(item));
        }
    }
});
