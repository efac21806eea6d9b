//! Invented bouts to keep, small and large.

use jiff::Timestamp;
use marklag::journal::{Bout, BoutKind, KeptReview, ProfileSnapshot};
use marklag::timeline::{
    Moment, MomentId, MomentKind, MomentSource, Outcome, Pair, Sound, SoundId, SoundKind,
};

pub fn bout(kind: BoutKind) -> Bout {
    Bout {
        kind,
        started_at: "2025-03-30T06:15:00.123456789Z"
            .parse::<Timestamp>()
            .unwrap(),
        time_zone: Some("Europe/Vienna".into()),
        person: Some("Ada".into()),
        source: Some("barn/juniper.wav".into()),
        sound_file: None,
        sample_rate_hz: Some(48_000),
        channels: Some(1),
        duration_s: None,
        program_version: "0.1.0".into(),
        settings_json: r#"{"aim":{"floor":{"from_ms":-50.0,"to_ms":50.0}}}"#.into(),
        profiles: vec![ProfileSnapshot {
            name: "box".into(),
            json: r#"{"format":"marklag.click/1","press":[0.1,0.2]}"#.into(),
        }],
    }
}

pub fn click(t_s: f64) -> Sound {
    Sound {
        t_s,
        kind: SoundKind::Click,
        name: "box".into(),
        confidence: 0.97,
        level_dbfs: -12.5,
    }
}

pub fn floor(t_s: f64) -> Moment {
    Moment {
        t_s,
        kind: MomentKind::Floor,
        source: MomentSource::Sound,
        label: "Juniper, drop".into(),
    }
}

/// Three drops: 42 ms late (on time), 130 ms late, missed; and one stray.
pub fn review() -> KeptReview {
    let pair = |moment: Option<(usize, f64)>,
                mark: Option<(usize, f64)>,
                lag_ms: Option<f64>,
                outcome| Pair {
        moment: moment.map(|(place, _)| MomentId::at(place)),
        mark: mark.map(|(place, _)| SoundId::at(place)),
        moment_s: moment.map(|m| m.1),
        mark_s: mark.map(|m| m.1),
        lag_ms,
        outcome,
        u_ms: lag_ms.map(|_| 0.25),
    };
    KeptReview {
        bout: Bout {
            duration_s: Some(60.0),
            ..bout(BoutKind::Review)
        },
        sounds: vec![click(1.042), click(5.13), click(12.0)],
        moments: vec![floor(1.0), floor(5.0), floor(9.0)],
        pairs: vec![
            pair(
                Some((0, 1.0)),
                Some((0, 1.042)),
                Some(42.0),
                Outcome::OnTime,
            ),
            pair(Some((1, 5.0)), Some((1, 5.13)), Some(130.0), Outcome::Late),
            pair(Some((2, 9.0)), None, None, Outcome::Missed),
            pair(None, Some((2, 12.0)), None, Outcome::Stray),
        ],
    }
}

/// A pair of a review whose first sound and first moment are these rows of a bout.
#[allow(dead_code, reason = "not every test file keeps pairs as they come")]
pub fn in_rows(pair: &Pair, first_sound: i64, first_moment: i64) -> Pair {
    Pair {
        moment: pair.moment.map(|id| MomentId(id.0 + first_moment)),
        mark: pair.mark.map(|id| SoundId(id.0 + first_sound)),
        ..pair.clone()
    }
}
