//! What is kept: the home folder, the settings, and the journal, a SQLite file.
//! Its schema is documented in docs/journal.md.

mod again;
mod check;
mod copy;
mod digest;
mod error;
mod export;
mod forget;
pub mod hands;
mod home;
mod import;
mod insert;
mod list;
mod lots;
mod merge;
mod migrate;
mod observers;
mod open;
mod people;
mod plans;
mod read;
mod record;
mod schema;
pub mod school;
mod session_rows;
mod sessions;
mod settings;
mod shape;
mod store;
mod wanted;
mod words;

pub use check::Finding;
pub use error::JournalError;
pub use export::{EXPORT_FORMAT, Table};
pub use home::{Home, HomeError, NAME_MAX_CHARS, check_name};
pub use import::ImportError;
pub use list::BoutRow;
pub use lots::lots_of_review;
pub use merge::{Conflict, Merged};
pub use open::{Access, Journal};
pub use plans::PlanRow;
pub use read::{NumberedEvent, StoredBout};
pub use record::{
    Bout, BoutEvent, BoutId, BoutKind, KeptReview, Note, NoteKind, OtherEvent, ProfileSnapshot,
    SetAside,
};
pub use schema::{APPLICATION_ID, SCHEMA_VERSION};
pub use sessions::{KeptSession, StoredSession, settings_json};
pub use settings::{
    AimSetting, Aims, DEFAULT_SETTINGS, Distances, GoalSetting, Keys, PairingWindow, ScreenSetting,
    Settings, SettingsError,
};
pub use wanted::Wanted;
