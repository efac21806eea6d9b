//! What is kept: the home folder, the settings, and the journal, a SQLite file.

pub mod home;
pub mod settings;
