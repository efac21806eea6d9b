//! Reference values for the ear's own tests, made by tests/reference/ear.py.
use serde_json::Value;

/// The reference file.
pub fn reference() -> Value {
    serde_json::from_str(include_str!("../../tests/reference/ear.json")).unwrap()
}

/// A list of numbers.
pub fn numbers(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .unwrap()
        .iter()
        .map(|v| v.as_f64().unwrap())
        .collect()
}

/// A list of samples.
pub fn samples(value: &Value) -> Vec<f32> {
    numbers(value).into_iter().map(|v| v as f32).collect()
}
