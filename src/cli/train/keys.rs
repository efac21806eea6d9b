//! The keys of a session.

use crate::screen::Binding;

/// What a key does in a session.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Action {
    Reached,
    Treat,
    Cue,
    NearMiss,
    Offer,
    Break,
    Turn,
    StepUp,
    StepDown,
    Undo,
    Redo,
    Note,
    Numbers,
    End,
    Help,
}

/// The keys of a session; what is needed most stands first, where the last line is
/// short.
pub(super) const TABLE: &[Binding<Action>] = &[
    Binding {
        action: Action::Reached,
        name: "moment",
        word: "reached",
        help: "The behaviour reached its step (a pedal and enter do the same). Pairing the bridge: it visibly expects food.",
    },
    Binding {
        action: Action::Treat,
        name: "treat",
        word: "treat",
        help: "A treat was given.",
    },
    Binding {
        action: Action::Cue,
        name: "cue",
        word: "cue",
        help: "The behaviour was asked for.",
    },
    Binding {
        action: Action::Undo,
        name: "undo",
        word: "undo",
        help: "The latest event does not count. It is kept, and marked as set aside.",
    },
    Binding {
        action: Action::End,
        name: "end",
        word: "end",
        help: "End the session and see what it comes to.",
    },
    Binding {
        action: Action::Help,
        name: "help",
        word: "help",
        help: "Show these keys, or the session again.",
    },
    Binding {
        action: Action::NearMiss,
        name: "near_miss",
        word: "near",
        help: "Close, but not what the step asks.",
    },
    Binding {
        action: Action::Offer,
        name: "offer",
        word: "offer",
        help: "What is on cue was offered unasked.",
    },
    Binding {
        action: Action::Break,
        name: "pause",
        word: "break",
        help: "A break begins, or ends.",
    },
    Binding {
        action: Action::Turn,
        name: "turn",
        word: "next",
        help: "The next thing of the plan.",
    },
    Binding {
        action: Action::StepUp,
        name: "step_up",
        word: "harder",
        help: "Ask for the next step.",
    },
    Binding {
        action: Action::StepDown,
        name: "step_down",
        word: "easier",
        help: "Ask for the step before.",
    },
    Binding {
        action: Action::Redo,
        name: "redo",
        word: "redo",
        help: "What was set aside last counts again.",
    },
    Binding {
        action: Action::Note,
        name: "note",
        word: "note",
        help: "A note belongs here; its words are asked for after the session.",
    },
    Binding {
        action: Action::Numbers,
        name: "numbers",
        word: "numbers",
        help: "Show the numbers behind the screen, or the session again.",
    },
];
