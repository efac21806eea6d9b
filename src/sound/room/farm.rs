//! The made-up farm of the demonstration: Tilda's clicker, her ball, her barn.
//! The sound files among the fixtures are these scenes.

use super::{Ball, Clicker, Colour, Room, Scene, word};

/// Samples per second of the made-up sound.
pub const RATE_HZ: u32 = 48_000;

/// The made-up word that marks in the made-up farm.
pub const WORD: u64 = 5;
/// A word of other talk.
const OTHER_WORD: u64 = 11;

/// The word said ten times in a quiet barn.
pub fn ten_words(seed: u64) -> Scene {
    let mut room = Room::new(RATE_HZ, 16.5, seed ^ 0x4);
    for k in 0..10 {
        let wait_s = room.dice().between(-0.1, 0.1);
        let pace = 0.96 + 0.02 * f64::from(k % 5);
        room.say(WORD, pace, 1.6 + 1.4 * f64::from(k) + wait_s, 0.35);
    }
    room.noise(0.001, Colour::Pink);
    room.finish()
}

/// A ball-drop drill marked by a word, 0.4 s after whose beginning the clicker clicks:
/// before the word is known. Near the end of each drop the word is said within
/// praise, which is no mark.
pub fn word_drill(seed: u64, drops: u32) -> Scene {
    let clicker = Clicker::from_seed(seed);
    let ball = Ball::from_seed(seed);
    let mut room = Room::new(RATE_HZ, 8.0 * f64::from(drops) + 2.0, seed ^ 0x8);
    for k in 0..drops {
        let release_s = 1.0 + 8.0 * f64::from(k) + room.dice().between(0.0, 0.3);
        let fall = room.drop_ball(&ball, release_s, 1.0, 7, 0.4);
        let lag_s = 0.140 + 0.045 * room.dice().normal();
        let pace = 0.96 + 0.02 * f64::from(k % 5);
        let mark_s = fall.impacts_s[0] + lag_s;
        room.say(WORD, pace, mark_s, 0.3);
        room.click(&clicker, mark_s + 0.40, 0.3);
        let praise_s = fall.impacts_s[0] + 4.5;
        let said = word(room.rate(), WORD, 1.0);
        let more = word(room.rate(), OTHER_WORD, 1.0);
        let at = (praise_s * room.rate()) as usize;
        room.add(at, &said, 0.3);
        // The word sounds for 0.30 s; then the closure of a stop, as in "good boy".
        let next = at + (0.35 * room.rate()) as usize;
        room.add(next, &more, 0.3);
    }
    room.noise(0.001, Colour::Pink);
    room.finish()
}

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
