//! Balls that people drop, and what is known of each before it is heard.

use std::str::FromStr;

use super::super::physics::Air;

/// A ball by its name, or by its mass and diameter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BallKind {
    /// 56.0–59.4 g, 65.4–68.6 mm (ITF Rules of Tennis, Appendix I).
    Tennis,
    /// 2.7 g, 40 mm (ITTF Laws 2.3).
    TableTennis,
    /// Of solid or hollow rubber, some 30 to 65 mm; masses differ much.
    Rubber,
    /// Size 5: 410–450 g, 68–70 cm around (IFAB Law 2).
    Football,
    /// 45.93 g, 42.67 mm (R&A and USGA Rules of Golf, equipment).
    Golf,
    /// Size 7: 580–620 g, 75–77 cm around (FIBA, equipment).
    Basketball,
    /// 260–280 g, 65–67 cm around (FIVB).
    Volleyball,
    /// Any other.
    Other {
        /// Kilograms.
        mass_kg: f64,
        /// Metres.
        diameter_m: f64,
    },
}

/// Drag coefficient of a ball as slow as one that is dropped, below the speed at
/// which its drag falls off (tennis: 0.507 ± 0.024 in free flight, Cross and
/// Lindsey 2013, 0.6 in wind tunnels, less when worn; smooth spheres: 0.47).
const DRAG_COEFFICIENT: f64 = 0.5;
/// How well it is known, as a share: from worn to wind tunnel.
const DRAG_SHARE: f64 = 0.1;

/// Mean and standard deviation.
pub(super) type Known = (f64, f64);

/// What is known of a ball's bounces before they are heard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Prior {
    /// How likely, before anything is heard.
    pub weight: f64,
    /// 1/v² of the terminal speed, in s²/m².
    pub drag: Known,
    /// Log of the restitution at [`super::bounce::REFERENCE_M_S`].
    pub ln_restitution: Known,
}

