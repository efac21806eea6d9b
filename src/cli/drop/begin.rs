//! What a drill needs before it begins, and its beginning.

use std::sync::mpsc::Receiver;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde_json::json;

use super::app::{Action, Begin, Drill};
use super::keep::Keeper;
use super::{By, DropCmd, When};
use crate::cli::bridges::Bridges;
use crate::cli::keep_sound::{begin_sound, forget_sound};
use crate::cli::people;
use crate::cli::review::{open_journal, rules};
use crate::cli::sound_in::Origin;
use crate::drill::{Caller, Feedback, Setup, State, Waits};
use crate::hand::KeyPath;
use crate::hand::pedal::Pedal;
use crate::journal::{Bout, BoutKind, Home, Journal, Settings};
use crate::listen::Listening;
use crate::live::{Happening, Live};
use crate::page::Recording as Reviewed;
use crate::screen::{KeyMap, Log, Look, Screen};
use crate::sound::SampleSource;
use crate::sound::monotonic::mono_ns;

/// Drops of a drill when no number is given.
const DROPS: usize = 20;
/// What the ball on the screen falls when no height is given, in metres.
const SCREEN_HEIGHT_M: f64 = 1.2;

/// All that a drill needs, open; nothing is kept yet.
pub(super) struct Ready {
    pub(super) bout: Bout,
    pub(super) log: Log,
    pub(super) look: Look,
    screen: Option<Screen>,
    keys: KeyMap<Action>,
    pedal: Option<Pedal>,
    path: Option<KeyPath>,
    source: Box<dyn SampleSource>,
    listening: Listening,
    journal: Option<Journal>,
    state: State,
    caller: Caller,
    names: Vec<String>,
}

impl Ready {
    /// What is told of the sound at the end.
    pub(super) fn reviewed(&self) -> Reviewed {
        Reviewed {
            path: self.bout.source.clone().unwrap_or_default(),
            sample_rate_hz: self.source.rate_hz(),
            channels: self.bout.channels.unwrap_or(1),
            duration_s: 0.0,
            track: None,
            compression: None,
        }
    }
}

/// A drill that has begun.
pub(super) struct Running {
    pub(super) drill: Drill,
    pub(super) told: Receiver<Happening>,
    pub(super) screen: Option<Screen>,
}

impl DropCmd {
    /// Opens all that the drill needs, the screen last.
    pub(super) fn prepare(&self, home: &Home) -> anyhow::Result<Ready> {
        let mut settings = Settings::load(&home.settings_file())?;
        settings.bridge.word_at = self.word_at.unwrap_or(settings.bridge.word_at);
        let keys = self.keys(&settings)?;
        let taught = Bridges::wanted(home, &self.bridge)?;
        let kind = self.moment.kind();
        let rules = rules(&settings, kind, self.aim, self.window)?;
        let pedal = self.pedal.as_deref();
        let pedal = pedal.map(|name| Pedal::open(name, true)).transpose()?;
        let path = self.key_path(home)?;
        let origin = self.sound.origin(home)?;
        let rate_hz = origin.source.rate_hz();
        if let Some(words) = taught.narrow(rate_hz) {
            eprintln!("Note: {words}.");
        }
        let word_at = settings.bridge.word_at;
        let listening = taught
            .listening(rate_hz, self.listened_height(), word_at)?
            .with_ball(self.ball);
        let keeps = !self.no_keep && (!self.sound.is_recording() || self.keep || self.keep_sound);
        let journal = keeps.then(|| open_journal(home)).transpose()?;
        let state = State::new(Setup {
            kind,
            way: self.way(),
            rules,
            drops: match self.drops {
                Some(n) => usize::try_from(n).ok(),
                None => (!self.sound.is_recording()).then_some(DROPS),
            },
            feedback: match self.feedback {
                When::Each => Feedback::Each,
                When::End => Feedback::End,
            },
            known_after_s: listening.known_after_s(),
            word_at: listening.so_far().word_at,
        });
        let seed = mono_ns().unsigned_abs();
        let person = self.person.as_deref().or(settings.person.as_deref());
        let bout = Bout {
            person: people::known(journal.as_ref(), person)?,
            ..self.bout(&state, &settings, &origin, &taught, seed)?
        };
        let height_m = self.height.unwrap_or(SCREEN_HEIGHT_M);
        let caller = Caller::new(self.way(), kind, height_m, Waits::new(seed, self.catch));
        let look = Look::choose(settings.screen.colours, settings.screen.signs, &|name| {
            std::env::var(name).ok()
        });
        let log = Log::open(home.folder());
        Ok(Ready {
            screen: self.screen(&log)?,
            bout,
            log,
            look,
            keys,
            pedal,
            path,
            source: origin.source,
            listening,
            journal,
            state,
            caller,
            names: taught.names(),
        })
    }

