//! A stream listened to from end to end: the ear's events, the ball's drops, and
//! the timeline that comes of them. The microphone, a recording and a made-up
//! room all go through here. Pure: no device, no file, no clock.

use crate::ear::word::{WordAt, WordProfile, known_after_s};
use crate::ear::{ClickProfile, Ear, EarError, Heard};
use crate::timeline::{
    BallFinder, BallKind, Drop, Found, Impact, Moment, MomentKind, Refused, Sound, SoundKind,
    Unproven, moment_of,
};

/// Seconds after which a click or a bang is told at the latest.
const SOUND_KNOWN_S: f64 = 0.5;

/// What was heard in a stream.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Timeline {
    /// All sounds, in order of time.
    pub sounds: Vec<Sound>,
    /// Standard uncertainty of each sound's instant, in milliseconds.
    pub sound_u_ms: Vec<f64>,
    /// Taught words that were part of praise or talk and count as no marks.
    pub in_praise: Vec<Sound>,
    /// Where in a word its mark is stamped; the onset where no word was listened for.
    pub word_at: WordAt,
    /// The drops of the ball, in order of time.
    pub drops: Vec<Drop>,
    /// Chains of impacts that look like a drop but were refused.
    pub refused: Vec<Refused>,
    /// What was heard like a ball and could not be proven; known at the end.
    pub unproven: Unproven,
    /// Length of the stream in seconds.
    pub duration_s: f64,
}

impl Timeline {
    /// Puts a sound in its place: a word is known later than what followed its
    /// onset.
    pub fn add(&mut self, sound: Sound, u_ms: f64) {
        let place = self.sounds.partition_point(|s| s.t_s <= sound.t_s);
        self.sounds.insert(place, sound);
        self.sound_u_ms.insert(place, u_ms);
    }

    /// Words heard within praise or talk: each name and how often, by name.
    pub fn praise(&self) -> Vec<(&str, usize)> {
        let mut names: Vec<&str> = self.in_praise.iter().map(|s| s.name.as_str()).collect();
        names.sort_unstable();
        let same = names.chunk_by(|a, b| a == b);
        same.filter_map(|n| Some((*n.first()?, n.len()))).collect()
    }

    /// Moments of one kind, in order of time.
    pub fn moments(&self, kind: MomentKind) -> Vec<Moment> {
        self.drops
            .iter()
            .filter_map(|drop| moment_of(drop, kind))
            .collect()
    }

    /// The marks: clicks and words, as (seconds, standard uncertainty in ms).
    pub fn marks(&self) -> Vec<(f64, f64)> {
        self.sounds
            .iter()
            .zip(&self.sound_u_ms)
            .filter(|(sound, _)| sound.kind != SoundKind::Impact)
            .map(|(sound, u_ms)| (sound.t_s, *u_ms))
            .collect()
    }

    /// Standard uncertainty of the sound that lies nearest to `t_s`, in
    /// milliseconds; `None` when nothing was heard.
    pub fn u_ms_near(&self, t_s: f64) -> Option<f64> {
        self.sounds
            .iter()
            .zip(&self.sound_u_ms)
            .min_by(|a, b| (a.0.t_s - t_s).abs().total_cmp(&(b.0.t_s - t_s).abs()))
            .map(|(_, u_ms)| *u_ms)
    }

    /// Puts a drop in its place, or in that of the same drop before it was settled.
    pub fn add_drop(&mut self, drop: Drop) {
        match self.drops.iter_mut().find(|d| d.floor_s == drop.floor_s) {
            Some(known) => *known = drop,
            None => {
                let place = self.drops.partition_point(|d| d.floor_s <= drop.floor_s);
                self.drops.insert(place, drop);
            }
        }
    }
}

/// What has become known, in the order of knowing: a word is known when it is
/// over, so perhaps after sounds that came later.
#[derive(Debug, Clone, PartialEq)]
pub enum News {
    /// A sound; its standard uncertainty in milliseconds.
    Sound(Sound, f64),
    /// A taught word within praise or talk: no mark.
    InPraise(Sound),
    /// A drop of the ball; one that was given before it was settled comes again with
    /// its floor.
    Drop(Drop),
}

/// Listens to a stream.
pub struct Listening {
    ear: Ear,
    ball: BallFinder,
    names: Vec<String>,
    rate_hz: f64,
    known_after_s: f64,
    timeline: Timeline,
}

impl Listening {
    /// Listens at a sample rate for the taught clicks and for a ball; the height
    /// it falls from, in metres, when it is known.
    pub fn new(
        rate_hz: u32,
        profiles: &[ClickProfile],
        height_m: Option<f64>,
    ) -> Result<Self, EarError> {
        Ok(Self {
            ear: Ear::new(rate_hz, profiles)?,
            ball: BallFinder::new(height_m),
            names: profiles.iter().map(|p| p.name.clone()).collect(),
            rate_hz: f64::from(rate_hz),
            known_after_s: SOUND_KNOWN_S,
            timeline: Timeline::default(),
        })
    }

