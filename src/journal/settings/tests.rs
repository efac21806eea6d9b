use super::*;
use crate::timeline::MomentKind;

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
