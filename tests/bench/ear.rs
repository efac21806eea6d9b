//! The benchmarks of the ear.

fn main() {}
