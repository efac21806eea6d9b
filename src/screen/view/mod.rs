//! What is on the screen: pure functions that draw a view model. They name no
//! device and no terminal and read no clock.

mod ball;
pub mod big;
pub mod drill;
pub mod form;
pub mod help;
pub mod lag;
mod parts;
pub mod setup;
pub mod sound_line;
pub mod stack;
pub mod train;

pub use drill::DrillView;
pub use form::FormView;
pub use lag::Last;
pub use sound_line::sound_line;
pub use stack::{Block, stack};
pub use train::TrainView;
