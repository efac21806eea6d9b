//! The journal's schema: its migrations in order, and the two numbers that tell
//! a journal from other SQLite files. Documented in docs/journal.md.

/// SQLite's `application_id` of a journal: the letters "mklg".
pub const APPLICATION_ID: i32 = 0x6D6B_6C67;

/// The migrations. Only ever added to: a journal that has had the first `n` of
/// them has `user_version` `n`.
pub(super) const MIGRATIONS: &[&str] = &[
    include_str!("migrations/0001_first.sql"),
    include_str!("migrations/0002_plans.sql"),
    include_str!("migrations/0003_digest.sql"),
];

/// The version of a journal that this program writes.
pub const SCHEMA_VERSION: usize = MIGRATIONS.len();

#[cfg(test)]
mod tests {
    use super::*;
    use crate::journal::record::sha256_hex;

    /// SHA-256 of each migration (sha256sum of the file). A line here is never
    /// changed once a version with it has been released: journals out there
    /// have had exactly that text.
    const SEALS: &[&str] = &[
        "92e01fb775cd0b5b4fbb3b3d5bf72f90677bf12a710a7e63f9f901795b590cae",
        "e1021b4a4408742a383cb8ee483620da74d9a7e4c5069bda4c4245dd06a11b26",
        "44ddd650add1fcc503c9cbf41a5db3c89757072a531b0bc634d6f782e607c85b",
    ];

    #[test]
    fn migrations_are_only_added_to() {
        let now: Vec<String> = MIGRATIONS.iter().map(|text| sha256_hex(text)).collect();
        assert_eq!(now, SEALS);
    }
}
