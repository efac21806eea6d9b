//! Which key does what on a live screen.

use serde::{Deserialize, Serialize};

/// The keys of each thing that can be done on a live screen: one sign, or a name
/// such as "space", "enter" or "f2"; several with spaces between.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Keys {
    /// The moment is now (a partner's press).
    pub moment: String,
    /// Pause and go on.
    pub pause: String,
    /// Set the last drop aside.
    pub undo: String,
    /// End.
    pub end: String,
    /// Show and hide the help.
    pub help: String,
    /// A session: the behaviour is asked for.
    pub cue: String,
    /// A session: a near miss.
    pub near_miss: String,
    /// A session: a treat.
    pub treat: String,
    /// A session: an unasked offer.
    pub offer: String,
    /// A session: the next thing of the plan.
    pub turn: String,
    /// A session: the next step.
    pub step_up: String,
    /// A session: the step before.
    pub step_down: String,
    /// A session: take the last undo back.
    pub redo: String,
    /// A session: write a note.
    pub note: String,
    /// A session: the numbers behind the screen.
    pub numbers: String,
    /// A session: what happened, to undo any of it.
    pub list: String,
}

impl Default for Keys {
    fn default() -> Self {
        Self {
            moment: "space".to_owned(),
            pause: "p".to_owned(),
            undo: "u".to_owned(),
            end: "e".to_owned(),
            help: "?".to_owned(),
            cue: "c".to_owned(),
            near_miss: "n".to_owned(),
            treat: "t".to_owned(),
            offer: "o".to_owned(),
            turn: "tab".to_owned(),
            step_up: "up".to_owned(),
            step_down: "down".to_owned(),
            redo: "r".to_owned(),
            note: "w".to_owned(),
            numbers: "i".to_owned(),
            list: "l".to_owned(),
        }
    }
}

impl Keys {
    /// The key for a name of this section; empty for a name that it does not have.
    pub fn of(&self, name: &str) -> String {
        let key = match name {
            "moment" => &self.moment,
            "pause" => &self.pause,
            "undo" => &self.undo,
            "end" => &self.end,
            "help" => &self.help,
            "cue" => &self.cue,
            "near_miss" => &self.near_miss,
            "treat" => &self.treat,
            "offer" => &self.offer,
            "turn" => &self.turn,
            "step_up" => &self.step_up,
            "step_down" => &self.step_down,
            "redo" => &self.redo,
            "note" => &self.note,
            "numbers" => &self.numbers,
            "list" => &self.list,
            _ => return String::new(),
        };
        key.clone()
    }
}
