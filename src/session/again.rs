//! A session once more from what was recorded or kept of it.

use super::{Course, Input, Setup};
use crate::timeline::session::{Happened, Line, Log, SessionEvent};
use crate::timeline::{HeardSound, Moment, MomentSource};

/// Standard uncertainty of what a file tells without saying how exact it is, in
/// milliseconds: one picture of a video at 30 a second, 33.3/√12.
pub const FILE_U_MS: f64 = 9.6;
/// Sounds closer than this are the same one heard again, in seconds.
const SAME_SOUND_S: f64 = 1e-3;

/// The log of a recording: sounds that were heard, moments of a file, and lines of an
/// events file, taken in by time as a live session takes them in.
pub fn log_of_lines(
    setup: &Setup,
    heard: &[HeardSound],
    moments: &[Moment],
    lines: Vec<Line>,
) -> Log {
    let moment = |m: &Moment| {
        Input::Line(Line::Event(SessionEvent {
            t_s: m.t_s,
            u_ms: FILE_U_MS,
            source: MomentSource::File,
            what: Happened::Reached,
        }))
    };
    let heard = heard
        .iter()
        .map(|one| (one.sound.t_s, Input::Heard(one.clone())));
    let mut all: Vec<(f64, Input)> = heard
        .chain(moments.iter().map(|m| (m.t_s, moment(m))))
        .chain(lines.into_iter().map(|l| (l.t_s(), Input::Line(l))))
        .collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut course = Course::new(setup.clone());
    for (_, input) in all {
        course.take(input);
    }
    course.into_log()
}

/// What the ear told, as against what people and the machine did.
fn is_heard(event: &SessionEvent) -> bool {
    event.source == MomentSource::Sound
        && matches!(
            event.what,
            Happened::Mark(_) | Happened::Cue | Happened::Turn { .. }
        )
}

/// A session whose sound is heard again: what was keyed stays as it was, what was
/// heard is heard anew, and what was set aside stays aside.
pub fn reheard(stored: &Log, setup: &Setup, heard: &[HeardSound]) -> Log {
    let old: Vec<_> = stored
        .entries()
        .iter()
        .filter(|e| is_heard(&e.event))
        .collect();
    let is_old = |number: i64| old.iter().any(|e| e.number == number);
    let mut log = Log::default();
    for entry in stored.entries().iter().filter(|e| !is_old(e.number)) {
        let of_old = matches!(entry.event.what, Happened::Aside { target, .. } if is_old(target));
        if !of_old {
            log.apply(entry.number, entry.event.clone());
        }
    }
    let mut course = Course::on_with(setup.clone(), log);
    for one in heard {
        course.take(Input::Heard(one.clone()));
    }
    for entry in old.iter().filter(|e| e.is_aside) {
        let kind = std::mem::discriminant(&entry.event.what);
        let again = course.log().entries().iter().find(|e| {
            is_heard(&e.event)
                && std::mem::discriminant(&e.event.what) == kind
                && (e.event.t_s - entry.event.t_s).abs() < SAME_SOUND_S
        });
        if let Some(number) = again.map(|e| e.number) {
            let t_s = course.log().latest_s();
            course.take(Input::SetAside { number, t_s });
        }
    }
    course.into_log()
}

/// What someone noted at a second look, with the marks of the session as it was
/// kept and with what was practised when.
pub fn with_marks_of(noted: &Log, session: &Log) -> Log {
    let is_of_session = |e: &SessionEvent| {
        matches!(
            e.what,
            Happened::Mark(_) | Happened::Turn { .. } | Happened::Step { .. }
        )
    };
    let own = noted.counted().into_iter().filter(|e| !is_of_session(e));
    let of_session = session.counted().into_iter().filter(|e| is_of_session(e));
    let mut log = Log::default();
    for (number, event) in (1..).zip(of_session.chain(own)) {
        log.apply(number, event.clone());
    }
    log
}
