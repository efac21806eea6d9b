//! The test signal: noise in which every sample tells where it stands.

/// The value of sample `k` in −0.5 to 0.5, in steps of 2^−bits, so that a
/// format of at least that many bits carries it exactly. The mixing function
/// is splitmix64 (Steele, Lea, Flood 2014).
pub fn value(k: u64, bits: u32) -> f64 {
    let mut z = k.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^= z >> 31;
    let steps = (1u64 << bits) as f64;
    (z >> (64 - bits)) as f64 / steps - 0.5
}
