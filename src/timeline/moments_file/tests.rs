use super::*;
use crate::timeline::event::{MomentKind, MomentSource};
use proptest::prelude::*;

fn times(text: &str) -> Vec<f64> {
    let file = parse_moments(text).unwrap();
    file.moments.iter().map(|m| m.t_s).collect()
}

fn message(text: &str) -> String {
    parse_moments(text).unwrap_err().to_string()
}

#[test]
fn a_table_gives_times_kinds_and_labels() {
    let text =
        "time,kind,label\n1.25,floor,\n0:02.5,,\"Juniper, sits\"\n1:00:03.125,behaviour,Clover\n";
    let file = parse_moments(text).unwrap();
    assert!(file.warnings.is_empty());
    let expected = [
        (1.25, MomentKind::Floor, ""),
        (2.5, MomentKind::Behaviour, "Juniper, sits"),
        (3603.125, MomentKind::Behaviour, "Clover"),
    ];
    assert_eq!(file.moments.len(), 3);
    for (moment, (t_s, kind, label)) in file.moments.iter().zip(expected) {
        assert_eq!(
            (moment.t_s, moment.kind, moment.label.as_str()),
            (t_s, kind, label)
        );
        assert_eq!(moment.source, MomentSource::File);
    }
}

#[test]
fn separators_byte_order_mark_line_ends_and_decimal_commas() {
    for text in [
        "T_S\n1.5\n2.25\n",
        "\u{feff}t_s\r\n1.5\r\n2.25\r\n",
        "name;Moment\na;1,5\nb;2,25",
        "moment\tlabel\n1.5\tx\n2,25\ty\n",
        "\n\n start , label\n\n1.5,a\n\n2.25,b,extra\n",
    ] {
        assert_eq!(times(text), [1.5, 2.25], "{text:?}");
    }
    // One column with commas in it: the comma parts columns.
    assert!(message("label,time\nx,\"1,5\"\n").contains("decimal comma"));
}

#[test]
fn errors_name_the_line_the_column_and_what_to_do() {
    assert!(message("").contains("empty"));
    assert!(message("\u{feff} \r\n").contains("empty"));
    assert!(message("time,label\n").contains("no moments"));
    assert!(
        message("when,what\n1,2\n").contains("line 1 names no column of times (found: when, what)")
    );
    assert!(message("time,t\n1,2\n").contains("\"time\" and \"t\""));
    let cases = [
        ("-0.5", "before the start"),
        ("nan", "no time"),
        ("inf", "no time"),
        ("1e400", "no time"),
        ("", "missing"),
        ("1:75.0", "00 to 59"),
        ("1:60:00", "00 to 59"),
        ("1:2:3:4", "no time"),
        ("ten", "no time"),
        ("1.2.3", "no time"),
        (":5", "no time"),
        ("4000000", "no time"),
    ];
    for (bad, expected) in cases {
        let message = message(&format!("label,time\nok,1\nx,{bad}\n"));
        assert!(
            message.starts_with("line 3, column \"time\": "),
            "{message}"
        );
        assert!(message.contains(expected), "{bad}: {message}");
    }
    assert!(message("\n\nt\n\n1\n\n\nx\n").starts_with("line 8, "));
    assert!(message("t\r\r1\rx\r").starts_with("line 4, "));
    assert!(message("label,t\r\n\"a\r\nb\",1\r\n\r\nc,x").starts_with("line 5, "));
    let message = message("t,kind\n1,wall\n");
    assert!(
        message.contains("line 2, column \"kind\": \"wall\""),
        "{message}"
    );
}