    /// Listens for this kind of ball.
    #[must_use]
    pub fn with_ball(mut self, kind: Option<BallKind>) -> Self {
        self.ball = self.ball.with_ball(kind);
        self
    }

    /// Listens for taught words too, at the same sample rate; `word_at` says where
    /// in a word its mark is stamped.
    pub fn with_words(mut self, words: &[WordProfile], word_at: WordAt) -> Result<Self, EarError> {
        self.ear = self.ear.with_words(self.rate_hz as u32, words)?;
        self.names.extend(words.iter().map(|w| w.name.clone()));
        if !words.is_empty() {
            self.timeline.word_at = word_at;
        }
        self.known_after_s = words
            .iter()
            .map(known_after_s)
            .fold(self.known_after_s, f64::max);
        Ok(self)
    }

    /// Seconds after an instant at which every mark at it has been told.
    pub fn known_after_s(&self) -> f64 {
        self.known_after_s
    }

    /// More of the stream.
    pub fn push(&mut self, samples: &[f32]) -> Result<(), EarError> {
        self.push_and_tell(samples, &mut |_| {})
    }

    /// More of the stream; what is known by it goes to `tell`, each thing once.
    pub fn push_and_tell(
        &mut self,
        samples: &[f32],
        tell: &mut dyn FnMut(News),
    ) -> Result<(), EarError> {
        let Self {
            ear,
            ball,
            names,
            rate_hz,
            timeline,
            ..
        } = self;
        ear.push(samples, &mut |heard| {
            take(heard, ball, names, *rate_hz, timeline, tell)
        })?;
        let now_s = ear.count() as f64 / *rate_hz;
        let found = ball.advance(now_s);
        sort_in(found, timeline, tell);
        timeline.duration_s = now_s;
        Ok(())
    }

    /// What was heard up to now.
    pub fn so_far(&self) -> &Timeline {
        &self.timeline
    }

    /// The end of the stream: all that was heard.
    pub fn finish(self) -> Result<Timeline, EarError> {
        self.finish_and_tell(&mut |_| {})
    }

    /// As [`Listening::finish`]; what is known by the end goes to `tell`. Drops that
    /// were told stand; there may be more of them by the end.
    pub fn finish_and_tell(mut self, tell: &mut dyn FnMut(News)) -> Result<Timeline, EarError> {
        let duration_s = self.ear.count() as f64 / self.rate_hz;
        let Self {
            ear,
            ball,
            names,
            rate_hz,
            timeline,
            ..
        } = &mut self;
        ear.finish(&mut |heard| take(heard, ball, names, *rate_hz, timeline, tell))?;
        let found = ball.finish();
        sort_in(found, timeline, tell);
        timeline.duration_s = duration_s;
        timeline.unproven = ball.unproven();
        Ok(self.timeline)
    }
}

fn take(
    heard: Heard,
    ball: &mut BallFinder,
    names: &[String],
    rate_hz: f64,
    timeline: &mut Timeline,
    tell: &mut dyn FnMut(News),
) {
    let centre = heard.centre.filter(|_| timeline.word_at == WordAt::Centre);
    let u_ms = match centre {
        Some(centre) => 1e3 * centre.u_s,
        None => 1e3 * f64::from(heard.u_samples) / rate_hz,
    };
    let sound = Sound {
        t_s: heard.at as f64 / rate_hz + centre.map_or(0.0, |c| c.after_s),
        kind: heard.kind,
        name: heard
            .bridge
            .and_then(|k| names.get(k))
            .cloned()
            .unwrap_or_default(),
        confidence: f64::from(heard.confidence),
        level_dbfs: f64::from(heard.level_dbfs),
    };
    if sound.kind == SoundKind::Impact {
        let found = ball.push(Impact {
            t_s: sound.t_s,
            strength_db: sound.level_dbfs,
            print: heard.print,
        });
        sort_in(found, timeline, tell);
    }
    if heard.in_praise {
        tell(News::InPraise(sound.clone()));
        timeline.in_praise.push(sound);
        return;
    }
    tell(News::Sound(sound.clone(), u_ms));
    timeline.add(sound, u_ms);
}

fn sort_in(found: Vec<Found>, timeline: &mut Timeline, tell: &mut dyn FnMut(News)) {
    for one in found {
        match one {
            Found::Drop(drop) => {
                tell(News::Drop(drop.clone()));
                timeline.add_drop(drop);
            }
            Found::Refused(refused) => timeline.refused.push(refused),
        }
    }
}

#[cfg(test)]
#[path = "listen_tests.rs"]
mod tests;
