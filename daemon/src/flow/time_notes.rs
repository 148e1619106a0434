//! What the journal is told of a board's time: by what its readings are dated, and how well.

use crate::measure::board_clock::Lateness;
use crate::measure::dating::TimeUncertainty;
use std::time::Duration;

/// Why readings through an adapter are dated before they came.
pub(super) fn held(driver: &str, hold: Duration, known: TimeUncertainty) -> String {
    let hold_ms = hold.as_secs_f64() * 1000.0;
    format!(
        "its adapter (`{driver}`) holds bytes back for up to {} ms; a line is dated {} ms before it \
         came, unless the board's own clock dates it; {}",
        digits(hold_ms),
        digits(hold_ms / 2.0),
        uncertainty(known)
    )
}

/// How a board's own clock and its arrivals agree.
pub(super) fn own_clock(late: Lateness, fast_ppm: Option<f64>, known: TimeUncertainty) -> String {
    let pace = match fast_ppm {
        Some(ppm) if ppm.abs() < 0.5 => "; it keeps the host's pace".to_owned(),
        Some(ppm) if ppm < 0.0 => format!("; it runs {:.0} ppm slow", -ppm),
        Some(ppm) => format!("; it runs {ppm:.0} ppm fast"),
        None => String::new(),
    };
    format!(
        "lines arrive {} ms, at most {} ms, after the board's clock says{pace}; {}",
        digits(late.mean_ns / 1e6),
        digits(late.most_ns / 1e6),
        uncertainty(known)
    )
}

fn uncertainty(known: TimeUncertainty) -> String {
    let ms = digits(known.ns / 1e6);
    format!(
        "standard uncertainty of the time {ms} ms (by {}), beside what every line is late by (its \
         length on the wire, the samples before it)",
        known.source
    )
}

/// Two digits: `0.43`, `4.6`, `16`; hundredths at least.
fn digits(number: f64) -> String {
    let decimals = match number.abs() {
        large if large >= 9.95 => 0,
        middle if middle >= 0.995 => 1,
        _ => 2,
    };
    format!("{number:.decimals$}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::dating::TimeSource;

    #[test]
    fn an_adapters_hold_is_told_with_what_is_done_about_it() {
        let known = TimeUncertainty {
            ns: 4_618_802.0,
            source: TimeSource::Arrival,
        };
        let text = held("ftdi_sio", Duration::from_millis(16), known);
        insta::assert_snapshot!(text, @"its adapter (`ftdi_sio`) holds bytes back for up to 16 ms; a line is dated 8.0 ms before it came, unless the board's own clock dates it; standard uncertainty of the time 4.6 ms (by arrival), beside what every line is late by (its length on the wire, the samples before it)");
    }

    #[test]
    fn the_boards_clock_is_told_with_delays_pace_and_uncertainty() {
        let known = TimeUncertainty {
            ns: 290_000.0,
            source: TimeSource::OwnClock,
        };
        let late = Lateness {
            mean_ns: 430_000.0,
            most_ns: 16_200_000.0,
        };
        insta::assert_snapshot!(own_clock(late, Some(-48.2), known), @"lines arrive 0.43 ms, at most 16 ms, after the board's clock says; it runs 48 ppm slow; standard uncertainty of the time 0.29 ms (by own clock), beside what every line is late by (its length on the wire, the samples before it)");
        assert!(own_clock(late, Some(3.21), known).contains("it runs 3 ppm fast;"));
        assert!(own_clock(late, Some(-0.0), known).contains("it keeps the host's pace;"));
    }
}