#[test]
fn what_is_out_of_order_or_doubled_is_put_right_with_a_warning() {
    let file = parse_moments("t,label\n3,a\n1,b\n3,a\n3,c\n").unwrap();
    let kept: Vec<_> = file
        .moments
        .iter()
        .map(|m| (m.t_s, m.label.as_str()))
        .collect();
    assert_eq!(kept, [(1.0, "b"), (3.0, "a"), (3.0, "c")]);
    assert_eq!(
        file.warnings,
        [
            Warning::Sorted { line: 3 },
            Warning::Doubled { line: 4, first: 2 }
        ]
    );
    assert!(
        file.warnings[1]
            .to_string()
            .contains("line 4 repeats line 2")
    );
}

/// Blocks as the W3C WebVTT syntax allows them.
#[test]
fn webvtt_cues_give_starts_and_texts() {
    let text = "\u{feff}WEBVTT - the goats, Tuesday\nKind: metadata\n\n\
        NOTE made by hand\n00:00 is the camera's start\n\n\
        STYLE\n::cue { color: white }\n\n\
        REGION\nid:bill\n\n\
        first\n00:01.250 --> 00:02.000 align:start\n<b>Juniper</b> on the mat\nboth feet\n\n\
        123:59:59.999 --> 124:00:00.000\nsalt &amp; water &lt;3\n\n\
        00:00:05.000 -->\t00:00:06.000\n";
    let file = parse_moments(text).unwrap();
    let got: Vec<_> = file
        .moments
        .iter()
        .map(|m| (m.t_s, m.label.as_str()))
        .collect();
    assert_eq!(
        got,
        [
            (1.25, "Juniper on the mat both feet"),
            (5.0, ""),
            (446_399.999, "salt & water <3")
        ]
    );
    assert_eq!(times(&text.replace('\n', "\r\n")), [1.25, 5.0, 446_399.999]);
    assert_eq!(times(&text.replace('\n', "\r")), [1.25, 5.0, 446_399.999]);
}

#[test]
fn webvtt_errors_name_the_line() {
    assert!(message("WEBVTT\n").contains("no cues"));
    assert!(message("WEBVTT\n\nNOTE nothing\n").contains("no cues"));
    assert!(message("WEBVTT\n\nJuniper sits\n").starts_with("line 3: a cue needs a line like"));
    for bad in [
        "1:02.500",
        "00:01,500",
        "00:61.000",
        "00:01.5",
        "-00:01.000",
        "",
    ] {
        let message = message(&format!("WEBVTT\n\na\n{bad} --> 00:09.000\nx\n"));
        assert!(message.starts_with("line 4, cue: "), "{bad}: {message}");
    }
    assert!(message("WEBVTT\n\n00:01.000 -->\n").contains("missing"));
}

#[test]
fn a_table_that_speaks_of_webvtt_is_a_table() {
    assert!(message("WEBVTTX,y\n1,2\n").contains("no column of times"));
}

proptest! {
    #[test]
    fn random_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let text = String::from_utf8_lossy(&bytes);
        let _ = parse_moments(&text);
        let _ = parse_moments(&format!("WEBVTT\n\n{text}"));
        let _ = parse_moments(&format!("time;kind\n{text}"));
    }

    /// Text made of the pieces that the forms are made of.
    #[test]
    fn shuffled_pieces_never_panic(pieces in prop::collection::vec(prop::sample::select(vec![
        "WEBVTT", "\n", "\r\n", "\r", "\n\n", "-->", " ", "00:01.000", "1:02:03.5", "time", "t",
        ",", ";", "\t", "\"", "NOTE", "STYLE", "<", ">", "&amp;", "-", "1", "é", "\u{feff}", "floor",
    ]), 0..60)) {
        if let Ok(file) = parse_moments(&pieces.concat()) {
            prop_assert!(file.moments.iter().all(|m| m.t_s.is_finite() && m.t_s >= 0.0));
            prop_assert!(file.moments.windows(2).all(|m| m[0].t_s <= m[1].t_s));
        }
    }

    #[test]
    fn a_time_in_seconds_is_read_to_the_last_digit(t_s in 0.0..3_600_000.0f64) {
        prop_assert_eq!(times(&format!("time\n{t_s}\n")), [t_s]);
    }
}
