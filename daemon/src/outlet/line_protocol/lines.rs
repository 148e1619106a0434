//! A parcel as lines, each with the sequence number it goes by; what cannot be written is refused
//! at once. Nothing is sent here.

use super::encode::{encode, encode_move};
use super::point::Unwritable;
use crate::outlet::{Parcel, Refusal};

/// A reading or move as it will be sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// Sequence number of the reading or move.
    pub seq: u64,
    /// The line without a line break.
    pub text: String,
}

/// The parcel's lines in its order, and the items that have no form as a line.
#[must_use]
pub fn lines(parcel: Parcel<'_>, site: &str, measurement: &str) -> (Vec<Line>, Vec<Refusal>) {
    let (mut lines, mut refused) = (Vec::new(), Vec::new());
    let mut sort = |seq, what: &str, probe: &str, written: Result<String, Unwritable>| match written
    {
        Ok(text) => lines.push(Line { seq, text }),
        Err(why) => refused.push(Refusal {
            seq,
            why: format!("{what} {seq} of probe `{probe}`: {why}"),
        }),
    };
    match parcel {
        Parcel::Moves(moves) => {
            for moved in moves {
                sort(
                    moved.seq,
                    "alarm move",
                    &moved.probe,
                    encode_move(moved, site),
                );
            }
        }
        Parcel::Live(readings) | Parcel::Backlog(readings) => {
            for reading in readings {
                let line = encode(reading, site, measurement);
                sort(reading.seq, "reading", &reading.series.probe, line);
            }
        }
    }
    (lines, refused)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outlet::line_protocol::example::{moved, reading};

    #[test]
    fn lines_keep_the_order_and_what_cannot_be_written_is_refused_by_name() {
        let mut bad = reading(2);
        bad.seq = u64::MAX;
        let (lines, refused) = lines(
            Parcel::Live(&[reading(1), bad, reading(3)]),
            "cellar",
            "reading",
        );
        assert_eq!(
            lines.iter().map(|line| line.seq).collect::<Vec<_>>(),
            [1, 3]
        );
        let expected = "reading 18446744073709551615 of probe `mash`: its number \
                        18446744073709551615 is above the largest integer of line protocol";
        assert_eq!(refused.len(), 1);
        assert_eq!(refused[0].why, expected);
    }

    #[test]
    fn moves_go_to_the_measurement_of_alarms_whatever_readings_go_to() {
        let (lines, refused) = lines(Parcel::Moves(&[moved(7)]), "cellar", "temperatures");
        assert!(
            lines[0]
                .text
                .starts_with("alarm,alarm=high,probe=mash,site=cellar ")
        );
        assert!(refused.is_empty());
    }
}
