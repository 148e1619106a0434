//! The status as text for a terminal of 80 columns: a paragraph for each board, probe and outlet.

use crate::cli::when;
use crate::control::{BoardStatus, OutletStatus, ProbeStatus, Said, Status, WatchedReading, shown};
use crate::reading::Quality;
use crate::words::counted;
use jiff::tz::TimeZone;
use std::fmt::Write;

/// Columns of a terminal.
const WIDTH: usize = 80;
/// What a paragraph's further lines are indented by.
const INDENT: usize = 4;

/// The whole status.
#[must_use]
pub fn text(status: &Status, zone: &TimeZone) -> String {
    let show = Show {
        now_ms: status.now_ms,
        zone,
    };
    let mut paragraphs = vec![format!(
        "nightbench {}, process {}, site `{}`, since {}",
        status.version,
        status.process,
        status.site,
        show.time(status.since_ms)
    )];
    paragraphs.push(format!("log `{}`", status.log));
    paragraphs.extend(status.boards.iter().map(|board| show.board(board)));
    paragraphs.extend(status.probes.iter().map(|probe| show.probe(probe)));
    paragraphs.extend(status.outlets.iter().map(|outlet| show.outlet(outlet)));
    paragraphs.iter().map(|it| wrapped(it)).collect()
}

struct Show<'a> {
    now_ms: i64,
    zone: &'a TimeZone,
}

impl Show<'_> {
    fn board(&self, board: &BoardStatus) -> String {
        let heard = match board.heard_ms {
            Some(ms) => format!("last samples {}", self.ago(ms)),
            None => "no samples since the start".to_owned(),
        };
        let name = &board.name;
        let said = board.said.as_ref().map_or(String::new(), |said| {
            let own = format!("board `{name}`: ");
            let text = said.text.strip_prefix(&own).unwrap_or(&said.text);
            format!("; {} ago: {text}", self.span(said.time_ms))
        });
        format!("board `{name}`: {heard}{said}")
    }

    fn probe(&self, probe: &ProbeStatus) -> String {
        let facts = &probe.facts;
        let reading = match &probe.reading {
            None => "no reading since the start".to_owned(),
            Some(reading) => {
                let age = span(i64::try_from(probe.age_ms.unwrap_or(0)).unwrap_or(i64::MAX));
                format!("{}, {age} ago", value(reading))
            }
        };
        let calibration = match facts.calibration {
            None => "not calibrated".to_owned(),
            Some(rank) => format!("calibration {rank}{}", self.due(facts.due_ms)),
        };
        format!(
            "probe `{}` (`{}` of `{}`): {reading}; {calibration}",
            facts.probe, facts.channel, facts.board
        )
    }

    fn due(&self, due_ms: Option<i64>) -> String {
        match due_ms {
            None => String::new(),
            Some(due) if due <= self.now_ms => format!(", was due on {}", self.day(due)),
            Some(due) => format!(", due on {}", self.day(due)),
        }
    }

    fn outlet(&self, outlet: &OutletStatus) -> String {
        let stands = match outlet.connected_ms {
            Some(ms) => format!("connected since {}", self.time(ms)),
            None => "not connected".to_owned(),
        };
        let waiting = match outlet.waiting {
            None => String::new(),
            Some(0) => ", nothing waits".to_owned(),
            Some(1) => ", 1 reading waits".to_owned(),
            Some(waiting) => format!(", {} wait", counted(waiting, "reading")),
        };
        let delivered = outlet.delivered_ms.map_or(String::new(), |ms| {
            format!(", last acknowledged {}", self.ago(ms))
        });
        let trouble = outlet.trouble.as_ref().map_or(String::new(), |trouble| {
            let Said { time_ms, text } = trouble;
            format!("; last trouble {}: {text}", self.ago(*time_ms))
        });
        format!(
            "outlet `{}`: {stands}{waiting}{delivered}{trouble}",
            outlet.name
        )
    }

    fn ago(&self, ms: i64) -> String {
        format!("{} ago", self.span(ms))
    }

    fn span(&self, ms: i64) -> String {
        span(self.now_ms.saturating_sub(ms))
    }

    fn time(&self, ms: i64) -> String {
        // Without milliseconds: `2026-11-25 02:14:07+01:00`.
        let full = when::rfc3339(ms, self.zone).replacen('T', " ", 1);
        match (full.get(..19), full.get(23..)) {
            (Some(second), Some(offset)) => format!("{second}{offset}"),
            _ => full,
        }
    }

    fn day(&self, ms: i64) -> String {
        let full = when::rfc3339(ms, self.zone);
        full.get(..10).unwrap_or(&full).to_owned()
    }
}

/// `66.51 ± 0.24 Cel (k = 2)`, or why there is no number.
fn value(reading: &WatchedReading) -> String {
    let quality = Quality::ALL
        .into_iter()
        .find(|q| q.tag() == reading.quality);
    let words = quality.map_or(reading.quality.as_str(), |quality| quality.words());
    match (reading.value, reading.uncertainty) {
        (Some(value), Some(standard)) => {
            let number = shown(value, standard, &reading.unit);
            let extra = match quality {
                Some(Quality::Good) => String::new(),
                _ => format!(", {words}"),
            };
            format!("{number} (k = 2){extra}")
        }
        _ => words.to_owned(),
    }
}

