//! A stream listened to from end to end: the ear's events, the ball's drops, and
//! the timeline that comes of them. The microphone, a recording and a made-up
//! room all go through here. Pure: no device, no file, no clock.

use crate::ear::word::{WordAt, WordProfile, known_after_s};
use crate::ear::{ClickProfile, Ear, EarError, Heard};
use crate::timeline::{
    BallFinder, BallKind, Drop, Found, HeardSound, Impact, KnownMoment, MomentId, MomentKind,
    Refused, Sound, SoundId, SoundKind, Unproven, moment_of,
};

/// Seconds after which a click or a bang is told at the latest.
const SOUND_KNOWN_S: f64 = 0.5;

/// What was heard in a stream.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Timeline {
    /// All sounds, in order of time.
    pub sounds: Vec<HeardSound>,
    /// Taught words that were part of praise or talk and count as no marks.
    pub in_praise: Vec<Sound>,
    /// Where in a word its mark is stamped; the onset where no word was listened for.
    pub word_at: WordAt,
    /// The drops of the ball, in detection order.
    pub drops: Vec<Drop>,
    /// Chains of impacts that look like a drop but were refused.
    pub refused: Vec<Refused>,
    /// What was heard like a ball and could not be proven; known at the end.
    pub unproven: Unproven,
    /// Length of the stream in seconds.
    pub duration_s: f64,
}

impl Timeline {
    /// Numbers a sound in detection order and adds it.
    pub fn add(&mut self, sound: Sound, u_ms: f64) {
        let id = SoundId::at(self.sounds.len());
        self.insert(HeardSound { id, sound, u_ms });
    }

    /// Puts a sound in its place: a word is known later than what followed its
    /// onset.
    pub fn insert(&mut self, heard: HeardSound) {
        let t_s = heard.sound.t_s;
        let place = self.sounds.partition_point(|s| s.sound.t_s <= t_s);
        self.sounds.insert(place, heard);
    }

    /// Leaves out the clicks before an instant, in seconds: those of a lesson.
    pub fn leave_out_clicks_before(&mut self, until_s: f64) {
        self.sounds
            .retain(|s| s.sound.kind != SoundKind::Click || s.sound.t_s >= until_s);
        for (k, sound) in self.sounds.iter_mut().enumerate() {
            sound.id = SoundId::at(k);
        }
    }

    /// Words heard within praise or talk: each name and how often, by name.
    pub fn praise(&self) -> Vec<(&str, usize)> {
        let mut names: Vec<&str> = self.in_praise.iter().map(|s| s.name.as_str()).collect();
        names.sort_unstable();
        let same = names.chunk_by(|a, b| a == b);
        same.filter_map(|n| Some((*n.first()?, n.len()))).collect()
    }

    /// Moments of one kind, in order of time and numbered by it.
    pub fn moments(&self, kind: MomentKind) -> Vec<KnownMoment> {
        let drops = 0..self.drops.len();
        let mut moments: Vec<KnownMoment> = drops.filter_map(|k| self.moment(k, kind)).collect();
        moments.sort_by(|a, b| a.moment.t_s.total_cmp(&b.moment.t_s));
        for (place, one) in moments.iter_mut().enumerate() {
            one.id = MomentId::at(place);
        }
        moments
    }

    /// The moment of one kind of the drop at `place`, numbered by the drop.
    pub fn moment(&self, place: usize, kind: MomentKind) -> Option<KnownMoment> {
        let drop = self.drops.get(place)?;
        let floor_u_ms = self.u_ms_near(drop.floor_s);
        let u_ms = match kind {
            MomentKind::Release => floor_u_ms.hypot(drop.release_u_ms),
            // Half a flight is known as well as the two impacts that end it, and the air.
            MomentKind::Top => {
                let second = drop.impacts_s.get(1);
                let second_u_ms = second.map_or(0.0, |t_s| self.u_ms_near(*t_s));
                (0.5 * floor_u_ms.hypot(second_u_ms)).hypot(drop.top_u_ms)
            }
            MomentKind::Floor | MomentKind::Behaviour => floor_u_ms,
        };
        Some(KnownMoment {
            id: MomentId::at(place),
            moment: moment_of(drop, kind)?,
            u_ms: Some(u_ms),
        })
    }

    /// The marks: clicks and words, in order of time.
    pub fn marks(&self) -> impl DoubleEndedIterator<Item = &HeardSound> {
        self.sounds.iter().filter(|s| s.sound.is_mark())
    }

    /// Standard uncertainty of the sound that lies nearest to `t_s`, in
    /// milliseconds; 0 when nothing was heard.
    fn u_ms_near(&self, t_s: f64) -> f64 {
        let far_s = |s: &HeardSound| (s.sound.t_s - t_s).abs();
        let nearest = self
            .sounds
            .iter()
            .min_by(|a, b| far_s(a).total_cmp(&far_s(b)));
        nearest.map_or(0.0, |s| s.u_ms)
    }

    /// Adds a drop, or puts it in the place of the same drop before it was settled;
    /// returns its place.
    pub fn add_drop(&mut self, drop: Drop) -> usize {
        let known = self.drops.iter().position(|d| d.floor_s == drop.floor_s);
        match known {
            Some(place) => self.drops[place] = drop,
            None => self.drops.push(drop),
        }
        known.unwrap_or(self.drops.len() - 1)
    }
}

/// What was detected, in detection order: a word is known when it is over, so perhaps
/// after sounds that came later.
#[derive(Debug, Clone, PartialEq)]
pub enum News {
    /// A sound.
    Sound(HeardSound),
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

    /// Takes more of the stream.
    pub fn push(&mut self, samples: &[f32]) -> Result<(), EarError> {
        self.push_and_tell(samples, &mut |_| {})
    }

    /// Takes more of the stream; calls `tell` exactly once for each thing detected in it.
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

    /// What has been heard so far.
    pub fn so_far(&self) -> &Timeline {
        &self.timeline
    }

    /// Ends the stream; returns all that was heard.
    pub fn finish(self) -> Result<Timeline, EarError> {
        self.finish_and_tell(&mut |_| {})
    }

    /// As [`Listening::finish`]; calls `tell` for what is detected by the end. Drops that
    /// were reported stand; there may be more of them by the end.
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
    let id = SoundId::at(timeline.sounds.len());
    let heard = HeardSound { id, sound, u_ms };
    tell(News::Sound(heard.clone()));
    timeline.insert(heard);
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
