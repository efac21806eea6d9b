//! The words of notes, asked for after the session: nobody types while an animal
//! waits.

use std::io::{self, BufRead, Write};

use super::app::Training;
use super::view::clock;
use crate::timeline::MomentSource;
use crate::timeline::session::Happened;

impl Training {
    /// Asks for the words of the notes whose places were keyed.
    pub(super) fn ask_notes(&mut self) -> anyhow::Result<()> {
        let is_empty = |what: &Happened| *what == Happened::Note(String::new());
        let places: Vec<f64> = self
            .course
            .log()
            .counted()
            .iter()
            .filter(|e| is_empty(&e.what))
            .map(|e| e.t_s)
            .collect();
        for t_s in places {
            eprint!("Note at {}: ", clock(t_s));
            io::stderr().flush()?;
            let mut words = String::new();
            io::stdin().lock().read_line(&mut words)?;
            let words = words.trim();
            if !words.is_empty() {
                let what = Happened::Note(words.to_owned());
                self.tell(t_s, MomentSource::Hand, what);
            }
        }
        Ok(())
    }
}
