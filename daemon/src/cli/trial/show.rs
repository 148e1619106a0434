//! What `try` shows: a line of readings each second, alarm moves as they come, and what to do next.

use crate::cli::when;
use crate::log::LogReader;
use crate::log::query::Counts;
use crate::reading::{Outcome, Reading};
use crate::words::counted;
use jiff::Timestamp;
use std::collections::BTreeMap;
use std::io::Write;
use std::path::Path;
use std::time::Duration;
use tokio::time::{Instant, sleep_until};

/// How often the readings are shown.
const EVERY: Duration = Duration::from_secs(1);

/// A line on stdout. Where nobody reads any more (`| head`) the night goes on unseen.
fn say(line: std::fmt::Arguments<'_>) {
    let _ = writeln!(std::io::stdout().lock(), "{line}");
}

/// What is said before the night begins.
pub fn opening(folder: &Path, seconds: u64, speed: f64) {
    say(format_args!(
        "An invented night in a brewery corner: a vat, a skylight, a rinse tank.\n\
         The board is simulated; the serial port, log, alarms and outlet are real.\n\
         ± is the standard uncertainty; most of it is what probes and resistors of their\n\
         kind may be off by, which a calibration would bring down.\n\
         {seconds} s, {speed} times faster than life; Ctrl-C ends it. Writing to {}\n",
        folder.display()
    ));
}

/// The program as it was called: not every one is on the path.
fn program() -> String {
    let called = std::env::args().next();
    called.unwrap_or_else(|| "nightbench".to_owned())
}

/// What is said after it.
pub fn closing(folder: &Path, counts: &Counts) {
    let Counts {
        readings,
        faults,
        moves,
    } = counts;
    let folder = folder.display();
    let program = program();
    say(format_args!(
        "\nRecorded {} ({faults} without a value) and {}:\n  \
         {folder}/night.sqlite  every reading and every event\n  \
         {folder}/night.lp      the same readings as line protocol\n  \
         {folder}/night.toml    the configuration of this night\n\n\
         Type next:\n  \
         {program} readings vat --config {folder}/night.toml --every 5s\n  \
         {program} check {folder}/night.toml\n\n\
         For a night of your own plug a board in, then:\n  \
         {program} ports\n  \
         {program} listen PORT > bench.toml\n  \
         {program} check bench.toml && {program} serve --config bench.toml\n\n\
         This is not a safety device.",
        counted(*readings, "reading"),
        counted(*moves, "alarm move")
    ));
}

/// Shows what goes into the log until the log ends.
pub async fn follow(mut reader: LogReader) {
    let start = reader.newest();
    let mut seen = Seen {
        reading: start.reading,
        moves: start.moves,
        latest: BTreeMap::new(),
    };
    let mut next = Instant::now() + EVERY;
    loop {
        tokio::select! {
            more = reader.changed() => {
                seen.take(&mut reader).await;
                if !more {
                    return;
                }
            }
            () = sleep_until(next) => {
                seen.show();
                next += EVERY;
            }
        }
    }
}

struct Seen {
    reading: u64,
    moves: u64,
    latest: BTreeMap<String, Reading>,
}

impl Seen {
    async fn take(&mut self, reader: &mut LogReader) {
        let readings = reader.after(self.reading, u64::MAX, usize::MAX).await;
        for reading in readings.unwrap_or_default() {
            self.reading = reading.seq;
            self.latest.insert(reading.series.probe.clone(), reading);
        }
        if reader.newest().moves == self.moves {
            return;
        }
        let moves = reader.moves_after(self.moves, usize::MAX).await;
        for moved in moves.unwrap_or_default() {
            self.moves = moved.seq;
            say(format_args!(
                "{}  ALARM  {}",
                clock(moved.at.wall_ms),
                moved.text()
            ));
        }
    }

    fn show(&self) {
        let Some(newest) = self.latest.values().map(|r| r.at.wall_ms).max() else {
            return;
        };
        let columns: Vec<String> = self.latest.values().map(column).collect();
        say(format_args!("{}  {}", clock(newest), columns.join("   ")));
    }
}

/// `vat 21.64 ± 0.03 Cel`, with as many digits as the uncertainty bears.
fn column(reading: &Reading) -> String {
    let probe = &reading.series.probe;
    match reading.outcome {
        Outcome::Value(estimate) | Outcome::Extrapolated(estimate) => {
            let digits = decimals(estimate.uncertainty());
            let value = format!("{:.digits$}", estimate.value());
            let uncertainty = format!("{:.digits$}", estimate.uncertainty());
            format!("{probe} {value:>7} ± {uncertainty} {}", reading.series.unit)
        }
        Outcome::Fault(quality) => format!("{probe} {quality}"),
    }
}

/// Decimals that show two digits of the uncertainty (JCGM 100:2008, 7.2.6).
fn decimals(uncertainty: f64) -> usize {
    if uncertainty <= 0.0 {
        return 3;
    }
    let exponent = uncertainty.log10().floor();
    (1.0 - exponent).clamp(0.0, 6.0) as usize
}

fn clock(ms: i64) -> String {
    let moment = Timestamp::from_millisecond(ms).unwrap_or_default();
    let local = moment.to_zoned_datetime(when::zone());
    local.strftime("%H:%M:%S").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn as_many_decimals_as_the_uncertainty_bears() {
        let cases = [
            (0.031, 3),
            (0.25, 2),
            (4.0, 1),
            (37.0, 0),
            (0.0, 3),
            (1e-12, 6),
        ];
        for (uncertainty, expected) in cases {
            assert_eq!(decimals(uncertainty), expected, "{uncertainty}");
        }
    }
}
