use super::*;
use crate::hand::Key;
use crate::sound::room::{Colour, Room, bang};
use crate::sound::{Pace, Played};

const RATE: u32 = 48_000;
const EVERY_S: f64 = 0.45;

/// Taps of a finger from 1.2 s on, one every 0.45 s.
fn taps(count: usize) -> (Vec<f32>, Vec<f64>) {
    let seconds = 2.0 + EVERY_S * count as f64;
    let mut room = Room::new(RATE, seconds, 5);
    let at_s: Vec<f64> = (0..count).map(|k| 1.2 + EVERY_S * k as f64).collect();
    for s in &at_s {
        let sound = bang(room.rate(), room.dice());
        let at = (s * room.rate()) as usize;
        room.add(at, &sound, 0.3);
    }
    room.noise(0.000_5, Colour::White);
    (room.finish().samples, at_s)
}

/// A hand whose keys come a known time after each tap, stamped as a key is.
struct Simulated<F> {
    at_s: Vec<f64>,
    late_ms: F,
    pressed: usize,
    said: Vec<String>,
}

impl<F: Fn(usize) -> f64> Front for Simulated<F> {
    fn hands(&mut self, source: &dyn SampleSource) -> anyhow::Result<Hands> {
        let mut hands = Hands::default();
        let now_ns = mono_ns();
        let Some((now, _)) = source.sample_at(now_ns) else {
            return Ok(hands);
        };
        while let Some(s) = self.at_s.get(self.pressed) {
            let due = (s + (self.late_ms)(self.pressed) * 1e-3) * f64::from(RATE);
            if due > now {
                break;
            }
            self.pressed += 1;
            hands.presses.push(HandEvent {
                mono_ns: now_ns - ((now - due) / f64::from(RATE) * 1e9) as i64,
                source: Source::Terminal,
                key: Key::Sign(' '),
                u_ms: 0.0,
            });
        }
        Ok(hands)
    }

    fn show(&mut self, _tapping: &mut Tapping, words: Option<&str>) -> anyhow::Result<()> {
        self.said.extend(words.map(str::to_owned));
        Ok(())
    }
}

fn run(count: usize, late_ms: impl Fn(usize) -> f64) -> (Tapping, Vec<String>) {
    let (samples, at_s) = taps(count);
    let mut played = Played::from_samples(RATE, Pace::RealTime, samples);
    let mut tapping = Tapping::new(RATE, count).unwrap();
    let mut hand = Simulated {
        at_s,
        late_ms,
        pressed: 0,
        said: Vec::new(),
    };
    tap(&mut tapping, &mut played, &mut hand).unwrap();
    (tapping, hand.said)
}

/// Taps whose instants and keys whose delays are known by construction: 30 ms,
/// and 2 ms more and less in turn.
#[test]
fn a_known_delay_is_found() {
    let (tapping, said) = run(12, |k| 30.0 + if k % 2 == 0 { 2.0 } else { -2.0 });
    let path = calibrate(&tapping.presses_ms, &tapping.sounds_ms).unwrap();
    assert_eq!(path.taps, 12, "{said:?}");
    assert!((path.delay_ms - 30.0).abs() < 0.5, "{path:?} {said:?}");
    // By hand: twelve values 2 from their mean, 12·4/11.
    assert!(
        (path.jitter_ms - (48.0f64 / 11.0).sqrt()).abs() < 0.3,
        "{path:?}"
    );
    assert!(
        said.iter().any(|s| s.starts_with("tap 12/12: the key is")),
        "{said:?}"
    );
}

#[test]
fn keys_that_make_no_sound_are_refused() {
    // Half-way between two taps, and after any tap's reach.
    let (tapping, said) = run(11, |_| 350.0);
    let error = calibrate(&tapping.presses_ms, &tapping.sounds_ms).unwrap_err();
    assert!(error.to_string().contains("Only 0 taps"), "{error}");
    assert!(
        said.iter().any(|s| s.contains("no sound of its own")),
        "{said:?}"
    );
}