/// A time span as people say it: its largest unit, and the next one.
fn span(ms: i64) -> String {
    let seconds = ms.max(0) / 1000;
    match seconds {
        0..10 => format!("{:.1} s", ms.max(0) as f64 / 1000.0),
        10..60 => format!("{seconds} s"),
        60..3600 => format!("{} min {} s", seconds / 60, seconds % 60),
        3600..86_400 => format!("{} h {} min", seconds / 3600, seconds / 60 % 60),
        _ => format!("{} d {} h", seconds / 86_400, seconds / 3600 % 24),
    }
}

/// A paragraph with its end of line, broken between words; a word that is longer stays whole, so that
/// it can be copied.
fn wrapped(text: &str) -> String {
    let mut out = String::new();
    let mut column = 0;
    for word in text.split(' ') {
        let length = word.chars().count();
        if column > 0 && column + 1 + length > WIDTH {
            // Writing to a text does not fail.
            let _ = write!(out, "\n{:INDENT$}", "");
            column = INDENT;
        } else if column > 0 {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += length;
    }
    out.push('\n');
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control::testing::facts;

    const NOW_MS: i64 = 1_795_572_847_123;

    fn said(ago_ms: i64, text: &str) -> Said {
        Said {
            time_ms: NOW_MS - ago_ms,
            text: text.to_owned(),
        }
    }

    fn reading() -> WatchedReading {
        WatchedReading {
            seq: 7,
            time_ms: NOW_MS - 400,
            boot_ns: 5,
            boot: 1,
            raw: Some(512.0),
            electrical: Some(10_000.0),
            value: Some(66.512_4),
            uncertainty: Some(0.12),
            quality: "good".to_owned(),
            spread: None,
            samples: 1,
            unit: "Cel".to_owned(),
            electrical_unit: "Ohm".to_owned(),
            calibration: 2,
        }
    }

    fn probe(reading: Option<WatchedReading>, due_ms: Option<i64>) -> ProbeStatus {
        let mut facts = facts();
        facts.calibration = due_ms.map(|_| 2);
        facts.due_ms = due_ms;
        ProbeStatus {
            facts,
            age_ms: reading.as_ref().map(|_| 400),
            reading,
        }
    }

    fn night() -> Status {
        let outlet = OutletStatus {
            name: "kitchen".to_owned(),
            connected_ms: None,
            delivered_ms: None,
            acknowledged: None,
            waiting: None,
            trouble: None,
        };
        let open = WatchedReading {
            value: None,
            quality: "open_circuit".to_owned(),
            ..reading()
        };
        Status {
            version: "0.1.0".to_owned(),
            process: 1234,
            site: "cellar".to_owned(),
            log: "night.sqlite".to_owned(),
            since_ms: NOW_MS - 7_200_000,
            now_ms: NOW_MS,
            boards: vec![
                BoardStatus {
                    name: "bench".to_owned(),
                    heard_ms: Some(NOW_MS - 400),
                    said: Some(said(95_000, "board `bench`: opened (ttyUSB0)")),
                },
                BoardStatus {
                    name: "yard".to_owned(),
                    heard_ms: None,
                    said: None,
                },
            ],
            probes: vec![
                probe(Some(reading()), Some(NOW_MS + 86_400_000)),
                probe(Some(open), Some(NOW_MS - 86_400_000)),
                probe(None, None),
            ],
            outlets: vec![
                OutletStatus {
                    connected_ms: Some(NOW_MS - 3_600_000),
                    delivered_ms: Some(NOW_MS - 1000),
                    waiting: Some(0),
                    ..outlet.clone()
                },
                OutletStatus {
                    waiting: Some(86_400),
                    trouble: Some(said(90_000_000, "connection refused by 127.0.0.1:1883")),
                    ..outlet
                },
            ],
        }
    }

    #[test]
    fn a_night_is_told_within_80_columns() {
        let text = text(&night(), &TimeZone::UTC);
        assert!(text.lines().all(|line| line.chars().count() <= WIDTH));
        insta::assert_snapshot!(text, @"
        nightbench 0.1.0, process 1234, site `cellar`, since 2026-11-25 00:14:07+00:00
        log `night.sqlite`
        board `bench`: last samples 0.4 s ago; 1 min 35 s ago: opened (ttyUSB0)
        board `yard`: no samples since the start
        probe `mash` (`a0` of `bench`): 66.51 ± 0.24 Cel (k = 2), 0.4 s ago; calibration
            2, due on 2026-11-26
        probe `mash` (`a0` of `bench`): open circuit, 0.4 s ago; calibration 2, was due
            on 2026-11-24
        probe `mash` (`a0` of `bench`): no reading since the start; not calibrated
        outlet `kitchen`: connected since 2026-11-25 01:14:07+00:00, nothing waits, last
            acknowledged 1.0 s ago
        outlet `kitchen`: not connected, 86400 readings wait; last trouble 1 d 1 h ago:
            connection refused by 127.0.0.1:1883
        ");
    }

    #[test]
    fn spans_are_told_in_two_units() {
        let told = [400, 12_000, 95_000, 7_500_000, 90_000_000, -5].map(span);
        insta::assert_snapshot!(told.join(", "), @"0.4 s, 12 s, 1 min 35 s, 2 h 5 min, 1 d 1 h, 0.0 s");
    }
}
