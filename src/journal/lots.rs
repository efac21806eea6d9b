//! Reading years at once: what each bout gave, by kind of moment and bridge.

use jiff::tz::TimeZone;
use rusqlite::types::ValueRef;
use rusqlite::{Row, ToSql};

use super::digest::{Part, lags_from, parts_of};
use super::error::JournalError;
use super::open::Journal;
use super::read::instant_from;
use super::record::{BoutKind, KeptReview};
use super::wanted::{Wanted, Zones, which};
use super::words::Word;
use crate::measure::weeks::{Day, Lot, Occasion};
use crate::timeline::{MomentKind, SoundKind};

impl Journal {
    /// Brings what [`Journal::lots`] reads up to date, where the journal can be
    /// written; without it reading is slower and gives the same.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn prepare_lots(&self) -> Result<(), JournalError> {
        self.digest_missing()
    }

    /// How many bouts of one person (`None`: with nobody named) have their spoken
    /// marks placed at the words' perceptual centre.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn bouts_at_centre(&self, person: Option<&str>) -> Result<usize, JournalError> {
        let read = || -> rusqlite::Result<i64> {
            // The settings are kept as this program writes JSON, without spaces.
            self.conn.query_row(
                "SELECT count(*) FROM bout AS b
                 LEFT JOIN person AS p ON p.person_key = b.person_key
                 WHERE p.name IS ?1 AND b.settings_json LIKE '%\"word_at\":\"centre\"%'",
                [person],
                |row| row.get(0),
            )
        };
        let count = read().map_err(|error| self.told(error))?;
        Ok(usize::try_from(count).unwrap_or(0))
    }

    /// The lots of one person (`None`: of bouts with nobody named), in order of
    /// time. Strays and misses count for the bridge that the bout has most
    /// lags of.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn lots(&self, person: Option<&str>, wanted: &Wanted) -> Result<Vec<Lot>, JournalError> {
        self.read_lots(person, wanted)
            .map_err(|error| self.told(error))
    }

    fn read_lots(&self, person: Option<&str>, wanted: &Wanted) -> rusqlite::Result<Vec<Lot>> {
        let tx = self.conn.unchecked_transaction()?;
        let (which, from, until) = which(person, wanted);
        let mut statement = tx.prepare(&format!(
            "SELECT b.bout_key, b.kind, b.started_at, b.time_zone, b.duration_s,
                    d.moment_kind, d.label, d.mark_kind, d.mark_name, d.missed, d.strays, d.lags_ms
             FROM bout AS b LEFT JOIN digest AS d ON d.bout_key = b.bout_key
             WHERE {which} ORDER BY b.started_at, b.bout_key, d.part"
        ))?;
        let known: [&dyn ToSql; 4] = [&person, &from, &until, &wanted.animal];
        let mut rows = statement.query(&known[..])?;
        let mut zones = Zones::new(wanted.zone.clone());
        let mut lots = Vec::new();
        let mut now: Option<(Head, Vec<Part>)> = None;
        while let Some(row) = rows.next()? {
            let key: i64 = row.get(0)?;
            if now.as_ref().is_none_or(|(head, _)| head.bout != key) {
                if let Some((head, parts)) = now.take() {
                    gather(&head, parts, wanted, &mut lots)?;
                }
                now = Some((head_of(row, &mut zones)?, Vec::new()));
            }
            let parts = match row.get_ref(11)? {
                ValueRef::Blob(bytes) => vec![part_of(row, bytes)?],
                _ => parts_of(&tx, key)?,
            };
            if let Some((_, all)) = &mut now {
                all.extend(parts);
            }
        }
        if let Some((head, parts)) = now {
            gather(&head, parts, wanted, &mut lots)?;
        }
        // Zones may turn the order of two bouts on different days round.
        lots.sort_by_key(|lot| lot.day);
        Ok(lots)
    }
}

/// The lots of bouts that are in no journal, in the zone that each one tells.
pub fn lots_of_review(bouts: &[KeptReview]) -> Vec<Lot> {
    let mut zones = Zones::new(TimeZone::UTC);
    let mut lots = Vec::new();
    for (number, kept) in (1..).zip(bouts) {
        let zone = zones.of(kept.bout.time_zone.as_deref());
        let head = Head {
            bout: number,
            day: Day::of(zone.to_datetime(kept.bout.started_at).date()),
            occasion: occasion(kept.bout.kind),
            duration_s: kept.bout.duration_s,
        };
        for pair in &kept.pairs {
            let moment = pair.moment.and_then(|id| kept.moments.get(id.place()));
            let Some(moment) = moment else {
                continue;
            };
            let mark = pair.mark.and_then(|id| kept.sounds.get(id.place()));
            let kind = mark.map(|s| s.kind);
            let name = mark.map_or("", |s| s.name.as_str());
            let at = lots
                .iter()
                .rposition(|l: &Lot| l.bout == number && l.kind == moment.kind && l.bridge == name);
            let at = at.unwrap_or_else(|| {
                lots.push(lot(&head, moment.kind, kind, name.to_owned(), Vec::new()));
                lots.len() - 1
            });
            match pair.lag_ms {
                Some(lag_ms) => lots[at].lags_ms.push(lag_ms),
                None => lots[at].missed += 1,
            }
        }
    }
    lots
}

