//! The settings a trainer writes in `settings.toml`: aims, the pairing window,
//! distances, the person. Every field may be left out.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Deserializer, Serialize, de};
use thiserror::Error;

use crate::measure::session::SessionRules;
use crate::screen::theme::{ColourSetting, SignSetting};
use crate::timeline::{Aim, MomentKind};

/// A settings file with every field at its default, and what each means.
pub const DEFAULT_SETTINGS: &str = include_str!("settings.toml");

const AIM_MAX_MS: f64 = 10_000.0;
const WINDOW_MAX_MS: f64 = 60_000.0;
const DISTANCE_MAX_M: f64 = 100.0;
const PERSON_MAX_CHARS: usize = 80;

/// Why a settings file cannot be used.
#[derive(Debug, Error)]
pub enum SettingsError {
    /// It cannot be read at all.
    #[error("{}: the settings cannot be read: {source}. Make them readable for yourself, or choose another home with --home FOLDER", .path.display())]
    Unreadable {
        /// The settings file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// A line of it is wrong.
    #[error("{}, line {line}{}: {why}. Correct the line, or take it out to use the default", .path.display(), in_field(.field))]
    Wrong {
        /// The settings file.
        path: PathBuf,
        /// Counted from 1.
        line: usize,
        /// The field with its section, as `aim.floor.to_ms`; empty when the
        /// file is not TOML at that line.
        field: String,
        /// What is wrong with it.
        why: String,
    },
}

fn in_field(field: &str) -> String {
    if field.is_empty() {
        String::new()
    } else {
        format!(", {field}")
    }
}

/// What a trainer can set. The aims are the program's conventions, not findings
/// about animals.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Settings {
    /// Who marks, when no name is given on the line.
    #[serde(deserialize_with = "person", skip_serializing_if = "Option::is_none")]
    pub person: Option<String>,
    /// The window of lags that counts as on time, for each kind of moment.
    pub aim: Aims,
    /// What the trainer wants to reach.
    pub goal: GoalSetting,
    /// How far a mark may lie from its moment.
    pub pairing: PairingWindow,
    /// Where the microphone stood.
    pub distance: Distances,
    /// How the screen looks.
    pub screen: ScreenSetting,
    /// Which key does what on the screen.
    pub keys: Keys,
    /// What a session with an animal is judged and warned by.
    pub session: SessionRules,
}

/// How the screen looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct ScreenSetting {
    /// For which ground the colours are, if any.
    pub colours: ColourSetting,
    /// Which signs may be drawn.
    pub signs: SignSetting,
}

/// The key of each thing that can be done on a live screen: one sign, or a name
/// such as "space", "enter" or "f2".
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
            _ => return String::new(),
        };
        key.clone()
    }
}

/// The aim for each kind of moment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Aims {
    /// The ball hits the floor: seen coming.
    pub floor: AimSetting,
    /// The ball leaves the hand: a reaction.
    pub release: AimSetting,
    /// The ball stands at its top: seen coming.
    pub top: AimSetting,
    /// A behaviour reaches its criterion: a reaction.
    pub behaviour: AimSetting,
}

impl Default for Aims {
    fn default() -> Self {
        let seen_coming = AimSetting {
            from_ms: -50.0,
            to_ms: 50.0,
        };
        let reaction = AimSetting {
            from_ms: 0.0,
            to_ms: 400.0,
        };
        Self {
            floor: seen_coming,
            release: reaction,
            top: seen_coming,
            behaviour: reaction,
        }
    }
}

impl Aims {
    /// The aim for one kind of moment.
    pub fn of(&self, kind: MomentKind) -> Aim {
        let setting = match kind {
            MomentKind::Floor => self.floor,
            MomentKind::Release => self.release,
            MomentKind::Top => self.top,
            MomentKind::Behaviour => self.behaviour,
        };
        Aim {
            from_ms: setting.from_ms,
            to_ms: setting.to_ms,
        }
    }
}

/// An aim as it stands in the settings: both ends, in order.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "AimEnds")]
pub struct AimSetting {
    /// Lower end in milliseconds (inclusive), −10 000 to 10 000.
    pub from_ms: f64,
    /// Upper end in milliseconds (inclusive), −10 000 to 10 000, not below `from_ms`.
    pub to_ms: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct AimEnds {
    #[serde(deserialize_with = "aim_end")]
    from_ms: f64,
    #[serde(deserialize_with = "aim_end")]
    to_ms: f64,
}

impl TryFrom<AimEnds> for AimSetting {
    type Error = String;

