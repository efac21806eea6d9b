//! The room itself: early echoes and a tail, and noise of a chosen colour.

use super::Dice;

/// Colour of a background noise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Colour {
    /// Equal power at every hertz.
    White,
    /// Equal power in every octave.
    Pink,
    /// Falling 6 dB an octave.
    Brown,
}

/// Noise of RMS 1.
pub fn noise(length: usize, colour: Colour, dice: &mut Dice) -> Vec<f32> {
    let mut y: Vec<f64> = (0..length).map(|_| dice.normal()).collect();
    match colour {
        Colour::White => {}
        Colour::Pink => {
            // Kellet's three-pole fit to -3 dB an octave (value from memory).
            let (mut b0, mut b1, mut b2) = (0.0, 0.0, 0.0);
            for v in &mut y {
                b0 = 0.997_65 * b0 + *v * 0.099_046;
                b1 = 0.963 * b1 + *v * 0.296_516_4;
                b2 = 0.57 * b2 + *v * 1.052_691_3;
                *v = b0 + b1 + b2 + *v * 0.1848;
            }
        }
        Colour::Brown => {
            let mut state = 0.0;
            for v in &mut y {
                state = 0.995 * state + *v;
                *v = state;
            }
        }
    }
    let rms = (y.iter().map(|v| v * v).sum::<f64>() / length.max(1) as f64)
        .sqrt()
        .max(1e-12);
    y.iter().map(|v| (v / rms) as f32).collect()
}

/// Adds early echoes and a decaying tail to `samples`. `strength` is the level
/// of the loudest echo relative to the direct sound; `tail_s` the time in which
/// the tail falls by 60 dB. The direct sound stays where it is.
pub fn echo(samples: &mut [f32], rate_hz: f64, strength: f64, tail_s: f64, dice: &mut Dice) {
    let dry = samples.to_vec();
    for _ in 0..10 {
        let delay_s = dice.between(0.0015, 0.045);
        let gain = strength
            * dice.between(0.3, 1.0)
            * (-delay_s / 0.03).exp()
            * if dice.unit() < 0.5 { -1.0 } else { 1.0 };
        let delay = (delay_s * rate_hz) as usize;
        // A wall takes the highs: one-pole low-pass.
        let keep = dice.between(0.2, 0.6);
        let mut state = 0.0f64;
        for n in delay..samples.len() {
            state = keep * state + (1.0 - keep) * f64::from(dry[n - delay]);
            samples[n] += (gain * state) as f32;
        }
    }
    // Schroeder (1962): parallel combs make the tail.
    for comb_s in [0.0297, 0.0371, 0.0411, 0.0437] {
        let delay = (comb_s * dice.between(0.9, 1.1) * rate_hz) as usize;
        let feedback = 10f64.powf(-3.0 * comb_s / tail_s);
        let mut line = vec![0.0f64; delay.max(1)];
        let mut low = 0.0f64;
        for n in 0..samples.len() {
            let slot = n % line.len();
            let out = line[slot];
            low = 0.5 * low + 0.5 * out;
            line[slot] = f64::from(dry[n]) + feedback * low;
            samples[n] += (0.25 * strength * low) as f32;
        }
    }
}
