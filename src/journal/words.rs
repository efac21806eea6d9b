//! The words that stand for kinds and outcomes in the journal, the same as in
//! the JSON contract.

use rusqlite::types::{FromSqlError, FromSqlResult, ValueRef};

use super::record::{BoutKind, NoteKind};
use crate::timeline::{MomentKind, MomentSource, Outcome, SoundKind};

/// A closed set of kinds, each with its word.
pub(super) trait Word: Copy + PartialEq + 'static {
    /// Every kind with its word.
    const WORDS: &'static [(Self, &'static str)];

    /// The word for this kind.
    fn word(self) -> &'static str {
        let found = Self::WORDS.iter().find(|(kind, _)| *kind == self);
        found.map_or("", |(_, word)| word)
    }

    /// The kind for a word found in the file.
    fn from_column(value: ValueRef<'_>) -> FromSqlResult<Self> {
        let text = value.as_str()?;
        let found = Self::WORDS.iter().find(|(_, word)| *word == text);
        found
            .map(|(kind, _)| *kind)
            .ok_or_else(|| FromSqlError::Other(format!("the unknown word {text:?}").into()))
    }
}

impl Word for SoundKind {
    const WORDS: &'static [(Self, &'static str)] = &[
        (Self::Click, "click"),
        (Self::Word, "word"),
        (Self::Impact, "impact"),
    ];
}

impl Word for MomentKind {
    const WORDS: &'static [(Self, &'static str)] = &[
        (Self::Floor, Self::Floor.word()),
        (Self::Release, Self::Release.word()),
        (Self::Top, Self::Top.word()),
        (Self::Behaviour, Self::Behaviour.word()),
    ];
}

impl Word for MomentSource {
    const WORDS: &'static [(Self, &'static str)] = &[
        (Self::Sound, "sound"),
        (Self::File, "file"),
        (Self::Hand, "hand"),
    ];
}

impl Word for Outcome {
    const WORDS: &'static [(Self, &'static str)] = &[
        (Self::OnTime, Self::OnTime.id()),
        (Self::Early, Self::Early.id()),
        (Self::Late, Self::Late.id()),
        (Self::Missed, Self::Missed.id()),
        (Self::Stray, Self::Stray.id()),
    ];
}

impl Word for BoutKind {
    const WORDS: &'static [(Self, &'static str)] = &[
        (Self::Review, "review"),
        (Self::Drill, "drill"),
        (Self::Session, "session"),
    ];
}

impl Word for NoteKind {
    const WORDS: &'static [(Self, &'static str)] = &[(Self::Note, "note"), (Self::Tag, "tag")];
}

#[cfg(test)]
mod tests {
    use super::*;

    fn as_in_json<T: Word + serde::Serialize + std::fmt::Debug>() {
        for (kind, word) in T::WORDS {
            assert_eq!(serde_json::to_value(kind).unwrap(), *word);
            assert_eq!(kind.word(), *word);
            assert_eq!(
                T::from_column(ValueRef::Text(word.as_bytes())).unwrap(),
                *kind
            );
        }
        assert!(T::from_column(ValueRef::Text(b"other")).is_err());
        assert!(T::from_column(ValueRef::Null).is_err());
    }

    #[test]
    fn the_words_are_those_of_the_json_contract() {
        as_in_json::<SoundKind>();
        as_in_json::<MomentKind>();
        as_in_json::<MomentSource>();
        as_in_json::<Outcome>();
        as_in_json::<BoutKind>();
        as_in_json::<NoteKind>();
    }
}
