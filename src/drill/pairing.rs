//! Pairs while the drill is on: what can no longer change is settled, the rest is
//! paired anew with each mark and moment.

use super::state::{LATE_S, State};
use crate::review::judge;
use crate::timeline::{HeardSound, KnownMoment, Pair};

impl State {
    /// Whether `t_s` lies in a pause.
    pub(super) fn is_in_pause(&self, t_s: f64) -> bool {
        let is_in = |(from, to): &(f64, f64)| (*from..=*to).contains(&t_s);
        self.pauses.iter().any(is_in)
    }

    /// Moments that count, in order of time.
    pub fn moments_counted(&self) -> impl DoubleEndedIterator<Item = &KnownMoment> {
        let counts =
            |m: &&KnownMoment| !self.is_in_pause(m.moment.t_s) && !self.undone.contains(&m.id);
        self.moments.iter().filter(counts)
    }

    /// Marks from `from_s` on that count, in order of time.
    pub(super) fn marks_counted(&self, from_s: f64) -> impl Iterator<Item = &HeardSound> {
        let sounds = &self.heard.sounds;
        let first = sounds.partition_point(|s| s.sound.t_s < from_s);
        let marks = sounds[first..].iter().filter(|s| s.sound.is_mark());
        marks.filter(|m| !self.is_in_pause(m.sound.t_s) && !self.undone_marks.contains(&m.id))
    }

    /// Pairs anew what is not settled, then settles what can no longer change:
    /// everything before a stretch in which neither moment nor mark can reach
    /// across, and so long ago that nothing more is heard of it.
    pub(super) fn pair_again(&mut self) {
        self.pairs.truncate(self.settled);
        let from_s = self.settled_s;
        let marks: Vec<&HeardSound> = self.marks_counted(from_s).collect();
        let open = self.moments_counted();
        let open: Vec<&KnownMoment> = open.filter(|m| m.moment.t_s >= from_s).collect();
        let mut times: Vec<f64> = open.iter().map(|m| m.moment.t_s).collect();
        times.extend(marks.iter().map(|m| m.sound.t_s));
        times.sort_by(f64::total_cmp);
        let pairs = judge(marks, open, &self.setup.rules).pairs;
        self.pairs.extend(pairs);
        let window = self.setup.rules.window;
        let reach_s = window.before_ms().max(window.after_ms()) * 1e-3;
        let until_s = self.now_s - LATE_S - reach_s;
        let cut = times
            .windows(2)
            .rev()
            .find_map(|w| (w[1] - w[0] > reach_s && w[1] < until_s).then_some(w[1]));
        if let Some(cut_s) = cut {
            let is_before = |p: &Pair| p.moment_s.or(p.mark_s).is_some_and(|t| t < cut_s);
            self.settled = self.pairs.iter().filter(|p| is_before(p)).count();
            self.settled_s = cut_s;
        }
    }

    /// From the start, when something long ago has changed.
    pub(super) fn pair_all(&mut self) {
        self.settled = 0;
        self.settled_s = f64::NEG_INFINITY;
        self.pair_again();
    }
}
