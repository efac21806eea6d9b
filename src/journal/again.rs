//! What was kept before: the same recording, heard with the same result, must not
//! count twice.

use rusqlite::params;

use super::error::JournalError;
use super::open::Journal;
use super::record::{BoutId, BoutKind, KeptReview};
use crate::timeline::session::{Log, SessionEvent};
use crate::timeline::{Moment, MomentKind, MomentSource, Sound};

/// Lengths that differ by less than this may be of one recording.
const SAME_LENGTH_S: f64 = 0.1;

impl Journal {
    /// The review or drill that already holds what `review` would: every sound at the
    /// very same instant, the same kind of moment, the same told moments. The same
    /// samples give the same instants to the last digit, whatever the file is called;
    /// two recordings never do. A review with no sound at all is like no other.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn kept_before(&self, review: &KeptReview) -> Result<Option<BoutId>, JournalError> {
        let wanted = instants(&review.sounds);
        if wanted.is_empty() {
            return Ok(None);
        }
        let moments: Vec<&Moment> = review.moments.iter().collect();
        for kind in [BoutKind::Review, BoutKind::Drill] {
            for id in self.as_long_as(kind, review.bout.duration_s.unwrap_or(f64::NAN))? {
                let stored = self.read_bout(&id)?;
                if instants(stored.sounds()) == wanted
                    && told(stored.moments()) == told(moments.iter().copied())
                {
                    return Ok(Some(id));
                }
            }
        }
        Ok(None)
    }

    /// The session in which the very same things happened at the very same instants.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn session_kept_before(
        &self,
        log: &Log,
        length_s: f64,
    ) -> Result<Option<BoutId>, JournalError> {
        let wanted = log.counted();
        if wanted.is_empty() {
            return Ok(None);
        }
        let same = |a: &SessionEvent, b: &SessionEvent| a.t_s == b.t_s && a.what == b.what;
        for id in self.as_long_as(BoutKind::Session, length_s)? {
            let stored = self.read_session(&id)?;
            let found = stored.log.counted();
            if found.len() == wanted.len() && found.iter().zip(&wanted).all(|(a, b)| same(a, b)) {
                return Ok(Some(id));
            }
        }
        Ok(None)
    }

    /// Bouts of a kind that ended and lasted as long, the oldest first.
    fn as_long_as(&self, kind: BoutKind, length_s: f64) -> Result<Vec<BoutId>, JournalError> {
        use super::words::Word;
        let read = || -> rusqlite::Result<Vec<_>> {
            self.conn
                .prepare(
                    "SELECT id FROM bout WHERE kind = ?1 AND ended_at IS NOT NULL
                         AND abs(duration_s - ?2) < ?3 ORDER BY started_at, bout_key",
                )?
                .query_map(params![kind.word(), length_s, SAME_LENGTH_S], |row| {
                    row.get(0)
                })?
                .collect()
        };
        read().map_err(|error| self.told(error))
    }
}

/// The instants of sounds by their bits, in order of time: a live drill keeps them
/// in detection order.
fn instants<'a>(sounds: impl IntoIterator<Item = &'a Sound>) -> Vec<u64> {
    // Adding zero makes of a negative zero, which the journal does not keep, a plain one.
    let mut bits: Vec<u64> = sounds
        .into_iter()
        .map(|sound| (sound.t_s + 0.0).to_bits())
        .collect();
    bits.sort_unstable();
    bits
}

/// The kind of the moments, and the instants of those that somebody told; those of
/// a ball follow from its sounds.
fn told<'a>(moments: impl Iterator<Item = &'a Moment>) -> (Option<MomentKind>, Vec<u64>) {
    let (mut kind, mut bits) = (None, Vec::new());
    for moment in moments {
        kind = Some(moment.kind);
        if moment.source != MomentSource::Sound {
            bits.push((moment.t_s + 0.0).to_bits());
        }
    }
    bits.sort_unstable();
    (kind, bits)
}