impl BallKind {
    /// The kinds that have a name, and their names.
    pub const NAMED: [(&'static str, Self); 7] = [
        ("tennis", Self::Tennis),
        ("table-tennis", Self::TableTennis),
        ("rubber", Self::Rubber),
        ("football", Self::Football),
        ("golf", Self::Golf),
        ("basketball", Self::Basketball),
        ("volleyball", Self::Volleyball),
    ];

    /// Mass in kilograms, diameter in metres, and the drag's uncertainty as a share.
    fn body(self) -> (f64, f64, f64) {
        match self {
            Self::Tennis => (0.0577, 0.0670, DRAG_SHARE),
            Self::TableTennis => (0.0027, 0.0400, DRAG_SHARE),
            Self::Rubber => (0.0600, 0.0500, 0.5),
            Self::Football => (0.4300, 0.2200, DRAG_SHARE),
            Self::Golf => (0.0459, 0.0427, DRAG_SHARE),
            Self::Basketball => (0.6000, 0.2420, DRAG_SHARE),
            Self::Volleyball => (0.2700, 0.2100, DRAG_SHARE),
            Self::Other {
                mass_kg,
                diameter_m,
            } => (mass_kg, diameter_m, DRAG_SHARE),
        }
    }

    /// The air as this ball feels it.
    pub fn air(self) -> Air {
        let (mass_kg, diameter_m, _) = self.body();
        Air::around(mass_kg, diameter_m, DRAG_COEFFICIENT)
    }

    /// Restitution at some 4 m/s on a hard floor, and its standard deviation as a
    /// share; rules of the games where they say it (ITF 0.73–0.76 at 7 m/s, ITTF
    /// 0.89–0.92 at 2.4 m/s, FIBA 0.82–0.88), else wide conventions.
    fn restitution(self) -> Known {
        match self {
            Self::Tennis => (0.76, 0.08),
            Self::TableTennis => (0.88, 0.05),
            Self::Golf => (0.82, 0.10),
            Self::Basketball => (0.82, 0.08),
            Self::Football | Self::Volleyball => (0.76, 0.12),
            Self::Rubber | Self::Other { .. } => (0.78, 0.15),
        }
    }

    pub(super) fn prior(self) -> Prior {
        let (drag, share) = (self.air().drag, self.body().2);
        let (e, e_share) = self.restitution();
        Prior {
            weight: 1.0,
            drag: (drag, share * drag),
            ln_restitution: (e.ln(), e_share),
        }
    }

    /// Where no kind is given: any of four sorts of air, from dense balls (golf,
    /// rubber) over hollow ones (tennis, football, basketball) and a volleyball to
    /// the lightest. The weights are conventions.
    pub(super) fn unknown() -> Vec<Prior> {
        let sort = |weight, drag, ln_restitution| Prior {
            weight,
            drag,
            ln_restitution,
        };
        let any = (0.78f64.ln(), 0.15);
        vec![
            sort(0.30, (0.0012, 0.0005), any),
            sort(0.40, (0.0022, 0.0004), any),
            sort(0.10, (0.0040, 0.0008), any),
            sort(0.20, Self::TableTennis.prior().drag, (0.87f64.ln(), 0.07)),
        ]
    }
}

/// A name, or `MASSg,DIAMETERmm`.
impl FromStr for BallKind {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if let Some((_, kind)) = Self::NAMED.iter().find(|(name, _)| *name == text) {
            return Ok(*kind);
        }
        let advice = || {
            let names: Vec<&str> = Self::NAMED.iter().map(|n| n.0).collect();
            format!(
                "give one of {}, or mass and diameter, for instance 58g,67mm",
                names.join(", ")
            )
        };
        let (mass, diameter) = text.split_once(',').ok_or_else(advice)?;
        let number = |text: &str, unit: &str| {
            let text = text.trim().trim_end_matches(unit).trim();
            text.parse::<f64>().map_err(|_| advice())
        };
        let (mass_g, diameter_mm) = (number(mass, "g")?, number(diameter, "mm")?);
        if !(0.5..=5_000.0).contains(&mass_g) || !(10.0..=400.0).contains(&diameter_mm) {
            return Err("a ball has 0.5 to 5000 g and 10 to 400 mm".to_owned());
        }
        Ok(Self::Other {
            mass_kg: mass_g * 1e-3,
            diameter_m: diameter_mm * 1e-3,
        })
    }
}

impl std::fmt::Display for BallKind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Other {
                mass_kg,
                diameter_m,
            } => write!(f, "{}g,{}mm", mass_kg * 1e3, diameter_m * 1e3),
            named => {
                let name = Self::NAMED.iter().find(|(_, kind)| kind == named);
                f.write_str(name.map_or("", |n| n.0))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_ball_is_known_by_its_name_or_its_body() {
        for (name, kind) in BallKind::NAMED {
            assert_eq!(name.parse(), Ok(kind));
            assert_eq!(kind.to_string(), name);
        }
        let tennis: BallKind = "57.7g, 67 mm".parse().unwrap();
        assert!((tennis.air().drag / BallKind::Tennis.air().drag - 1.0).abs() < 1e-9);
        assert_eq!(tennis.to_string().parse(), Ok(tennis));
        assert!("cannon".parse::<BallKind>().unwrap_err().contains("golf"));
        assert!("1g,2m".parse::<BallKind>().is_err());
    }

    /// Halliday, Resnick and Walker, table 6-1 after Brancazio (1984): basketball
    /// 20 m/s, table tennis 9 m/s (from memory). Tennis: 22.9 m/s from Cross and
    /// Lindsey's drag coefficient (2013). Golf: 32 m/s, as textbooks have it (from
    /// memory). Each within what ± 20 % of the drag coefficient allows.
    #[test]
    fn terminal_speeds() {
        let table = [
            (BallKind::Basketball, 20.0),
            (BallKind::TableTennis, 9.0),
            (BallKind::Tennis, 22.93),
            (BallKind::Golf, 32.0),
        ];
        for (kind, published) in table {
            let share = kind.air().terminal_speed_m_s() / published;
            assert!((share - 1.0).abs() < 0.1, "{kind}: {share}");
        }
    }
}
