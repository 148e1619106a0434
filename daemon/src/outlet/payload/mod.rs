//! What a message holds: readings and alarm moves as bytes, in the form that the configuration
//! names. Pure: no clock, no topic, no broker.

pub mod json;
pub mod plain;
pub mod senml;
#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod senml_resolved;
mod senml_unit;

use crate::alarm::{Move, State};
use crate::config::Payload;
use crate::reading::Reading;
use jiff::Timestamp;

/// Why something cannot be said in a form; it never will be, so it is refused and passed over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Unsayable {
    /// SenML takes a small time for one relative to now (RFC 8428, 4.5.3).
    #[error(
        "taken before this host's clock was set, which SenML would read as a time in the future; it stays in the log"
    )]
    ClockUnknown,
    /// One number alone cannot hold a line of several probes.
    #[error(
        "payload `plain` holds one number, not a line; choose `message_per = \"reading\"` or another payload"
    )]
    LineInPlain,
    /// Nothing to say.
    #[error("a line without readings")]
    EmptyLine,
}

/// One reading of one probe.
///
/// # Errors
/// [`Unsayable`] where the form has no way to say it.
pub fn reading(form: Payload, site: &str, reading: &Reading) -> Result<Vec<u8>, Unsayable> {
    match form {
        Payload::Json => Ok(json::reading(reading)),
        Payload::Senml => senml::reading(site, reading),
        Payload::Plain => Ok(plain::reading(reading)),
    }
}

/// All readings of one line of a board.
///
/// # Errors
/// [`Unsayable`] where the form has no way to say it.
pub fn line(form: Payload, site: &str, readings: &[Reading]) -> Result<Vec<u8>, Unsayable> {
    match form {
        Payload::Json => json::line(readings),
        Payload::Senml => senml::line(site, readings),
        Payload::Plain => Err(Unsayable::LineInPlain),
    }
}

/// One alarm's state after a move. Every form can say it: an alarm is never held back.
#[must_use]
pub fn alarm(form: Payload, site: &str, alarm: &Move) -> Vec<u8> {
    match form {
        Payload::Json => json::alarm(alarm),
        Payload::Senml => senml::alarm(site, alarm),
        Payload::Plain => plain::alarm(alarm),
    }
}

/// RFC 3339 with milliseconds and `Z`: `2026-11-25T02:14:07.123Z`. Times beyond what RFC 3339 can
/// say are held at its ends, not dropped.
#[must_use]
pub fn rfc3339(wall_ms: i64) -> String {
    let end = if wall_ms < 0 {
        Timestamp::MIN
    } else {
        Timestamp::MAX
    };
    let time = Timestamp::from_millisecond(wall_ms).unwrap_or(end);
    format!("{time:.3}")
}

/// An alarm's state as messages name it.
fn state(state: State) -> &'static str {
    match state {
        State::Normal => "normal",
        State::Active => "active",
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
pub(crate) mod tests {
    use super::*;
    use crate::reading::{Estimate, Outcome, Quality, Series, Stamp};
    use std::sync::Arc;

    /// 2026-11-25T01:50:47.123Z, by GNU date: `date -u -d @1795571447`.
    pub(crate) const NIGHT_MS: i64 = 1_795_571_447_123;

    /// A good reading; the scene is invented.
    pub(crate) fn mash(value: f64) -> Reading {
        Reading {
            seq: 123,
            series: Arc::new(Series {
                id: 1,
                probe: "mash".into(),
                board: "bench".into(),
                channel: "a0".into(),
                driver: "thermistor".into(),
                quantity: "temperature".into(),
                unit: "Cel".into(),
                electrical_unit: "Ohm".into(),
                calibration: 0,
            }),
            at: Stamp {
                wall_ms: NIGHT_MS,
                boot_ns: 5_000_000_000,
                boot: 1,
            },
            raw: Some(512.0),
            electrical: Some(3592.1),
            outcome: Outcome::Value(Estimate::new(value, 0.05).unwrap()),
            spread: None,
            samples: 1,
        }
    }

    /// The same probe with its lead broken.
    pub(crate) fn broken() -> Reading {
        Reading {
            raw: Some(1023.0),
            electrical: None,
            outcome: Outcome::Fault(Quality::OpenCircuit),
            ..mash(0.0)
        }
    }

    /// The same probe by its third calibration, outside of what that covers.
    pub(crate) fn beyond(value: f64) -> Reading {
        let reading = mash(value);
        let series = Series {
            calibration: 3,
            ..(*reading.series).clone()
        };
        Reading {
            series: Arc::new(series),
            outcome: Outcome::Extrapolated(Estimate::new(value, 0.05).unwrap()),
            ..reading
        }
    }

    /// The mash too hot; the scene is invented.
    pub(crate) fn too_hot() -> Move {
        Move {
            seq: 7,
            reading_seq: 123,
            probe: "mash".into(),
            board: "bench".into(),
            alarm: "high".into(),
            from: State::Normal,
            to: State::Active,
            at: Stamp {
                wall_ms: NIGHT_MS,
                boot_ns: 5_000_000_000,
                boot: 1,
            },
            value: Some(68.4),
            limit: Some(68.0),
            unit: "Cel".into(),
            quality: Quality::Good,
            action: "turn the burner off and stir".into(),
        }
    }

    #[test]
    fn times_have_milliseconds_and_z() {
        assert_eq!(rfc3339(NIGHT_MS), "2026-11-25T01:50:47.123Z");
        assert_eq!(rfc3339(0), "1970-01-01T00:00:00.000Z");
        assert_eq!(rfc3339(-1), "1969-12-31T23:59:59.999Z");
    }

    #[test]
    fn times_that_cannot_be_said_are_held_at_the_end() {
        assert!(rfc3339(i64::MAX).starts_with("9999-12-30T"));
        assert!(rfc3339(i64::MIN).starts_with("-009999-01-02T"));
    }

    #[test]
    fn a_line_has_no_plain_form() {
        assert_eq!(
            line(Payload::Plain, "cellar", &[mash(1.0)]),
            Err(Unsayable::LineInPlain)
        );
    }
}
