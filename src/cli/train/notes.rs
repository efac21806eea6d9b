//! The words of notes, asked for after the session: nobody types while an animal
//! waits.

use std::io::{self, BufRead, Write};

use super::app::Training;
use super::view::clock;
use crate::timeline::MomentSource;
use crate::timeline::session::Happened;

impl Training {
    /// Asks for the words of the notes whose places were keyed, once the session
    /// has ended. Where they cannot be asked for or kept, that is said.
    pub(super) fn ask_notes(&mut self) {
        if let Err(error) = self.take_notes(&mut io::stdin().lock()) {
            eprintln!("\nNote: the notes' words could not all be kept ({error}).");
        }
    }

    fn take_notes(&mut self, lines: &mut dyn BufRead) -> anyhow::Result<()> {
        let is_empty = |what: &Happened| *what == Happened::Note(String::new());
        let counted = self.course.log().counted();
        let places: Vec<f64> = counted
            .iter()
            .filter(|e| is_empty(&e.what))
            .map(|e| e.t_s)
            .collect();
        for t_s in places {
            eprint!("Note at {}: ", clock(t_s));
            io::stderr().flush()?;
            let mut words = String::new();
            lines.read_line(&mut words)?;
            let words = words.trim();
            if words.is_empty() {
                continue;
            }
            let what = Happened::Note(words.to_owned());
            self.tell(t_s, MomentSource::Hand, what);
            if let Some(keeper) = &mut self.keeper {
                keeper.note(t_s, words)?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use std::collections::HashMap;
    use std::path::Path;

    use jiff::Timestamp;

    use super::*;
    use crate::cli::train::app::Begin;
    use crate::cli::train::keep::Keeper;
    use crate::cli::train::keys::TABLE;
    use crate::journal::{Bout, BoutKind, Journal, Settings, settings_json};
    use crate::listen::Listening;
    use crate::live::Live;
    use crate::screen::{KeyMap, Log};
    use crate::session::{Deed, Input};
    use crate::sound::{Pace, Played};
    use crate::timeline::Plan;

    /// The session has ended before anybody is asked: words are added to it, and a
    /// prompt that fails takes nothing from it.
    #[test]
    fn words_of_notes_are_added_to_a_session_that_has_ended() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("journal.sqlite");
        let settings = Settings::default();
        let setup = settings.session_setup(Plan::free(5.0), None);
        let bout = Bout {
            kind: BoutKind::Session,
            started_at: Timestamp::now(),
            time_zone: None,
            person: None,
            source: None,
            sound_file: None,
            sample_rate_hz: None,
            channels: None,
            duration_s: None,
            program_version: String::new(),
            settings_json: settings_json(&setup).unwrap(),
            profiles: Vec::new(),
        };
        let keeper = Keeper::begin(Journal::open(&path).unwrap(), &bout, "", "").unwrap();
        let id = keeper.id().clone();
        let source = Played::from_samples(8_000, Pace::AsFast, Vec::new());
        let listening = Listening::new(8_000, &[], None).unwrap();
        let (live, told) = Live::start(Box::new(source), listening, None).unwrap();
        let mut training = Training::new(Begin {
            names: vec!["box".to_owned()],
            known_after_s: 0.0,
            has_screen: true,
            told: String::new(),
            setup,
            live,
            keys: KeyMap::new(TABLE, |name| settings.keys.of(name)).unwrap(),
            paths: HashMap::new(),
            lines: Vec::new(),
            keeper: Some(keeper),
            program_log: Log::open(Path::new("/nowhere/at/all")),
        });
        for t_s in [2.0, 4.0] {
            let (deed, u_ms) = (Deed::Note, 3.0);
            training.course.take(Input::Done { deed, t_s, u_ms });
        }
        training.now_s = 60.0;
        training.end(told).unwrap();

        // The second line is no text.
        let mut typed = &b"keen on the target\n\xff\n"[..];
        training.take_notes(&mut typed).unwrap_err();
        let stored = Journal::open(&path).unwrap().read_session(&id).unwrap();
        assert!(stored.bout.ended_at.is_some() && stored.measures.is_some());
        let notes: Vec<_> = stored
            .log
            .counted()
            .iter()
            .map(|e| (e.t_s, e.what.clone()))
            .collect();
        let note = |words: &str| Happened::Note(words.to_owned());
        let words = "keen on the target";
        assert_eq!(notes.len(), 3, "{notes:?}");
        for one in [(2.0, note("")), (2.0, note(words)), (4.0, note(""))] {
            assert!(notes.contains(&one), "{notes:?}");
        }
    }
}
