//! The recordings of a review, listened to and judged.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

use crate::cli::bridges::Bridges;
use crate::ear::word::WordAt;
use crate::listen::Timeline;
use crate::review::{Outcome, Rules, judge};
use crate::sound::recording::{Compression, Gap, Listen, Recording};
use crate::timeline::{BallKind, KnownMoment, Moment, MomentKind};
use crate::words::count;

/// One recording, reviewed.
pub(super) struct Done {
    pub(super) file: PathBuf,
    pub(super) rate_hz: u32,
    pub(super) channels: u16,
    /// Which of several sound tracks.
    pub(super) track: Option<usize>,
    pub(super) compression: Option<Compression>,
    pub(super) picture_offset_s: f64,
    /// Whether there was nothing but zeros.
    pub(super) is_silent: bool,
    pub(super) heard: Timeline,
    pub(super) moments: Vec<Moment>,
    pub(super) outcome: Outcome,
    pub(super) notes: Vec<String>,
}

/// What is the same for every recording of a review.
pub(super) struct Jobs<'a> {
    pub(super) taught: &'a Bridges,
    /// Clicks count from here on, in seconds: before it is the lesson.
    pub(super) from_s: f64,
    pub(super) word_at: WordAt,
    pub(super) height_m: Option<f64>,
    pub(super) ball: Option<BallKind>,
    pub(super) listen: Listen,
    pub(super) told: Option<&'a [Moment]>,
    pub(super) kind: MomentKind,
    pub(super) rules: &'a Rules,
}

impl Jobs<'_> {
    /// Reviews the files, several at once; the results are in their order.
    pub(super) fn all(&self, files: &[PathBuf]) -> anyhow::Result<Vec<Done>> {
        let workers = std::thread::available_parallelism()
            .map_or(1, usize::from)
            .min(files.len());
        let next = AtomicUsize::new(0);
        let results: Mutex<Vec<Option<anyhow::Result<Done>>>> =
            Mutex::new(files.iter().map(|_| None).collect());
        std::thread::scope(|scope| {
            for _ in 0..workers {
                scope.spawn(|| {
                    while let Some(file) = files.get(next.fetch_add(1, Ordering::Relaxed)) {
                        let done = self.one(file);
                        let at = files.iter().position(|f| std::ptr::eq(f, file));
                        let mut results = results.lock().unwrap_or_else(PoisonError::into_inner);
                        if let Some(slot) = at.and_then(|at| results.get_mut(at)) {
                            *slot = Some(done);
                        }
                    }
                });
            }
        });
        let results = results.into_inner().unwrap_or_else(PoisonError::into_inner);
        results.into_iter().flatten().collect()
    }

    fn one(&self, file: &Path) -> anyhow::Result<Done> {
        let mut recording = Recording::open(file, self.listen)?;
        let info = recording.info().clone();
        let mut listening = self
            .taught
            .listening(info.sample_rate_hz, self.height_m, self.word_at)?
            .with_ball(self.ball);
        let mut is_silent = true;
        while let Some(block) = recording.next_block()? {
            is_silent &= block.iter().all(|x| *x == 0.0);
            listening.push(block)?;
        }
        let mut heard = listening.finish()?;
        heard.leave_out_clicks_before(self.from_s);
        let mut notes: Vec<String> = recording
            .cut_short()
            .map(str::to_owned)
            .into_iter()
            .collect();
        notes.extend(recording.warnings().sentences(info.sample_rate_hz));
        notes.extend(info.absolute_time_note.clone());
        let track_note = info.track_note();
        notes.extend(track_note.map(|said| format!("{said}; --track N chooses another")));
        let compression = recording.compression();
        notes.extend(compression.as_ref().and_then(loss));
        notes.extend(self.taught.narrow(info.sample_rate_hz));
        let moments = match self.told {
            Some(told) => {
                let late = told.iter().filter(|m| m.t_s > heard.duration_s).count();
                if late > 0 {
                    notes.push(format!(
                        "{late} of the moments lie after the end of the recording, which is {:.3} s long; are they of another one?",
                        heard.duration_s
                    ));
                }
                KnownMoment::list(told)
            }
            None => heard.moments(self.kind),
        };
        let outcome = judge(heard.marks(), &moments, self.rules);
        let gaps = &recording.warnings().gaps;
        let near =
            |t_s: Option<f64>| t_s.is_some_and(|t_s| is_near(t_s, gaps, info.sample_rate_hz));
        let pairs = outcome.pairs.iter();
        let doubtful = pairs.filter(|p| near(p.moment_s) || near(p.mark_s)).count();
        if doubtful > 0 {
            let lie = count(doubtful, "pair lies", "pairs lie");
            notes.push(format!(
                "{lie} within a second of a lost stretch and may be wrong"
            ));
        }
        Ok(Done {
            file: file.to_owned(),
            rate_hz: info.sample_rate_hz,
            channels: u16::try_from(info.channels).unwrap_or(u16::MAX),
            track: (info.tracks.len() > 1).then_some(info.track),
            compression,
            picture_offset_s: info.sound_starts_after_picture_s,
            is_silent,
            heard,
            moments: moments.into_iter().map(|m| m.moment).collect(),
            outcome,
            notes,
        })
    }
}

/// What a lossy compression is, in a line. How exact lags are under it belongs here.
fn loss(compression: &Compression) -> Option<String> {
    compression
        .lossy
        .then(|| format!("the sound is compressed: {compression}"))
}

/// Whether an instant lies within a second of a lost stretch, or in it.
fn is_near(t_s: f64, gaps: &[Gap], rate_hz: u32) -> bool {
    let at_s = |sample: u64| sample as f64 / f64::from(rate_hz.max(1));
    gaps.iter().any(|gap| {
        let (from, to) = (gap.at_sample, gap.at_sample + gap.len_samples);
        (at_s(from) - 1.0..=at_s(to) + 1.0).contains(&t_s)
    })
}

/// Of several recordings one that cannot be read is told before the others
/// are listened to. A pipe cannot be opened twice, so it is not tried.
pub(super) fn try_all(files: &[PathBuf], listen: Listen) -> anyhow::Result<()> {
    if files.len() > 1 {
        for file in files {
            let is_pipe = file == Path::new("-") || fs::metadata(file).is_ok_and(|m| !m.is_file());
            if !is_pipe {
                Recording::open(file, listen)?;
            }
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_a_lost_stretch_is_within_a_second_of_either_end() {
        let gap = Gap {
            at_sample: 80_000,
            len_samples: 40_000,
        };
        let near = |t_s| is_near(t_s, &[gap], 8_000);
        for t_s in [9.0, 10.0, 12.5, 15.0, 16.0] {
            assert!(near(t_s), "{t_s}");
        }
        for t_s in [4.5, 8.99, 16.01, 20.0] {
            assert!(!near(t_s), "{t_s}");
        }
    }
}