fn occasion(kind: BoutKind) -> Occasion {
    match kind {
        BoutKind::Review => Occasion::Review,
        BoutKind::Drill => Occasion::Drill,
        BoutKind::Session => Occasion::Session,
    }
}

struct Head {
    bout: i64,
    day: Day,
    occasion: Occasion,
    duration_s: Option<f64>,
}

fn head_of(row: &Row<'_>, zones: &mut Zones) -> rusqlite::Result<Head> {
    let started_at = instant_from(row.get_ref(2)?)?;
    let zone = zones.of(row.get_ref(3)?.as_str_or_null().ok().flatten());
    Ok(Head {
        bout: row.get(0)?,
        day: Day::of(zone.to_datetime(started_at).date()),
        occasion: occasion(BoutKind::from_column(row.get_ref(1)?)?),
        duration_s: row.get(4)?,
    })
}

fn part_of(row: &Row<'_>, lags: &[u8]) -> rusqlite::Result<Part> {
    Ok(Part {
        moment_kind: row.get(5)?,
        label: row.get(6)?,
        mark_kind: row.get(7)?,
        mark_name: row.get(8)?,
        missed: row.get(9)?,
        strays: row.get(10)?,
        lags_ms: lags_from(lags),
    })
}

/// The parts of a bout as lots: by kind of moment and bridge.
fn gather(
    head: &Head,
    parts: Vec<Part>,
    wanted: &Wanted,
    lots: &mut Vec<Lot>,
) -> rusqlite::Result<()> {
    if !wanted.has_day(head.day) {
        return Ok(());
    }
    let start = lots.len();
    let mut strays = 0;
    let mut misses: Vec<(MomentKind, usize)> = Vec::new();
    for part in parts {
        strays += part.strays as usize;
        let Some(kind) = part.moment_kind.as_deref() else {
            continue;
        };
        let kind = MomentKind::from_column(ValueRef::Text(kind.as_bytes()))?;
        let is_other =
            |behaviour: &String| kind != MomentKind::Behaviour || part.label != *behaviour;
        if wanted.behaviour.as_ref().is_some_and(is_other) {
            continue;
        }
        if part.missed > 0 {
            misses.push((kind, part.missed as usize));
        }
        let (Some(mark_kind), false) = (part.mark_kind.as_deref(), part.lags_ms.is_empty()) else {
            continue;
        };
        let bridge_kind = SoundKind::from_column(ValueRef::Text(mark_kind.as_bytes()))?;
        let bridge = part.mark_name.unwrap_or_default();
        let same = lots[start..].iter_mut().find(|lot| {
            lot.kind == kind && lot.bridge == bridge && lot.bridge_kind == Some(bridge_kind)
        });
        match same {
            Some(lot) => lot.lags_ms.extend(part.lags_ms),
            None => lots.push(lot(head, kind, Some(bridge_kind), bridge, part.lags_ms)),
        }
    }
    for (kind, missed) in misses {
        let most = most_lags(&mut lots[start..], |lot| lot.kind == kind);
        match most {
            Some(lot) => lot.missed += missed,
            None => {
                lots.push(lot(head, kind, None, String::new(), Vec::new()));
                if let Some(last) = lots.last_mut() {
                    last.missed = missed;
                }
            }
        }
    }
    if let Some(lot) = most_lags(&mut lots[start..], |_| true) {
        lot.strays = strays;
    }
    if let Some(bridge) = &wanted.bridge {
        let mut of_bridge = lots.split_off(start);
        of_bridge.retain(|lot| lot.bridge == *bridge);
        lots.append(&mut of_bridge);
    }
    Ok(())
}

fn most_lags(lots: &mut [Lot], is_in: impl Fn(&Lot) -> bool) -> Option<&mut Lot> {
    let of_kind = lots.iter_mut().filter(|lot| is_in(lot));
    of_kind.max_by_key(|lot| lot.lags_ms.len())
}

fn lot(
    head: &Head,
    kind: MomentKind,
    bridge_kind: Option<SoundKind>,
    bridge: String,
    lags_ms: Vec<f64>,
) -> Lot {
    Lot {
        bout: head.bout,
        day: head.day,
        occasion: head.occasion,
        duration_s: head.duration_s,
        kind,
        bridge_kind,
        bridge,
        lags_ms,
        missed: 0,
        strays: 0,
    }
}
