//! A made-up drill, kept as a review is.

use super::aim_of;
use crate::journal::record::{Bout, KeptReview, ProfileSnapshot};
use crate::sound::room::Dice;
use crate::timeline::{Moment, MomentKind, MomentSource, Outcome, Pair, Sound, SoundKind};

/// A bout in the making.
pub(super) struct Making {
    t_s: f64,
    kind: MomentKind,
    name: &'static str,
    mark: SoundKind,
    kept: (Vec<Sound>, Vec<Moment>, Vec<Pair>),
}

impl Making {
    pub(super) fn new(kind: MomentKind, name: &'static str, says_word: bool) -> Self {
        Self {
            t_s: 2.0,
            kind,
            name,
            mark: if says_word {
                SoundKind::Word
            } else {
                SoundKind::Click
            },
            kept: (Vec::new(), Vec::new(), Vec::new()),
        }
    }

    pub(super) fn rest_s(&mut self, s: f64) {
        self.t_s += s;
    }

    fn sound(&mut self, t_s: f64, kind: SoundKind, dice: &mut Dice) {
        let is_mark = kind != SoundKind::Impact;
        self.kept.0.push(Sound {
            t_s,
            kind,
            name: if is_mark { self.name } else { "" }.to_owned(),
            confidence: dice.between(0.8, 1.0),
            level_dbfs: dice.between(-30.0, -6.0),
        });
    }

    /// The ball's impacts after the first one, which is the moment itself.
    pub(super) fn bounces(&mut self, dice: &mut Dice) {
        let mut t_s = self.t_s;
        let mut flight_s = 0.66;
        for _ in 0..3 {
            self.sound(t_s, SoundKind::Impact, dice);
            t_s += flight_s;
            flight_s *= 0.74;
        }
    }

    pub(super) fn moment(&mut self, label: &str, lag_ms: Option<f64>, dice: &mut Dice) {
        let moment_s = self.t_s;
        self.kept.1.push(Moment {
            t_s: moment_s,
            kind: self.kind,
            source: match self.kind {
                MomentKind::Behaviour => MomentSource::Hand,
                _ => MomentSource::Sound,
            },
            label: label.to_owned(),
        });
        let mark_s = lag_ms.map(|ms| moment_s + ms / 1e3);
        if let Some(mark_s) = mark_s {
            self.sound(mark_s, self.mark, dice);
        }
        let aim = aim_of(self.kind);
        self.kept.2.push(Pair {
            moment_s: Some(moment_s),
            mark_s,
            lag_ms,
            outcome: lag_ms.map_or(Outcome::Missed, |ms| aim.judge(ms)),
            u_ms: lag_ms.map(|_| 0.6),
        });
    }

    pub(super) fn stray(&mut self, dice: &mut Dice) {
        self.t_s += 2.0;
        let mark_s = self.t_s;
        self.sound(mark_s, self.mark, dice);
        self.kept.2.push(Pair {
            moment_s: None,
            mark_s: Some(mark_s),
            lag_ms: None,
            outcome: Outcome::Stray,
            u_ms: None,
        });
    }

    pub(super) fn finish(self, bout: Bout) -> KeptReview {
        let (mut sounds, moments, pairs) = self.kept;
        sounds.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
        KeptReview {
            bout: Bout {
                duration_s: Some(self.t_s + 4.0),
                profiles: vec![ProfileSnapshot {
                    name: self.name.to_owned(),
                    json: r#"{"made_up":true}"#.to_owned(),
                }],
                ..bout
            },
            sounds,
            moments,
            pairs,
        }
    }
}
