//! A made-up room: sound whose truth is known because it was built.
//!
//! Clickers, bouncing balls, echo, noise and interference, all from a seed. It
//! serves the tests, the benchmarks and the demonstration.

mod ball;
mod clicker;
mod dice;
pub mod farm;
mod ring;
mod scene;
mod space;
mod voices;

pub use ball::{Ball, Fall};
pub use clicker::Clicker;
pub use dice::Dice;
pub use ring::{Mode, Ringing, Wobble};
pub use scene::{Click, Room, Scene};
pub use space::Colour;
pub use voices::{bang, birds, clap, music, speech, word};
