//! Keeping: a whole review at once, or a bout as it happens. When a call has
//! returned, what it was given outlives the program.

use jiff::SignedDuration;
use jiff::Timestamp;
use rusqlite::{OptionalExtension, Transaction, TransactionBehavior, params};

use super::digest;
use super::error::JournalError;
use super::insert::{self, Appender, Refused, instant};
use super::open::Journal;
use super::record::{Bout, BoutEvent, BoutId, KeptReview, Note};
use crate::timeline::{MomentId, Pair, SoundId};

/// Reviews kept in one transaction where there are many.
const AT_ONCE: usize = 500;

impl Journal {
    /// Keeps a whole review in one transaction: all of it or nothing.
    ///
    /// # Errors
    /// A value that is not to be kept (not finite, a pair whose moment or mark
    /// is not in the review), or the file cannot be written.
    pub fn keep_review(&mut self, review: &KeptReview) -> Result<BoutId, JournalError> {
        self.write(|tx| whole(tx, review))
    }

    /// Keeps many, some hundred in a transaction. Gives how many.
    ///
    /// # Errors
    /// As [`Journal::keep_review`]; those of earlier transactions are kept.
    pub fn keep_reviews(
        &mut self,
        reviews: impl IntoIterator<Item = KeptReview>,
    ) -> Result<usize, JournalError> {
        let mut reviews = reviews.into_iter().peekable();
        let mut kept = 0;
        while reviews.peek().is_some() {
            self.write(|tx| {
                for review in reviews.by_ref().take(AT_ONCE) {
                    whole(tx, &review)?;
                    kept += 1;
                }
                Ok(())
            })?;
        }
        Ok(kept)
    }

    /// Begins a bout that is kept as it happens.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn begin_bout(&mut self, bout: &Bout) -> Result<BoutId, JournalError> {
        let id = BoutId::new();
        self.write(|tx| insert::bout(tx, &id, bout, None))?;
        Ok(id)
    }

    /// Adds one event to a bout that has begun; see [`Journal::append_events`].
    ///
    /// # Errors
    /// As [`Journal::append_events`].
    pub fn append_event(&mut self, id: &BoutId, event: &BoutEvent) -> Result<i64, JournalError> {
        let numbers = self.append_events(id, std::slice::from_ref(event))?;
        Ok(numbers.start)
    }

    /// Adds events, in their order, to a bout that has begun: all of them or
    /// none. Gives their numbers within the bout.
    ///
    /// # Errors
    /// The bout is unknown or has ended; a value is not to be kept; the file
    /// cannot be written.
    pub fn append_events(
        &mut self,
        id: &BoutId,
        events: &[BoutEvent],
    ) -> Result<std::ops::Range<i64>, JournalError> {
        self.append_numbered(id, |_| events)
    }

    /// As [`Journal::append_events`], for events that name one another: `make` is
    /// told the number that the first of them will have.
    ///
    /// # Errors
    /// As [`Journal::append_events`].
    pub fn append_numbered<E: AsRef<[BoutEvent]>>(
        &mut self,
        id: &BoutId,
        make: impl FnOnce(i64) -> E,
    ) -> Result<std::ops::Range<i64>, JournalError> {
        let key = self.open_bout(id)?;
        self.write(|tx| append(tx, key, make))
    }

    /// Adds notes to a bout, whether it has ended or not: words that are asked for
    /// afterwards change nothing that was measured.
    ///
    /// # Errors
    /// The bout is unknown, a time is not finite, or the file cannot be written.
    pub fn add_notes(&mut self, id: &BoutId, notes: &[Note]) -> Result<(), JournalError> {
        let (key, _) = self.bout_key(id)?;
        let notes: Vec<BoutEvent> = notes.iter().cloned().map(BoutEvent::Note).collect();
        self.write(|tx| append(tx, key, |_| notes)).map(drop)
    }

    /// Ends a bout that has begun. `duration_s` is its length in seconds.
    ///
    /// # Errors
    /// The bout is unknown or has ended; the file cannot be written.
    pub fn end_bout(
        &mut self,
        id: &BoutId,
        ended_at: Timestamp,
        duration_s: Option<f64>,
    ) -> Result<(), JournalError> {
        self.end_with(id, &[], ended_at, duration_s)
    }

    /// Adds the last events of a bout and ends it: both or neither.
    pub(super) fn end_with(
        &mut self,
        id: &BoutId,
        events: &[BoutEvent],
        ended_at: Timestamp,
        duration_s: Option<f64>,
    ) -> Result<(), JournalError> {
        let key = self.open_bout(id)?;
        self.write(|tx| {
            let mut rows = Appender::new(tx, key)?;
            for event in events {
                rows.append(event)?;
            }
            tx.execute(
                "UPDATE bout SET ended_at = ?2, duration_s = coalesce(?3, duration_s)
                 WHERE bout_key = ?1",
                params![key, instant(ended_at), duration_s],
            )?;
            tx.execute("DELETE FROM digest WHERE bout_key = ?1", [key])?;
            digest::keep(tx, key)?;
            Ok(())
        })
    }

    /// The bouts that have begun and never ended, newest first: the program was
    /// cut off, or another one is in the middle of it.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn unended(&self) -> Result<Vec<BoutId>, JournalError> {
        let read = || -> rusqlite::Result<Vec<_>> {
            self.conn
                .prepare(
                    "SELECT id FROM bout WHERE ended_at IS NULL
                     ORDER BY started_at DESC, bout_key DESC",
                )?
                .query_map([], |row| row.get(0))?
                .collect()
        };
        read().map_err(|error| self.told(error))
    }

    fn open_bout(&self, id: &BoutId) -> Result<i64, JournalError> {
        match self.bout_key(id)? {
            (key, false) => Ok(key),
            (_, true) => Err(JournalError::Ended { id: id.to_string() }),
        }
    }

    /// A bout's key, and whether it has ended.
    fn bout_key(&self, id: &BoutId) -> Result<(i64, bool), JournalError> {
        self.writable()?;
        let found = self
            .conn
            .prepare_cached("SELECT bout_key, ended_at IS NOT NULL FROM bout WHERE id = ?1")
            .and_then(|mut statement| {
                statement
                    .query_row([id], |row| Ok((row.get(0)?, row.get(1)?)))
                    .optional()
            })
            .map_err(|error| self.told(error))?;
        found.ok_or_else(|| JournalError::NoSuchBout {
            wanted: id.to_string(),
        })
    }

    /// Does `work` in one transaction, or not at all.
    pub(super) fn write<T>(
        &mut self,
        work: impl FnOnce(&Transaction<'_>) -> Result<T, Refused>,
    ) -> Result<T, JournalError> {
        self.writable()?;
        let done = || -> Result<T, Refused> {
            // The lock is taken at the start, where waiting for it is possible.
            let tx = Transaction::new_unchecked(&self.conn, TransactionBehavior::Immediate)?;
            let result = work(&tx)?;
            tx.commit()?;
            Ok(result)
        };
        done().map_err(|refused| refused.told(self.path()))
    }
}

