//! Pairs while the drill is on: what can no longer change is settled, the rest is
//! paired anew with each mark and moment.

use super::state::{LATE_S, State};
use crate::listen::Timeline;
use crate::review::judge;
use crate::timeline::{Moment, Pair, Sound, SoundKind};

impl State {
    /// Whether what happened at `t_s` counts.
    pub(super) fn counts(&self, t_s: f64) -> bool {
        let is_in_pause = self
            .pauses
            .iter()
            .any(|(from, to)| (*from..=*to).contains(&t_s));
        !is_in_pause && !self.undone.contains(&t_s) && !self.undone_marks.contains(&t_s)
    }

    /// What was heard from `from_s` on and counts.
    pub(super) fn counted(&self, from_s: f64) -> Timeline {
        let sounds = &self.heard.sounds;
        let first = sounds.partition_point(|s| s.t_s < from_s);
        let mut counted = Timeline {
            duration_s: self.heard.duration_s,
            ..Timeline::default()
        };
        for (sound, u_ms) in sounds.iter().zip(&self.heard.sound_u_ms).skip(first) {
            if !is_mark(sound) || self.counts(sound.t_s) {
                counted.sounds.push(sound.clone());
                counted.sound_u_ms.push(*u_ms);
            }
        }
        let drops = self.heard.drops.iter().rev();
        counted.drops = drops
            .take_while(|d| d.top_s >= from_s - 1.0)
            .cloned()
            .collect();
        counted.drops.reverse();
        counted
    }

    /// Pairs anew what is not settled, then settles what can no longer change:
    /// everything before a stretch in which neither moment nor mark can reach
    /// across, and so long ago that nothing more is heard of it.
    pub(super) fn pair_again(&mut self) {
        self.pairs.truncate(self.settled);
        let from_s = self.settled_s;
        let heard = self.counted(from_s);
        let open: Vec<Moment> = self
            .moments_counted()
            .filter(|m| m.t_s >= from_s)
            .cloned()
            .collect();
        let mut times: Vec<f64> = open.iter().map(|m| m.t_s).collect();
        times.extend(heard.marks().iter().map(|m| m.0));
        times.sort_by(f64::total_cmp);
        self.pairs
            .extend(judge(&heard, &open, &self.setup.rules).pairs);
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

/// Whether a sound marks: all but impacts.
pub(super) fn is_mark(sound: &Sound) -> bool {
    sound.kind != SoundKind::Impact
}
