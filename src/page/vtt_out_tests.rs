use super::*;
use crate::timeline::{Aim, MomentSource, Window, pair, parse_moments};
use proptest::prelude::*;

fn moment(t_s: f64, kind: MomentKind, label: &str) -> Moment {
    Moment {
        t_s,
        kind,
        source: MomentSource::Sound,
        label: label.to_owned(),
    }
}

fn captions_of(moments: &[Moment], marks_s: &[f64]) -> String {
    let times: Vec<f64> = moments.iter().map(|m| m.t_s).collect();
    let window = Window::new(500.0, 1000.0).unwrap();
    let aim = Aim {
        from_ms: -100.0,
        to_ms: 150.0,
    };
    captions(&pair(&times, marks_s, window, aim), moments, WordAt::Onset)
}

#[test]
fn the_captions_say_what_each_mark_was_worth() {
    let moments = [
        moment(1.0, MomentKind::Floor, ""),
        moment(10.0, MomentKind::Top, ""),
        moment(20.0, MomentKind::Release, ""),
        moment(30.0, MomentKind::Behaviour, "Juniper & <Clover>\n-->"),
        moment(3700.0, MomentKind::Behaviour, ""),
    ];
    let text = captions_of(&moments, &[1.18, 9.7, 20.0001, 40.0, 3700.05]);
    let expected = "WEBVTT\n\n\
        00:00:01.180 --> 00:00:03.180\nmark 180 ms after the floor, late\n\n\
        00:00:09.700 --> 00:00:11.700\nmark 300 ms before the top, early\n\n\
        00:00:20.000 --> 00:00:22.000\nmark at the release, on time\n\n\
        00:00:30.000 --> 00:00:32.000\n\
        missed: no mark for \u{201c}Juniper &amp; &lt;Clover&gt; --&gt;\u{201d}\n\n\
        00:00:40.000 --> 00:00:42.000\nstray mark\n\n\
        01:01:40.050 --> 01:01:42.050\nmark 50 ms after the behaviour, on time\n";
    assert_eq!(text, expected);
    let back = parse_moments(&text).unwrap();
    assert_eq!(back.moments.len(), 6);
    assert_eq!(
        back.moments[3].label,
        "missed: no mark for \u{201c}Juniper & <Clover> -->\u{201d}"
    );
}

#[test]
fn captions_close_together_stand_above_each_other() {
    let text = captions_of(&[moment(1.0, MomentKind::Floor, "")], &[1.1, 1.5, 2.9]);
    let expected = "WEBVTT\n\n\
        00:00:01.100 --> 00:00:01.500\nmark 100 ms after the floor, on time\n\n\
        00:00:01.500 --> 00:00:02.900\nmark 100 ms after the floor, on time\nstray mark\n\n\
        00:00:02.900 --> 00:00:04.900\nstray mark\n";
    assert_eq!(text, expected);
}

#[test]
fn no_pairs_make_a_valid_file_without_cues() {
    assert_eq!(captions(&[], &[], WordAt::Onset), "WEBVTT\n\n");
}

/// Milliseconds of a timestamp in the long form of the W3C syntax.
fn timestamp_ms(text: &str) -> u64 {
    let (clock, ms) = text.split_once('.').unwrap();
    let parts: Vec<&str> = clock.split(':').collect();
    assert_eq!(parts.len(), 3);
    assert!(parts[0].len() >= 2 && parts[1].len() == 2 && parts[2].len() == 2 && ms.len() == 3);
    let n: Vec<u64> = parts.iter().map(|p| p.parse().unwrap()).collect();
    assert!(n[1] < 60 && n[2] < 60);
    ((n[0] * 60 + n[1]) * 60 + n[2]) * 1000 + ms.parse::<u64>().unwrap()
}

proptest! {
    /// The W3C rules for cues: times well formed, end after start, starts in
    /// order; and this program's own: no overlap, text never empty, no caption
    /// lost, and each to be read for a second.
    #[test]
    fn any_captions_keep_the_rules(
        floors in prop::collection::vec(-1.0..40.0f64, 0..20),
        marks in prop::collection::vec(0.0..40.0f64, 0..20),
        label in "[a-z<>&\\-\n\r ]{0,12}",
    ) {
        let moments: Vec<Moment> =
            floors.iter().map(|t| moment(*t, MomentKind::Floor, &label)).collect();
        let text = captions_of(&moments, &marks);
        let body = text.strip_prefix("WEBVTT\n\n").unwrap();
        let blocks = body.trim_end().split("\n\n").filter(|b| !b.is_empty());
        let mut last_end = 0;
        for block in blocks {
            let mut lines = block.lines();
            let (start, end) = lines.next().unwrap().split_once(" --> ").unwrap();
            let (start, end) = (timestamp_ms(start), timestamp_ms(end));
            prop_assert!(start < end && last_end <= start && end <= start + SHOWN_MS);
            last_end = end;
            let rest: Vec<&str> = lines.collect();
            prop_assert!((1..=LINES).contains(&rest.len()));
            for line in rest {
                prop_assert!(!line.is_empty() && !line.contains("-->") && !line.contains('<'));
            }
        }
        let events = moments.len() + marks.len();
        if events > 0 {
            let cues = parse_moments(&text).unwrap().moments;
            prop_assert!(!cues.is_empty() && cues.len() <= events);
        }
    }
}

#[test]
fn another_place_in_the_word_is_noted_at_the_head() {
    let text = captions(&[], &[], WordAt::Centre);
    assert!(
        text.starts_with("WEBVTT\n\nNOTE\nSpoken marks are placed"),
        "{text}"
    );
    assert!(text.ends_with("\n\n") && !text.contains("-->"), "{text}");
}