    fn try_from(AimEnds { from_ms, to_ms }: AimEnds) -> Result<Self, String> {
        if from_ms > to_ms {
            return Err(format!(
                "from_ms ({from_ms}) is above to_ms ({to_ms}); an aim begins at its earlier end"
            ));
        }
        Ok(Self { from_ms, to_ms })
    }
}

/// The goal for every kind of moment.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct GoalSetting {
    /// The share of moments that is to be on time, 0 to 1. 8 of 10 is common
    /// practice, no source.
    #[serde(deserialize_with = "share")]
    pub on_time_share: f64,
}

impl Default for GoalSetting {
    fn default() -> Self {
        Self { on_time_share: 0.8 }
    }
}

/// How far a mark may lie from its moment and still be paired with it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct PairingWindow {
    /// How early, in milliseconds, 0 to 60 000.
    #[serde(deserialize_with = "window")]
    pub before_ms: f64,
    /// How late, in milliseconds, 0 to 60 000.
    #[serde(deserialize_with = "window")]
    pub after_ms: f64,
}

impl Default for PairingWindow {
    fn default() -> Self {
        Self {
            before_ms: 500.0,
            after_ms: 1500.0,
        }
    }
}

/// Distances, so that the sound's travel (2.9 ms a metre) can be taken out of a
/// lag. Equal distances cancel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Distances {
    /// From the microphone to where the ball lands, in metres, 0 to 100.
    #[serde(deserialize_with = "distance")]
    pub microphone_to_ball_m: f64,
    /// From the microphone to the clicker or the mouth, in metres, 0 to 100.
    #[serde(deserialize_with = "distance")]
    pub microphone_to_clicker_m: f64,
    /// How well both are known: ± this many metres, 0 to 100.
    #[serde(deserialize_with = "distance")]
    pub known_within_m: f64,
}

impl Default for Distances {
    fn default() -> Self {
        Self {
            microphone_to_ball_m: 1.0,
            microphone_to_clicker_m: 1.0,
            known_within_m: crate::review::DISTANCE_HALF_WIDTH_M,
        }
    }
}

impl Settings {
    /// Reads a settings file; one that is not there gives the defaults.
    ///
    /// # Errors
    /// The file, the line and the field that are wrong.
    pub fn load(path: &Path) -> Result<Self, SettingsError> {
        match fs::read_to_string(path) {
            Ok(text) => Self::parse(&text, path),
            Err(source) if source.kind() == io::ErrorKind::NotFound => Ok(Self::default()),
            Err(source) => Err(SettingsError::Unreadable {
                path: path.to_path_buf(),
                source,
            }),
        }
    }

    /// Reads settings from text; `path` is only for the words of an error.
    ///
    /// # Errors
    /// The line and the field that are wrong.
    pub fn parse(text: &str, path: &Path) -> Result<Self, SettingsError> {
        // A byte-order mark is what some editors put first; TOML has none.
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let wrong = |field: String, error: &toml::de::Error| SettingsError::Wrong {
            path: path.to_path_buf(),
            line: line_of(text, error.span().map_or(0, |span| span.start)),
            field,
            why: error.message().trim_end_matches('.').to_owned(),
        };
        let deserializer = toml::Deserializer::parse(text).map_err(|e| wrong(String::new(), &e))?;
        serde_path_to_error::deserialize(deserializer).map_err(|error| {
            let field = error.path().to_string();
            let field = if field == "." { String::new() } else { field };
            wrong(field, error.inner())
        })
    }
}

fn line_of(text: &str, byte: usize) -> usize {
    let before = text.as_bytes().iter().take(byte);
    before.filter(|&&byte| byte == b'\n').count() + 1
}

fn person<'de, D: Deserializer<'de>>(from: D) -> Result<Option<String>, D::Error> {
    let name = String::deserialize(from)?;
    let name = name.trim();
    if name.is_empty() {
        return Ok(None);
    }
    if name.chars().count() > PERSON_MAX_CHARS || name.chars().any(char::is_control) {
        return Err(de::Error::custom(format!(
            "a person's name is one line of at most {PERSON_MAX_CHARS} characters"
        )));
    }
    Ok(Some(name.to_owned()))
}

fn aim_end<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
    number(from, -AIM_MAX_MS, AIM_MAX_MS, "milliseconds")
}

fn share<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
    number(from, 0.0, 1.0, "(a share of all moments)")
}

fn window<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
    number(from, 0.0, WINDOW_MAX_MS, "milliseconds")
}

fn distance<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
    number(from, 0.0, DISTANCE_MAX_M, "metres")
}

