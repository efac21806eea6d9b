//! A made-up drill, kept as a review is.

use super::aim_of;
use crate::journal::record::{Bout, KeptReview, ProfileSnapshot};
use crate::listen::Timeline;
use crate::sound::room::Dice;
use crate::timeline::{
    HeardSound, Moment, MomentId, MomentKind, MomentSource, Outcome, Pair, Sound, SoundId,
    SoundKind,
};

/// A bout in the making.
pub(super) struct Making {
    t_s: f64,
    kind: MomentKind,
    name: &'static str,
    mark: SoundKind,
    heard: Timeline,
    moments: Vec<Moment>,
    pairs: Vec<Pair>,
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
            heard: Timeline::default(),
            moments: Vec::new(),
            pairs: Vec::new(),
        }
    }

    pub(super) fn rest_s(&mut self, s: f64) {
        self.t_s += s;
    }

    fn sound(&mut self, t_s: f64, kind: SoundKind, dice: &mut Dice) -> SoundId {
        let is_mark = kind != SoundKind::Impact;
        let id = SoundId::at(self.heard.sounds.len());
        let sound = Sound {
            t_s,
            kind,
            name: if is_mark { self.name } else { "" }.to_owned(),
            confidence: dice.between(0.8, 1.0),
            level_dbfs: dice.between(-30.0, -6.0),
        };
        self.heard.insert(HeardSound {
            id,
            sound,
            u_ms: 0.0,
        });
        id
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
        let id = MomentId::at(self.moments.len());
        self.moments.push(Moment {
            t_s: moment_s,
            kind: self.kind,
            source: match self.kind {
                MomentKind::Behaviour => MomentSource::Hand,
                _ => MomentSource::Sound,
            },
            label: label.to_owned(),
        });
        let mark_s = lag_ms.map(|ms| moment_s + ms / 1e3);
        let mark = mark_s.map(|mark_s| self.sound(mark_s, self.mark, dice));
        let aim = aim_of(self.kind);
        self.pairs.push(Pair {
            moment: Some(id),
            mark,
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
        let mark = self.sound(mark_s, self.mark, dice);
        self.pairs.push(Pair {
            moment: None,
            mark: Some(mark),
            moment_s: None,
            mark_s: Some(mark_s),
            lag_ms: None,
            outcome: Outcome::Stray,
            u_ms: None,
        });
    }

    pub(super) fn finish(self, bout: Bout) -> KeptReview {
        let bout = Bout {
            duration_s: Some(self.t_s + 4.0),
            profiles: vec![ProfileSnapshot {
                name: self.name.to_owned(),
                json: r#"{"made_up":true}"#.to_owned(),
            }],
            ..bout
        };
        KeptReview::of_heard(bout, &self.heard.sounds, &self.moments, &self.pairs)
    }
}
