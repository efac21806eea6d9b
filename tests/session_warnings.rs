//! Every warning rule has a scene in which it speaks and one in which it keeps
//! silent: small files under fixtures/sessions.

#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use marklag::journal::Settings;
use marklag::measure::session::{Rule, Warning};
use marklag::session::Looking;
use marklag::timeline::session::{Happened, Log, SessionEvent};
use marklag::timeline::{MomentSource, Plan, Sound, SoundKind};
use serde::Deserialize;

const RULES: [Rule; 8] = [
    Rule::Limit,
    Rule::Unpaid,
    Rule::NoMark,
    Rule::Hurry,
    Rule::Rate,
    Rule::Answers,
    Rule::Offers,
    Rule::Same,
];

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Scene {
    /// What is to be seen here.
    about: String,
    #[serde(default = "five")]
    length_min: f64,
    /// "SECONDS event", as in an events file; and "mark".
    #[serde(default)]
    events: Vec<String>,
    /// The same events again and again.
    #[serde(default)]
    every: Vec<Every>,
    /// Settings, if they differ from the defaults.
    #[serde(default)]
    settings: String,
    /// What is looked at, and when.
    look: Vec<Look>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Every {
    from_s: f64,
    to_s: f64,
    step_s: f64,
    events: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Look {
    at_s: f64,
    /// The rule whose warning is shown; empty for none.
    shows: String,
    /// Rules that must be silent.
    #[serde(default)]
    silent: Vec<String>,
    /// What its numbers say.
    #[serde(default)]
    numbers: String,
}

fn five() -> f64 {
    5.0
}

fn event(text: &str, later_s: f64) -> SessionEvent {
    let (t_s, word) = text.split_once(' ').unwrap();
    let t_s: f64 = t_s.parse::<f64>().unwrap() + later_s;
    let mark = || {
        Happened::Mark(Sound {
            t_s,
            kind: SoundKind::Click,
            name: "blue".into(),
            confidence: 0.9,
            level_dbfs: -12.0,
        })
    };
    SessionEvent {
        t_s,
        u_ms: 3.0,
        source: MomentSource::File,
        what: match word {
            "mark" => mark(),
            "turn 2" => Happened::Turn { item: 1 },
            word => Happened::from_plain_word(word).unwrap_or_else(|| panic!("{word}")),
        },
    }
}

impl Scene {
    fn log(&self, until_s: f64) -> Log {
        let mut events: Vec<SessionEvent> = self.events.iter().map(|e| event(e, 0.0)).collect();
        for every in &self.every {
            let mut at_s = every.from_s;
            while at_s < every.to_s {
                events.extend(every.events.iter().map(|e| event(e, at_s)));
                at_s += every.step_s;
            }
        }
        events.retain(|e| e.t_s <= until_s);
        events.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
        let mut log = Log::default();
        for (number, event) in (1..).zip(events) {
            log.apply(number, event);
        }
        log
    }

    fn warnings(&self, at_s: f64) -> Vec<Warning> {
        let settings = Settings::parse(&self.settings, Path::new("settings.toml")).unwrap();
        let mut plan = Plan::parse(include_str!("../fixtures/plans/target.toml")).unwrap();
        plan.length_min = self.length_min;
        let setup = settings.session_setup(plan, None);
        Looking::at(&self.log(at_s), &setup, at_s, false).warnings(&setup)
    }
}

fn scenes() -> BTreeMap<String, Scene> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/sessions");
    fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .map(|path| {
            let text = fs::read_to_string(&path).unwrap();
            let scene = toml::from_str(&text).unwrap_or_else(|e| panic!("{path:?}: {e}"));
            let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
            (name, scene)
        })
        .collect()
}

#[test]
fn each_scene_shows_what_it_says() {
    for (name, scene) in scenes() {
        for look in &scene.look {
            let warnings = scene.warnings(look.at_s);
            let shown = warnings.first().map_or("", |w| w.rule.name());
            let place = format!("{name} ({}) at {} s: {warnings:?}", scene.about, look.at_s);
            assert_eq!(shown, look.shows, "{place}");
            for silent in &look.silent {
                assert!(!warnings.iter().any(|w| w.rule.name() == silent), "{place}");
            }
            let numbers = warnings.first().map_or("", |w| w.numbers.as_str());
            assert!(numbers.contains(&look.numbers), "{place}");
        }
    }
}

/// The scenes are worth something: for each rule there is one that shows it, one
/// that says it is silent, and switching it off silences it.
#[test]
fn every_rule_is_shown_silent_and_switched_off() {
    let scenes = scenes();
    for rule in RULES {
        let looks = || {
            scenes
                .values()
                .flat_map(|s| s.look.iter().map(move |l| (s, l)))
        };
        let shown: Vec<_> = looks().filter(|(_, l)| l.shows == rule.name()).collect();
        assert!(!shown.is_empty(), "{rule:?} is shown nowhere");
        let is_silent = |l: &Look| l.silent.iter().any(|s| s == rule.name());
        assert!(
            looks().any(|(_, l)| is_silent(l)),
            "{rule:?} is silent nowhere"
        );
        for (scene, look) in shown {
            let settings = format!(
                "{}\n[session.warn.{}]\non = false\n",
                scene.settings,
                rule.name()
            );
            if scene.settings.contains("session.warn") {
                continue;
            }
            let off = Scene {
                settings,
                about: scene.about.clone(),
                events: scene.events.clone(),
                every: scene
                    .every
                    .iter()
                    .map(|e| Every {
                        events: e.events.clone(),
                        ..*e
                    })
                    .collect(),
                look: Vec::new(),
                length_min: scene.length_min,
            };
            assert!(!off.warnings(look.at_s).iter().any(|w| w.rule == rule));
        }
    }
}

/// No words of any rule urge to go on.
#[test]
fn no_warning_urges_to_go_on() {
    for (name, scene) in scenes() {
        for look in &scene.look {
            for warning in scene.warnings(look.at_s) {
                let words = warning.words.to_lowercase();
                for urging in [
                    "go on",
                    "keep going",
                    "continue",
                    "one more",
                    "hurry",
                    "must",
                ] {
                    assert!(!words.contains(urging), "{name}: {words}");
                }
                assert!(words.len() <= 76, "one line of 80 columns: {words}");
            }
        }
    }
}