    /// Begins to listen; the drill's line in the journal comes last, when nothing
    /// is left that could fail.
    pub(super) fn begin(&self, ready: Ready, home: &Home) -> anyhow::Result<Running> {
        let mut bout = ready.bout;
        bout.started_at = Timestamp::now();
        let rate_hz = ready.source.rate_hz();
        let kept = self
            .keep_sound
            .then(|| begin_sound(home, "drill", rate_hz))
            .transpose()?;
        let (sound_file, wav) = kept.unzip();
        bout.sound_file = sound_file;
        let (mut live, told) = Live::start(ready.source, ready.listening, wav)?;
        live.watch_signals()?;
        if let Some(pedal) = ready.pedal {
            live.read_pedal(pedal)?;
        }
        match ready.screen {
            Some(_) => live.read_keys()?,
            None => live.read_lines()?,
        }
        let keeper = ready.journal.map(|journal| Keeper::begin(journal, &bout));
        let keeper = keeper.transpose().inspect_err(|_| {
            let file = bout.sound_file.as_deref();
            file.into_iter().for_each(|name| forget_sound(home, name));
        })?;
        let drill = Drill::new(Begin {
            state: ready.state,
            live,
            caller: ready.caller,
            keys: ready.keys,
            path: ready.path,
            keeper,
            log: ready.log,
            names: ready.names,
            has_screen: ready.screen.is_some(),
        });
        Ok(Running {
            drill,
            told,
            screen: ready.screen,
        })
    }

    /// What is known of the drill before it begins.
    fn bout(
        &self,
        state: &State,
        settings: &Settings,
        origin: &Origin,
        taught: &Bridges,
        seed: u64,
    ) -> anyhow::Result<Bout> {
        let rules = &state.setup.rules;
        let mut used = settings.clone();
        used.pairing.before_ms = rules.window.before_ms();
        used.pairing.after_ms = rules.window.after_ms();
        used.bridge.word_at = state.setup.word_at;
        let by = match self.by {
            By::Ball => "ball",
            By::Partner => "partner",
            By::Screen => "screen",
        };
        Ok(Bout {
            kind: BoutKind::Drill,
            started_at: Timestamp::now(),
            time_zone: TimeZone::system().iana_name().map(str::to_owned),
            person: None,
            source: Some(origin.name.clone()),
            sound_file: None,
            sample_rate_hz: Some(origin.source.rate_hz()),
            channels: Some(origin.channels),
            duration_s: None,
            program_version: env!("CARGO_PKG_VERSION").to_owned(),
            settings_json: serde_json::to_string(&json!({
                "settings": used,
                "aim": rules.aim,
                "drill": {
                    "moment": state.setup.kind,
                    "by": by,
                    "catch": self.catch,
                    "drops": state.setup.drops,
                    "height_m": self.height,
                    "ball": self.ball.map(|kind| kind.to_string()),
                    "seed": seed,
                },
            }))?,
            profiles: taught.snapshots()?,
        })
    }
}
