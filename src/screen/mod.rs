//! The terminal: a guard that gives it back whatever happens, the look, the keys,
//! the loop that draws. What is drawn is in `view`: pure functions of a view model.

pub mod guard;
pub mod keymap;
pub mod log;
pub mod run;
pub mod signals;
pub mod theme;
pub mod view;

pub use guard::Screen;
pub use keymap::{Binding, KeyMap, KeyMapError, name as name_of};
pub use log::Log;
pub use run::{App, run};
pub use theme::{Colours, Look, Role};
