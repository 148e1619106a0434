//! How much a night writes: an estimate from the configuration alone. Pure.

use crate::config::{Config, Source};
use std::time::Duration;

/// What one reading takes in the log, bytes, measured on logs of full days; alarms and the journal
/// are next to nothing beside it.
const BYTES_A_READING: f64 = 60.0;

const DAY_S: f64 = 86_400.0;

/// Where the configuration does not say how often a board sends a line.
const ASSUMED: Duration = Duration::from_secs(1);

/// An estimate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rate {
    /// How many probes there are.
    pub probes: usize,
    /// Bytes a day.
    pub bytes_a_day: f64,
    /// Whether one line a second was assumed of a board.
    pub is_assumed: bool,
}

/// What a configuration's probes write.
#[must_use]
pub fn of(config: &Config) -> Rate {
    let intervals: Vec<(f64, bool)> = config
        .probes
        .iter()
        .map(|probe| match probe.every {
            Some(every) => (every.as_secs_f64(), false),
            None => {
                let board = config.boards.iter().find(|board| board.name == probe.board);
                between_lines(board.map(|board| &board.source))
            }
        })
        .collect();
    let a_day = |(interval, _): &(f64, bool)| DAY_S / interval.max(0.001) * BYTES_A_READING;
    Rate {
        probes: intervals.len(),
        bytes_a_day: intervals.iter().map(a_day).sum(),
        is_assumed: intervals.iter().any(|(_, is_assumed)| *is_assumed),
    }
}

/// Seconds between two lines of a board, and whether that is assumed.
fn between_lines(source: Option<&Source>) -> (f64, bool) {
    match source {
        Some(Source::Simulated { every, speed, .. }) => (every.as_secs_f64() / speed, false),
        // A recording has an end, however fast it is read.
        Some(Source::Replay { every, .. }) => (every.as_secs_f64(), false),
        other => match other.and_then(Source::interval) {
            Some(every) => (every.as_secs_f64(), false),
            None => (ASSUMED.as_secs_f64(), true),
        },
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use std::path::Path;

    fn rate(source: &str, every: &str) -> Rate {
        let text = format!(
            "site = \"cellar\"\n[log]\npath = \"a.sqlite\"\n[board.b]\n{source}\n\
             [board.b.channel.n]\nfront_end = \"none\"\n\
             [probe.p]\nboard = \"b\"\nchannel = \"n\"\ndriver = \"divider\"\ninput = \"number\"\n\
             quantity = \"count\"\nunit = \"1\"\n{every}"
        );
        let (config, problems) = crate::config::parse(&text, Path::new(""));
        of(&config.unwrap_or_else(|| panic!("{problems:?}")))
    }

    /// Source: 86400 s a day times 60 bytes.
    #[test]
    fn a_reading_a_second_is_five_megabytes_a_day() {
        let serial = "source = \"serial\"\nport = \"/dev/ttyACM0\"\nformat = \"pairs\"";
        let table = [
            (serial, "", 5_184_000.0, true),
            (serial, "every = \"10s\"", 518_400.0, false),
            (
                "source = \"replay\"\nfile = \"n.txt\"\nformat = \"pairs\"\nevery = \"2s\"\n\
                 speed = \"unlimited\"",
                "",
                2_592_000.0,
                false,
            ),
        ];
        for (source, every, bytes_a_day, is_assumed) in table {
            let expected = Rate {
                probes: 1,
                bytes_a_day,
                is_assumed,
            };
            assert_eq!(rate(source, every), expected, "{source} {every}");
        }
    }
}
