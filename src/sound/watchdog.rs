//! Watches the counters of a stream for what no error tells: no progress,
//! nothing but zeros, full scale. Pure: it is told the time.

use super::event::MicEvent;
use super::ring::Snapshot;

/// No callback for so long is a stall, in ms. The longest block met is 256 ms.
const STALL_MS: f64 = 700.0;
/// Zeros for so long are told, in s.
const SILENCE_S: f64 = 3.0;
/// Full-scale samples in a second that are told: one alone may be chance.
const CLIPPED: u64 = 3;

/// What has been told of one stream.
#[derive(Debug, Clone, Default)]
pub(super) struct Watchdog {
    stalled_since_ns: Option<i64>,
    silence_told: bool,
    clipped_seen: u64,
    clipping_looked_ns: i64,
}

impl Watchdog {
    /// Looks at the counters at `now_ns` (CLOCK_MONOTONIC) of a stream at
    /// `rate_hz` and tells what is new.
    pub fn look(&mut self, now: Snapshot, now_ns: i64, rate_hz: u32, events: &mut Vec<MicEvent>) {
        self.look_for_stall(now, now_ns, events);
        let zeros_s = now.zero_run as f64 / f64::from(rate_hz.max(1));
        if zeros_s < SILENCE_S {
            self.silence_told = false;
        } else if !self.silence_told {
            self.silence_told = true;
            events.push(MicEvent::Silence { for_s: zeros_s });
        }
        if now_ns - self.clipping_looked_ns >= 1_000_000_000 {
            let samples = now.clipped - self.clipped_seen;
            if samples >= CLIPPED {
                events.push(MicEvent::Clipping { samples });
            }
            self.clipped_seen = now.clipped;
            self.clipping_looked_ns = now_ns;
        }
    }

    fn look_for_stall(&mut self, now: Snapshot, now_ns: i64, events: &mut Vec<MicEvent>) {
        let wait_ms = |from: i64, to: i64| (to - from) as f64 * 1e-6;
        if let Some(since_ns) = self.stalled_since_ns
            && now.last_callback_ns != since_ns
        {
            self.stalled_since_ns = None;
            events.push(MicEvent::Resumed {
                after_ms: wait_ms(since_ns, now.last_callback_ns),
            });
        }
        let for_ms = wait_ms(now.last_callback_ns, now_ns);
        if self.stalled_since_ns.is_none() && for_ms >= STALL_MS {
            self.stalled_since_ns = Some(now.last_callback_ns);
            events.push(MicEvent::Stall { for_ms });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const S: i64 = 1_000_000_000;

    fn look(w: &mut Watchdog, snapshot: Snapshot, now_ns: i64) -> Vec<MicEvent> {
        let mut events = Vec::new();
        w.look(snapshot, now_ns, 8_000, &mut events);
        events
    }

    #[test]
    fn a_stall_is_told_once_and_its_end_with_its_length() {
        let mut w = Watchdog::default();
        let at = |last_callback_ns| Snapshot {
            last_callback_ns,
            ..Snapshot::default()
        };
        assert_eq!(look(&mut w, at(S), S + S / 2), []);
        assert_eq!(
            look(&mut w, at(S), 2 * S),
            [MicEvent::Stall { for_ms: 1000.0 }]
        );
        assert_eq!(look(&mut w, at(S), 3 * S), []);
        assert_eq!(
            look(&mut w, at(4 * S), 4 * S),
            [MicEvent::Resumed { after_ms: 3000.0 }]
        );
        assert_eq!(look(&mut w, at(4 * S), 4 * S + S / 2), []);
    }

    #[test]
    fn zeros_are_told_once_until_sound_comes() {
        let mut w = Watchdog::default();
        let zeros = |zero_run| Snapshot {
            zero_run,
            ..Snapshot::default()
        };
        assert_eq!(look(&mut w, zeros(16_000), 0), []);
        assert_eq!(
            look(&mut w, zeros(24_000), 0),
            [MicEvent::Silence { for_s: 3.0 }]
        );
        assert_eq!(look(&mut w, zeros(32_000), 0), []);
        assert_eq!(look(&mut w, zeros(5), 0), []);
        assert_eq!(look(&mut w, zeros(24_005), 0).len(), 1);
    }

    #[test]
    fn clipping_is_told_at_most_once_a_second() {
        let mut w = Watchdog::default();
        let loud = |clipped, last_callback_ns| Snapshot {
            clipped,
            last_callback_ns,
            ..Snapshot::default()
        };
        assert_eq!(look(&mut w, loud(2, S), S), []);
        assert_eq!(look(&mut w, loud(40, S), S + S / 2), []);
        assert_eq!(
            look(&mut w, loud(50, 2 * S), 2 * S),
            [MicEvent::Clipping { samples: 48 }]
        );
        assert_eq!(look(&mut w, loud(51, 3 * S), 3 * S), []);
    }
}
