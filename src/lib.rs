//! marklag measures how late an animal trainer's bridge (a click or one short
//! word) comes after the moment it should have marked.
//!
//! The rooms stand in the order in which the data goes through them:
//!
//! ```text
//! sound in → ear → marks, impacts ┐
//! hands in → keys, pedal          ├→ timeline → pairing → measures → screen, page, journal
//! files in → moments              ┘
//! ```
//!
//! `ear`, `clock`, `timeline`, `drill`, `measure`, `check`, `page` and `screen::view` are
//! pure: they name no device, no terminal, no file, no thread, and read no clock.

pub mod check;
pub mod cli;
pub mod clock;
pub mod drill;
pub mod ear;
pub mod hand;
pub mod journal;
pub mod listen;
pub mod live;
pub mod measure;
pub mod page;
pub mod review;
pub mod screen;
pub mod session;
pub mod sound;
pub mod timeline;
