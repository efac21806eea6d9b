//! What is handed out: JSON, CSV, WebVTT, a strip of lags in text. Pure functions
//! of what was measured: no file, no device, no clock.

mod budget;
pub mod contract;
pub mod csv_out;
mod lag_chart;
pub mod session_picture;
mod session_rows;
pub mod session_words;
pub mod strip;
pub mod vtt_out;
mod weeks;

pub use budget::budget_lines;
pub use contract::{Compression, Recording, Review};
pub use csv_out::write_pairs_csv;
pub use lag_chart::lag_chart;
pub use session_picture::session_picture;
pub use session_words::{lean_words, minutes, next_time, session_words};
pub use strip::{Glyphs, strip};
pub use vtt_out::captions;
pub use weeks::{Picture, Session, Weeks};
