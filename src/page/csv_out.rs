//! The pairs as a table: one line a pair, the units in the column names.

use std::io::Write;

use crate::ear::word::WordAt;
use crate::timeline::Pair;

/// The columns, in order.
pub const COLUMNS: [&str; 5] = ["moment_s", "mark_s", "lag_ms", "outcome", "u_ms"];

/// Writes the pairs as CSV (RFC 4180, a header, commas, decimal points), times in
/// seconds and lags in milliseconds with every digit; what is not known stays
/// empty. Where spoken marks are not stamped at their onset a last column, `word_at`,
/// says so in each line. Fails where the writer does.
pub fn write_pairs_csv<W: Write>(to: W, pairs: &[Pair], word_at: WordAt) -> csv::Result<()> {
    let mut writer = csv::Writer::from_writer(to);
    let more = (!word_at.is_onset()).then(|| word_at.to_string());
    writer.write_record(COLUMNS.into_iter().chain(more.as_ref().map(|_| "word_at")))?;
    let cell = |x: Option<f64>| x.map_or_else(String::new, |x| x.to_string());
    for pair in pairs {
        let cells = [
            cell(pair.moment_s),
            cell(pair.mark_s),
            cell(pair.lag_ms),
            pair.outcome.id().to_owned(),
            cell(pair.u_ms),
        ];
        writer.write_record(cells.iter().chain(&more))?;
    }
    writer.flush()?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::timeline::{Aim, Window, pair};

    #[test]
    fn what_is_written_is_read_back() {
        let aim = Aim {
            from_ms: -50.0,
            to_ms: 50.0,
        };
        let window = Window::new(500.0, 1000.0).unwrap();
        let mut pairs = pair(&[1.0, 4.0, 7.1], &[1.0 + 1.0 / 3.0, 7.0, 20.0], window, aim);
        pairs[0].u_ms = Some(0.1);
        let mut bytes = Vec::new();
        write_pairs_csv(&mut bytes, &pairs, WordAt::Onset).unwrap();
        let mut reader = csv::Reader::from_reader(bytes.as_slice());
        assert_eq!(reader.headers().unwrap(), COLUMNS.as_slice());
        let back: Vec<Pair> = reader.deserialize().map(Result::unwrap).collect();
        assert_eq!(back.len(), 4);
        // The file does not name moments and marks.
        for (back, pair) in back.into_iter().zip(pairs) {
            let (moment, mark) = (None, None);
            assert_eq!(
                back,
                Pair {
                    moment,
                    mark,
                    ..pair
                }
            );
        }
    }

    #[test]
    fn another_place_in_the_word_is_named_in_each_line() {
        let mut bytes = Vec::new();
        let pairs = pair(
            &[1.0],
            &[1.25],
            Window::new(500.0, 1000.0).unwrap(),
            Aim {
                from_ms: -50.0,
                to_ms: 50.0,
            },
        );
        write_pairs_csv(&mut bytes, &pairs, WordAt::Centre).unwrap();
        let text = String::from_utf8(bytes).unwrap();
        assert_eq!(
            text,
            "moment_s,mark_s,lag_ms,outcome,u_ms,word_at\n1,1.25,250,late,,centre\n"
        );
    }

    #[test]
    fn no_pairs_still_have_a_header() {
        let mut bytes = Vec::new();
        write_pairs_csv(&mut bytes, &[], WordAt::Onset).unwrap();
        assert_eq!(bytes, b"moment_s,mark_s,lag_ms,outcome,u_ms\n");
    }

    #[test]
    fn a_full_disk_is_an_error() {
        struct Full;
        impl Write for Full {
            fn write(&mut self, _: &[u8]) -> std::io::Result<usize> {
                Err(std::io::ErrorKind::StorageFull.into())
            }
            fn flush(&mut self) -> std::io::Result<()> {
                Ok(())
            }
        }
        assert!(write_pairs_csv(Full, &[], WordAt::Onset).is_err());
    }
}
