//! The made-up farm of the demonstration: Tilda's clicker, her ball, her barn.
//! The sound files among the fixtures are these scenes.

use super::{Ball, Clicker, Colour, Room, Scene};

/// Samples per second of the made-up sound.
pub const RATE_HZ: u32 = 48_000;

/// Ten clicks in a quiet barn.
pub fn ten_clicks(seed: u64) -> Scene {
    let clicker = Clicker::from_seed(seed);
    let mut room = Room::new(RATE_HZ, 13.0, seed ^ 0x1);
    for k in 0..10 {
        let wait_s = room.dice().between(-0.1, 0.1);
        room.click(&clicker, 0.8 + 1.2 * f64::from(k) + wait_s, 0.35);
    }
    room.echo(0.25, 0.35);
    room.noise(0.35 * 10f64.powf(-38.0 / 20.0), Colour::Pink);
    room.finish()
}

/// A ball-drop drill: the clicks scatter around the floor moments.
pub fn drill(seed: u64, drops: u32) -> Scene {
    let clicker = Clicker::from_seed(seed);
    let ball = Ball::from_seed(seed);
    let mut room = Room::new(RATE_HZ, 4.0 * f64::from(drops) + 2.0, seed ^ 0x2);
    for k in 0..drops {
        let release_s = 1.0 + 4.0 * f64::from(k) + room.dice().between(0.0, 0.3);
        let fall = room.drop_ball(&ball, release_s, 1.0, 7, 0.4);
        let lag_s = 0.028 + 0.045 * room.dice().normal();
        room.click(&clicker, fall.impacts_s[0] + lag_s, 0.3);
    }
    room.echo(0.25, 0.35);
    room.noise(0.3 * 10f64.powf(-30.0 / 20.0), Colour::Pink);
    room.finish()
}
