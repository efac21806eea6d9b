//! How loud the sound is, and the last mark: one line, on every live screen.

use crate::timeline::Sound;

/// A mark below this is told to be faint, in dBFS: a convention.
const FAINT_DBFS: f64 = -40.0;

/// The level of the sound in words, and how long ago the last mark was; what is
/// needed most comes first, where the line is short.
pub fn sound_line(peak_dbfs: f64, mark: Option<&Sound>, now_s: f64) -> String {
    let now = match peak_dbfs {
        dbfs if dbfs > -1.0 => "too loud".to_owned(),
        dbfs if dbfs.is_finite() => format!("{dbfs:.0} dB"),
        _ => "silence".to_owned(),
    };
    let Some(mark) = mark else {
        return format!("Sound {now}; no mark yet");
    };
    let ago = match (now_s - mark.t_s).max(0.0) {
        s if s < 99.5 => format!("{s:.0} s ago"),
        s => format!("{:.0} min ago", s / 60.0),
    };
    let (name, dbfs) = (&mark.name, mark.level_dbfs);
    let judged = match dbfs < FAINT_DBFS {
        true => "faint, move the microphone nearer",
        false => "good",
    };
    format!("Sound {now}; mark \"{name}\" {ago}, {dbfs:.0} dB: {judged}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::timeline::SoundKind;

    #[test]
    fn the_level_and_the_last_mark_in_words() {
        let mark = |level_dbfs| Sound {
            t_s: 10.0,
            kind: SoundKind::Click,
            name: "blue".into(),
            confidence: 0.9,
            level_dbfs,
        };
        let none = f64::NEG_INFINITY;
        for (peak, mark, now_s, words) in [
            (none, None, 3.0, "Sound silence; no mark yet"),
            (-0.5, None, 3.0, "Sound too loud; no mark yet"),
            (
                -48.2,
                Some(mark(-12.0)),
                22.4,
                "Sound -48 dB; mark \"blue\" 12 s ago, -12 dB: good",
            ),
            (
                -48.2,
                Some(mark(-41.0)),
                190.0,
                "Sound -48 dB; mark \"blue\" 3 min ago, -41 dB: faint, move the microphone nearer",
            ),
        ] {
            assert_eq!(sound_line(peak, mark.as_ref(), now_s), words);
        }
    }
}
