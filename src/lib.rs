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
//! `ear`, `clock`, `timeline`, `drill`, `session`, `measure`, `check`, `page`, `words` and
//! `screen::view` are pure: they name no device, no terminal, no file, no thread, and read
//! no clock. All of them but `screen::view` build without the feature `program`.

pub mod check;
#[cfg(feature = "program")]
pub mod cli;
pub mod clock;
pub mod drill;
pub mod ear;
#[cfg(feature = "program")]
pub mod hand;
#[cfg(feature = "program")]
pub mod journal;
pub mod listen;
#[cfg(feature = "program")]
pub mod live;
pub mod measure;
pub mod page;
pub mod review;
#[cfg(feature = "program")]
pub mod screen;
pub mod session;
#[cfg(feature = "program")]
pub mod sound;
#[cfg(feature = "program")]
pub mod system;
pub mod timeline;
pub mod words;
