//! Scenes: sounds put at exact samples, then the room, then the noise.

use super::{Ball, Clicker, Colour, Dice, Fall, Ringing, Wobble, space};

/// The truth of one click.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Click {
    /// First sample of the press.
    pub press: u64,
    /// First sample of the release.
    pub release: u64,
}

/// A room in which a scene is being put together.
pub struct Room {
    rate_hz: u32,
    dry: Vec<f32>,
    dice: Dice,
    clicks: Vec<Click>,
    others: Vec<Click>,
    words: Vec<u64>,
    falls: Vec<Fall>,
}

/// A finished scene and its truth.
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    /// Samples per second.
    pub rate_hz: u32,
    /// Mono samples.
    pub samples: Vec<f32>,
    /// Clicks of the clicker that counts.
    pub clicks: Vec<Click>,
    /// Clicks of other clickers.
    pub others: Vec<Click>,
    /// First samples of the words that count.
    pub words: Vec<u64>,
    /// Falls of the ball.
    pub falls: Vec<Fall>,
}

impl Room {
    /// An empty room, `seconds` long.
    pub fn new(rate_hz: u32, seconds: f64, seed: u64) -> Self {
        Self {
            rate_hz,
            dry: vec![0.0; (seconds * f64::from(rate_hz)) as usize],
            dice: Dice::new(seed),
            clicks: Vec::new(),
            others: Vec::new(),
            words: Vec::new(),
            falls: Vec::new(),
        }
    }

    /// The room's own chance.
    pub fn dice(&mut self) -> &mut Dice {
        &mut self.dice
    }

    /// Samples per second as a float.
    pub fn rate(&self) -> f64 {
        f64::from(self.rate_hz)
    }

    /// Adds `sound` from sample `at` on, scaled by `gain`.
    pub fn add(&mut self, at: usize, sound: &[f32], gain: f64) {
        for (k, &v) in sound.iter().enumerate() {
            if let Some(y) = self.dry.get_mut(at + k) {
                *y += v * gain as f32;
            }
        }
    }

    fn strike(&mut self, at: usize, thing: &Ringing, wobble: Wobble, peak: f64) {
        let sound = thing.strike(self.rate(), wobble, &mut self.dice);
        self.add(at, &sound, peak);
    }

    fn click_truth(&mut self, clicker: &Clicker, at_s: f64, peak: f64) -> Click {
        let press = (at_s * self.rate()).round() as usize;
        let held_s = self.dice.between(clicker.held_s.0, clicker.held_s.1);
        let release = press + (held_s * self.rate()).round() as usize;
        self.strike(press, &clicker.press, clicker.wobble, peak);
        self.strike(
            release,
            &clicker.release,
            clicker.wobble,
            peak * clicker.release_gain,
        );
        Click {
            press: press as u64,
            release: release as u64,
        }
    }

    /// A click of the clicker that counts: press at `at_s`, then its release.
    pub fn click(&mut self, clicker: &Clicker, at_s: f64, peak: f64) -> Click {
        let click = self.click_truth(clicker, at_s, peak);
        self.clicks.push(click);
        click
    }

    /// A click of another clicker.
    pub fn other_click(&mut self, clicker: &Clicker, at_s: f64, peak: f64) {
        let click = self.click_truth(clicker, at_s, peak);
        self.others.push(click);
    }

    /// Says the made-up word of `seed` (see [`super::word`]); gives its first sample.
    pub fn say(&mut self, seed: u64, pace: f64, at_s: f64, peak: f64) -> u64 {
        let at = (at_s * self.rate()).round() as usize;
        let sound = super::word(self.rate(), seed, pace);
        self.add(at, &sound, peak);
        self.words.push(at as u64);
        at as u64
    }

    /// Lets a ball fall; the first impact has peak `peak`.
    pub fn drop_ball(
        &mut self,
        ball: &Ball,
        release_s: f64,
        height_m: f64,
        bounces: usize,
        peak: f64,
    ) -> Fall {
        let mut fall = ball.fall(release_s, height_m, bounces, &mut self.dice);
        for (k, at_s) in fall.impacts_s.iter_mut().enumerate() {
            let at = (*at_s * f64::from(self.rate_hz)).round() as usize;
            *at_s = at as f64 / f64::from(self.rate_hz);
            let sound = ball
                .impact
                .strike(f64::from(self.rate_hz), ball.wobble(), &mut self.dice);
            // Level goes with the speed of the impact, a little more than in proportion.
            let part = fall.speeds_m_s[k] / fall.speeds_m_s[0];
            let gain = peak * part.powf(1.2);
            for (n, &v) in sound.iter().enumerate() {
                if let Some(y) = self.dry.get_mut(at + n) {
                    *y += v * gain as f32;
                }
            }
        }
        self.falls.push(fall.clone());
        fall
    }

    /// Adds the room's echoes to all that was put in so far.
    pub fn echo(&mut self, strength: f64, tail_s: f64) {
        let rate_hz = self.rate();
        space::echo(&mut self.dry, rate_hz, strength, tail_s, &mut self.dice);
    }

    /// Adds a background noise of the given RMS.
    pub fn noise(&mut self, rms: f64, colour: Colour) {
        let sound = space::noise(self.dry.len(), colour, &mut self.dice);
        self.add(0, &sound, rms);
    }

    /// The finished scene, its truth in order of time.
    pub fn finish(mut self) -> Scene {
        self.clicks.sort_by_key(|c| c.press);
        self.others.sort_by_key(|c| c.press);
        self.words.sort_unstable();
        Scene {
            rate_hz: self.rate_hz,
            samples: self.dry,
            clicks: self.clicks,
            others: self.others,
            words: self.words,
            falls: self.falls,
        }
    }
}
