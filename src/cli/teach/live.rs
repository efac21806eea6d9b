//! A lesson by microphone, for a click as for a word: what comes of each try is
//! said at once, until there are enough.

use std::io::Write;
use std::time::{Duration, Instant};

use anyhow::{Context, bail};

use crate::cli::show::Show;
use crate::ear::{Lesson, LevelMeter, WANTED};
use crate::screen::view::setup::SetupView;
use crate::sound::{Flow, MicEvent, SampleSource};

/// How long the lesson waits for sound at a stretch.
const PATIENCE: Duration = Duration::from_millis(30);
/// Not everything that was said fits a screen: so much of it stays.
const KEPT_LINES: usize = 6;
/// Other talk is listened to for this long at most, in seconds: a minute,
const TALK_S: f64 = 60.0;
/// and for this long at least.
const LEAST_TALK_S: f64 = 10.0;

/// What is said around a lesson.
pub(super) struct Words {
    /// What to do, once the room is known.
    pub ask: &'static str,
    /// What cannot be taught when it fails.
    pub fails: &'static str,
}

/// Learns from what is heard now, saying what comes of each try.
pub(super) fn learn<L: Lesson>(
    name: &str,
    lesson: &mut L,
    words_around: &Words,
    source: &mut dyn SampleSource,
    show: &mut Show,
    out: &mut dyn Write,
) -> anyhow::Result<L::Taught> {
    let (mut samples, mut events) = (Vec::new(), Vec::<MicEvent>::new());
    let mut lines: Vec<String> = Vec::new();
    let mut asked = false;
    show.say(out, ROOM)?;
    loop {
        samples.clear();
        events.clear();
        let flow = source.pull(PATIENCE, &mut samples, &mut events);
        let mut said = Vec::new();
        lesson.push(&samples, &mut |s| said.push(s))?;
        let mut words: Vec<String> = troubles(&events)
            .chain(said.iter().map(ToString::to_string))
            .collect();
        if !asked && lesson.knows_the_room() {
            asked = true;
            words.insert(0, format!("Now {}", words_around.ask));
        }
        for line in &words {
            show.say(out, line)?;
        }
        lines.extend(words);
        lines.drain(..lines.len().saturating_sub(KEPT_LINES));
        for one in said {
            if let Some(taught) = L::learned(one) {
                return Ok(taught);
            }
        }
        show.draw(|| {
            let large = if lesson.knows_the_room() {
                format!("{} OF {WANTED}", lesson.count())
            } else {
                "WAIT".to_owned()
            };
            let last = lines.last().map_or(ROOM, String::as_str);
            let before = lines.iter().rev().skip(1);
            SetupView {
                title: format!("Teaching \"{name}\""),
                large,
                status: last.to_owned(),
                level: Some(lesson.level()),
                rows: before.map(|l| (String::new(), l.clone())).collect(),
                warnings: Vec::new(),
                keys: Vec::new(),
            }
        })?;
        if flow == Flow::Ended {
            return lesson.finish().context(words_around.fails);
        }
        if show.done().wants_out {
            if lesson.is_enough() {
                return lesson.finish().context(words_around.fails);
            }
            bail!(
                "nothing was taught: the lesson was ended at {} of its {WANTED}",
                lesson.count()
            );
        }
    }
}

/// Before anything is known of the room.
const ROOM: &str =
    "Listening to the room first: hold still. Keep sound away from ears, yours and animals'.";

/// How long the last trouble can be read.
const READ: Duration = Duration::from_secs(8);

/// The last trouble, which stays on the screen for a while.
#[derive(Default)]
struct Lately(Option<(Instant, String)>);

impl Lately {
    fn put(&mut self, now: Instant, words: String) {
        self.0 = Some((now, words));
    }

    fn at(&self, now: Instant) -> Vec<String> {
        let last = self.0.iter();
        let last = last.filter(|(at, _)| now.saturating_duration_since(*at) < READ);
        last.map(|(_, words)| words.clone()).collect()
    }
}

fn troubles(events: &[MicEvent]) -> impl Iterator<Item = String> {
    events
        .iter()
        .filter(|e| !matches!(e, MicEvent::Samples { .. }))
        .map(ToString::to_string)
}

/// A minute of the trainer's ordinary talk, or what there is when they end it;
/// `None` when that is too little to tell anything.
pub(super) fn talk(
    name: &str,
    source: &mut dyn SampleSource,
    show: &mut Show,
    out: &mut dyn Write,
) -> anyhow::Result<Option<Vec<f32>>> {
    let ask = format!(
        "Now talk for a minute as you do at work, praise and all, but do not say \"{name}\" by itself."
    );
    show.say(out, &ask)?;
    let rate_hz = f64::from(source.rate_hz());
    let mut meter = LevelMeter::new(source.rate_hz());
    let mut lately = Lately::default();
    let (mut all, mut samples, mut events) = (Vec::new(), Vec::new(), Vec::<MicEvent>::new());
    loop {
        samples.clear();
        events.clear();
        let flow = source.pull(PATIENCE, &mut samples, &mut events);
        meter.push(&samples);
        all.extend_from_slice(&samples);
        for line in troubles(&events) {
            show.say(out, &line)?;
            lately.put(Instant::now(), line);
        }
        let left_s = TALK_S - all.len() as f64 / rate_hz;
        show.draw(|| SetupView {
            title: format!("Teaching \"{name}\": what it is not"),
            large: format!("{:.0} S", left_s.max(0.0).ceil()),
            status: ask.clone(),
            level: Some(meter.level()),
            rows: Vec::new(),
            warnings: lately.at(Instant::now()),
            keys: Vec::new(),
        })?;
        if left_s <= 0.0 || flow == Flow::Ended || show.done().wants_out {
            let is_enough = all.len() as f64 >= LEAST_TALK_S * rate_hz;
            return Ok(is_enough.then_some(all));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trouble_can_be_read_for_some_seconds_and_then_goes() {
        let (mut lately, at) = (Lately::default(), Instant::now());
        assert!(lately.at(at).is_empty());
        lately.put(at, "gone".to_owned());
        lately.put(at + Duration::from_secs(1), "back".to_owned());
        for s in [1, 5, 8] {
            assert_eq!(lately.at(at + Duration::from_secs(s)), ["back"]);
        }
        assert!(lately.at(at + Duration::from_secs(9)).is_empty());
    }
}