fn number<'de, D: Deserializer<'de>>(
    from: D,
    least: f64,
    most: f64,
    unit: &str,
) -> Result<f64, D::Error> {
    let value = f64::deserialize(from)?;
    if (least..=most).contains(&value) {
        Ok(value)
    } else {
        Err(de::Error::custom(format!(
            "{value} is not between {least} and {most} {unit}"
        )))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;

    fn parse(text: &str) -> Result<Settings, SettingsError> {
        Settings::parse(text, Path::new("home/settings.toml"))
    }

    fn fields(table: &toml::Table) -> Vec<String> {
        let mut names = Vec::new();
        for (name, value) in table {
            match value {
                toml::Value::Table(inner) => {
                    names.extend(fields(inner).iter().map(|field| format!("{name}.{field}")));
                }
                _ => names.push(name.clone()),
            }
        }
        names.sort();
        names
    }

    #[test]
    fn the_documented_file_holds_every_default() {
        assert_eq!(parse(DEFAULT_SETTINGS).unwrap(), Settings::default());
        let documented: toml::Table = DEFAULT_SETTINGS.parse().unwrap();
        let mut every = toml::Table::try_from(Settings::default()).unwrap();
        every.insert("person".into(), "".into());
        assert_eq!(fields(&documented), fields(&every));
    }

    #[test]
    fn a_missing_or_empty_file_gives_the_defaults() {
        let scratch = tempfile::tempdir().unwrap();
        let nothing = Settings::load(&scratch.path().join("settings.toml")).unwrap();
        assert_eq!(nothing, Settings::default());
        assert_eq!(parse("").unwrap(), Settings::default());
        assert_eq!(parse("\u{feff}# mine\r\n").unwrap(), Settings::default());
    }

    #[test]
    fn what_is_set_is_set_and_the_rest_stays() {
        let settings = parse(
            "person = ' Ada '\n[aim.floor]\nfrom_ms = -80\nto_ms = 20.5\n[distance]\nmicrophone_to_ball_m = 3\n",
        )
        .unwrap();
        assert_eq!(settings.person.as_deref(), Some("Ada"));
        let floor = settings.aim.of(MomentKind::Floor);
        assert_eq!((floor.from_ms, floor.to_ms), (-80.0, 20.5));
        assert_eq!(settings.aim.top, Aims::default().top);
        assert_eq!(settings.distance.microphone_to_ball_m, 3.0);
        assert_eq!(settings.distance.microphone_to_clicker_m, 1.0);
        let text = toml::to_string(&settings).unwrap();
        assert_eq!(parse(&text).unwrap(), settings);
    }

    #[test]
    fn each_mistake_is_named_with_file_line_and_field() {
        let cases = [
            ("persn = 'Ada'", 1, "persn", "unknown field"),
            ("\n[aim.flor]\nfrom_ms = 1", 2, "flor", "unknown field"),
            ("[aim.floor]\nfrom_ms = 1\n", 1, "aim.floor", "to_ms"),
            (
                "[aim.floor]\nfrom_ms = 'early'\nto_ms = 1",
                2,
                "aim.floor.from_ms",
                "string",
            ),
            (
                "[aim.top]\nfrom_ms = 9\nto_ms = 1",
                1,
                "aim.top",
                "above to_ms",
            ),
            (
                "[aim.top]\nfrom_ms = nan\nto_ms = 1",
                2,
                "aim.top.from_ms",
                "between",
            ),
            (
                "# x\n[pairing]\n\nafter_ms = -1",
                4,
                "pairing.after_ms",
                "between 0",
            ),
            (
                "[distance]\nmicrophone_to_ball_m = inf",
                2,
                "distance.microphone_to_ball_m",
                "metres",
            ),
            ("person = 'a", 1, "", ""),
            ("person = 3", 1, "person", "string"),
            ("\n\nperson =", 3, "", ""),
            ("person = 'A'\nperson = 'B'", 2, "", "duplicate"),
        ];
        for (text, line, field, why) in cases {
            let error = parse(text).unwrap_err().to_string();
            let start = format!("home/settings.toml, line {line}");
            assert!(error.starts_with(&start), "{text:?}: {error}");
            assert!(error.contains(field), "{text:?}: {error}");
            assert!(error.contains(why), "{text:?}: {error}");
            assert!(!error.contains('\n'), "{text:?}: {error}");
        }
    }

    #[test]
    fn a_folder_in_its_place_is_named() {
        let scratch = tempfile::tempdir().unwrap();
        let error = Settings::load(scratch.path()).unwrap_err().to_string();
        assert!(error.contains(scratch.path().to_str().unwrap()), "{error}");
    }

    proptest::proptest! {
        #[test]
        fn any_text_is_settings_or_a_clear_error(text in "\\PC{0,60}|[a-z_.\\[\\]= 0-9'\n-]{0,80}") {
            if let Err(error) = parse(&text) {
                assert!(error.to_string().starts_with("home/settings.toml"));
            }
        }
    }
}
