//! The keys of a session.

use std::io::{self, Write};
use std::time::Duration;

use crate::hand::pedal::Pedal;
use crate::screen::{Binding, KeyMap, name_of};
use crate::session::Deed;

/// What a key does in a session.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Action {
    Deed(Deed),
    List,
    Numbers,
    End,
    Help,
}

/// What a pedal does, unless the settings say otherwise.
pub(super) const FIRST: Action = Action::Deed(Deed::Reached);

/// Tells which key or pedal does what, and, where there are pedals, what each of
/// their keys is and does as it is pressed, until ctrl+c.
pub(super) fn tell(
    keys: &KeyMap<Action>,
    mut pedals: Vec<Pedal>,
    out: &mut dyn Write,
) -> anyhow::Result<()> {
    list(keys, out)?;
    if pedals.is_empty() {
        return Ok(());
    }
    writeln!(out, "\nPress the pedal's keys; ctrl+c ends this.")?;
    out.flush()?;
    let mut presses = Vec::new();
    loop {
        for pedal in &mut pedals {
            pedal.read(Duration::from_millis(100), &mut presses)?;
        }
        for press in presses.drain(..) {
            let action = keys.action_of(&press.source, &press.key, FIRST);
            let binding = TABLE.iter().find(|b| Some(b.action) == action);
            let does = binding.map_or("nothing", |b| b.name);
            let device = press.source.name();
            writeln!(out, "  {device}, {}: {does}", name_of(&press.key))?;
            out.flush()?;
        }
    }
}

fn list(keys: &KeyMap<Action>, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "Keys in a session ([keys] in settings.toml); enter does what {} does unless it is given something else:",
        keys.key_of("moment")
    )?;
    for (key, does) in keys.help() {
        writeln!(out, "  {key:<12} {does}")?;
    }
    let pedals = keys.pedals();
    if pedals.is_empty() {
        return writeln!(
            out,
            "\nEvery key of a pedal (--pedal NAME) does what {} does; docs/pedal.md tells how to change that.",
            keys.key_of("moment")
        );
    }
    writeln!(out, "\nPedals ([pedals] in settings.toml):")?;
    for (device, key, does) in pedals {
        writeln!(out, "  {device}, {key}: {does}")?;
    }
    Ok(())
}

/// The keys of a session; what is needed most stands first, where the last line is
/// short.
pub(super) const TABLE: &[Binding<Action>] = &[
    Binding {
        action: Action::Deed(Deed::Reached),
        name: "moment",
        word: "reached",
        help: "It reached its step. Pairing: it expects food.",
    },
    Binding {
        action: Action::Deed(Deed::Treat),
        name: "treat",
        word: "treat",
        help: "A treat was given.",
    },
    Binding {
        action: Action::Deed(Deed::Cue),
        name: "cue",
        word: "cue",
        help: "The behaviour was asked for.",
    },
    Binding {
        action: Action::Deed(Deed::Undo),
        name: "undo",
        word: "undo",
        help: "The latest event does not count; it is kept, aside.",
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
        help: "Show these keys.",
    },
    Binding {
        action: Action::Deed(Deed::NearMiss),
        name: "near_miss",
        word: "near",
        help: "Close, but not what the step asks.",
    },
    Binding {
        action: Action::Deed(Deed::Offer),
        name: "offer",
        word: "offer",
        help: "What is on cue was offered unasked.",
    },
    Binding {
        action: Action::Deed(Deed::Break),
        name: "pause",
        word: "break",
        help: "A break begins, or ends.",
    },
    Binding {
        action: Action::Deed(Deed::Turn),
        name: "turn",
        word: "next",
        help: "The next thing of the plan.",
    },
    Binding {
        action: Action::Deed(Deed::StepUp),
        name: "step_up",
        word: "harder",
        help: "Ask for the next step.",
    },
    Binding {
        action: Action::Deed(Deed::StepDown),
        name: "step_down",
        word: "easier",
        help: "Ask for the step before.",
    },
    Binding {
        action: Action::Deed(Deed::Redo),
        name: "redo",
        word: "redo",
        help: "What was set aside last counts again.",
    },
    Binding {
        action: Action::Deed(Deed::Note),
        name: "note",
        word: "note",
        help: "A note belongs here; its words are asked at the end.",
    },
    Binding {
        action: Action::List,
        name: "list",
        word: "list",
        help: "What happened: set any of it aside, or back in.",
    },
    Binding {
        action: Action::Numbers,
        name: "numbers",
        word: "numbers",
        help: "The numbers behind the screen, or the session again.",
    },
];
