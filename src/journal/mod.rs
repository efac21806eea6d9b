//! What is kept: the home folder, the settings, and the journal, a SQLite file.
//! Its schema is documented in docs/journal.md.

mod error;
mod export;
mod forget;
pub mod hands;
mod home;
mod insert;
mod list;
mod migrate;
mod open;
mod plans;
mod read;
mod record;
mod schema;
mod sessions;
mod settings;
mod store;
mod words;

pub use error::JournalError;
pub use export::{EXPORT_FORMAT, Table};
pub use home::{
    Home, HomeError, NAME_MAX_CHARS, check_name, create_new_private_file, create_private_file,
    write_private_file,
};
pub use list::BoutRow;
pub use open::{Access, Journal};
pub use plans::PlanRow;
pub use read::{NumberedEvent, StoredBout};
pub use record::{
    Bout, BoutEvent, BoutId, BoutKind, KeptReview, Note, NoteKind, OtherEvent, ProfileSnapshot,
    SetAside,
};
pub use schema::{APPLICATION_ID, SCHEMA_VERSION};
pub use sessions::{StoredSession, settings_json};
pub use settings::{
    AimSetting, Aims, DEFAULT_SETTINGS, Distances, Keys, PairingWindow, ScreenSetting, Settings,
    SettingsError,
};
