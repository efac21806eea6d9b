//! The look: colours for light and dark terminals or none at all, and signs with a
//! fallback in ASCII. No colour carries a meaning that a word does not carry too.

use ratatui::style::{Color, Modifier, Style};
use serde::{Deserialize, Serialize};

use crate::page::Glyphs;
use crate::timeline::Outcome;

/// The colours of a terminal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Colours {
    /// Light letters on a dark ground.
    Dark,
    /// Dark letters on a light ground.
    Light,
    /// None: bold and plain letters only.
    None,
}

/// What a trainer can ask for in the settings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ColourSetting {
    /// As the environment says.
    #[default]
    Auto,
    /// For dark terminals.
    Dark,
    /// For light terminals.
    Light,
    /// No colour.
    None,
}

/// Which signs a trainer asks for in the settings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum SignSetting {
    /// As the environment says.
    #[default]
    Auto,
    /// Blocks and lines.
    Unicode,
    /// ASCII only.
    Ascii,
}

/// What a piece of the screen is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Ordinary words.
    Plain,
    /// What can be passed over: keys, units.
    Quiet,
    /// What is looked for first.
    Strong,
    /// Something needs a hand.
    Warning,
    /// An outcome.
    Of(Outcome),
}

/// How everything looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// The colours.
    pub colours: Colours,
    /// The signs.
    pub signs: Glyphs,
}

impl Look {
    /// What was asked for, or what the environment says: `NO_COLOR` (any value
    /// but none, no-color.org), `TERM`, `COLORFGBG` (its last number is the
    /// ground's colour) and the locale's letters. `variable` reads one variable.
    pub fn choose(
        colours: ColourSetting,
        signs: SignSetting,
        variable: &dyn Fn(&str) -> Option<String>,
    ) -> Self {
        let set = |name: &str| variable(name).filter(|value| !value.is_empty());
        let is_dumb = set("TERM").is_some_and(|t| t == "dumb");
        let is_light = set("COLORFGBG")
            .is_some_and(|c| matches!(c.rsplit(';').next(), Some("7" | "15" | "11" | "14")));
        let colours = match colours {
            _ if set("NO_COLOR").is_some() => Colours::None,
            ColourSetting::None => Colours::None,
            ColourSetting::Dark => Colours::Dark,
            ColourSetting::Light => Colours::Light,
            ColourSetting::Auto if is_dumb => Colours::None,
            ColourSetting::Auto if is_light => Colours::Light,
            ColourSetting::Auto => Colours::Dark,
        };
        let locale = ["LC_ALL", "LC_CTYPE", "LANG"].iter().find_map(|n| set(n));
        let is_utf8 = locale.is_some_and(|l| {
            let l = l.to_ascii_lowercase();
            l.contains("utf-8") || l.contains("utf8")
        });
        // The kernel's own console has few signs beyond ASCII.
        let is_console = set("TERM").is_some_and(|t| t == "linux");
        let signs = match signs {
            SignSetting::Unicode => Glyphs::Unicode,
            SignSetting::Ascii => Glyphs::Ascii,
            SignSetting::Auto if is_utf8 && !is_dumb && !is_console => Glyphs::Unicode,
            SignSetting::Auto => Glyphs::Ascii,
        };
        Self { colours, signs }
    }

    /// The style of a piece.
    pub fn style(self, role: Role) -> Style {
        let plain = Style::new();
        let bold = plain.add_modifier(Modifier::BOLD);
        let style = match role {
            Role::Plain => plain,
            Role::Quiet if self.colours == Colours::None => plain,
            Role::Quiet => plain.add_modifier(Modifier::DIM),
            Role::Warning if self.colours == Colours::None => {
                plain.add_modifier(Modifier::REVERSED)
            }
            _ => bold,
        };
        match (self.colours, colour(role)) {
            (Colours::Dark, Some((on_dark, _))) => style.fg(on_dark),
            (Colours::Light, Some((_, on_light))) => style.fg(on_light),
            _ => style,
        }
    }
}

/// The colour on dark and on light ground; of the sixteen that a terminal's own
/// palette makes readable.
fn colour(role: Role) -> Option<(Color, Color)> {
    match role {
        Role::Plain | Role::Quiet | Role::Strong => None,
        Role::Warning => Some((Color::LightYellow, Color::Red)),
        Role::Of(Outcome::OnTime) => Some((Color::LightGreen, Color::Green)),
        Role::Of(Outcome::Early) => Some((Color::LightCyan, Color::Blue)),
        Role::Of(Outcome::Late) => Some((Color::LightYellow, Color::Magenta)),
        Role::Of(Outcome::Missed | Outcome::Stray) => Some((Color::LightRed, Color::Red)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look(colours: ColourSetting, signs: SignSetting, set: &[(&str, &str)]) -> Look {
        Look::choose(colours, signs, &|name| {
            let found = set.iter().find(|(n, _)| *n == name);
            found.map(|(_, v)| (*v).to_owned())
        })
    }

    #[test]
    fn the_environment_is_asked_when_nothing_is_set() {
        use ColourSetting::Auto;
        let signs = SignSetting::Auto;
        let utf = ("LANG", "en_GB.UTF-8");
        let dark = look(Auto, signs, &[utf, ("TERM", "xterm")]);
        assert_eq!((dark.colours, dark.signs), (Colours::Dark, Glyphs::Unicode));
        let light = look(Auto, signs, &[("COLORFGBG", "0;15"), ("LANG", "C")]);
        assert_eq!(
            (light.colours, light.signs),
            (Colours::Light, Glyphs::Ascii)
        );
        let dumb = look(Auto, signs, &[("TERM", "dumb"), utf]);
        assert_eq!((dumb.colours, dumb.signs), (Colours::None, Glyphs::Ascii));
        assert_eq!(
            look(Auto, signs, &[("TERM", "linux"), utf]).signs,
            Glyphs::Ascii
        );
        // The nearer variable wins over LANG.
        let c = look(Auto, signs, &[("LC_ALL", "C"), utf]);
        assert_eq!(c.signs, Glyphs::Ascii);
    }

    #[test]
    fn no_color_wins_over_the_settings_and_an_empty_one_is_none() {
        let set = look(
            ColourSetting::Dark,
            SignSetting::Unicode,
            &[("NO_COLOR", "1")],
        );
        assert_eq!((set.colours, set.signs), (Colours::None, Glyphs::Unicode));
        let empty = look(
            ColourSetting::Light,
            SignSetting::Ascii,
            &[("NO_COLOR", "")],
        );
        assert_eq!(
            (empty.colours, empty.signs),
            (Colours::Light, Glyphs::Ascii)
        );
    }

    #[test]
    fn without_colours_there_are_none() {
        let look = Look {
            colours: Colours::None,
            signs: Glyphs::Unicode,
        };
        for role in [Role::Plain, Role::Quiet, Role::Strong, Role::Warning] {
            assert_eq!((look.style(role).fg, look.style(role).bg), (None, None));
        }
        assert_eq!(look.style(Role::Of(Outcome::Late)).fg, None);
    }
}