/// Adds events to a bout; gives their numbers.
fn append<E: AsRef<[BoutEvent]>>(
    tx: &Transaction<'_>,
    key: i64,
    make: impl FnOnce(i64) -> E,
) -> Result<std::ops::Range<i64>, Refused> {
    let mut rows = Appender::new(tx, key)?;
    let first = rows.next_seq();
    for event in make(first).as_ref() {
        rows.append(event)?;
    }
    Ok(first..rows.next_seq())
}

fn whole(tx: &Transaction<'_>, review: &KeptReview) -> Result<BoutId, Refused> {
    let id = BoutId::new();
    let ended_at = end_of(&review.bout);
    let key = insert::bout(tx, &id, &review.bout, Some(ended_at))?;
    let mut rows = Appender::new(tx, key)?;
    let sounds: Vec<i64> = review
        .sounds
        .iter()
        .map(|sound| rows.sound(sound))
        .collect::<Result<_, _>>()?;
    let moments: Vec<i64> = review
        .moments
        .iter()
        .map(|moment| rows.moment(moment))
        .collect::<Result<_, _>>()?;
    for pair in &review.pairs {
        let moment = pair.moment.and_then(|id| moments.get(id.place()));
        let mark = pair.mark.and_then(|id| sounds.get(id.place()));
        rows.pair(&Pair {
            moment: moment.copied().map(MomentId),
            mark: mark.copied().map(SoundId),
            ..pair.clone()
        })?;
    }
    digest::keep(tx, key)?;
    Ok(id)
}

pub(super) fn end_of(bout: &Bout) -> Timestamp {
    let length = SignedDuration::try_from_secs_f64(bout.duration_s.unwrap_or(0.0));
    length
        .ok()
        .and_then(|length| bout.started_at.checked_add(length).ok())
        .unwrap_or(bout.started_at)
}
