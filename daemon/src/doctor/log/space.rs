//! Room on the log's medium: bytes for how many days, and names for files.

use super::rate::Rate;
use crate::doctor::finding::Finding;
use rustix::fs::statvfs;
use std::path::Path;

/// What is free for this user.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Space {
    bytes: u64,
    inodes: u64,
    /// 0 where the file system makes them as it needs them.
    all_inodes: u64,
}

/// Less than this does not last for the night and what else the host writes meanwhile.
const LEAST_DAYS: f64 = 2.0;
const COMFORTABLE_DAYS: f64 = 30.0;

/// The write-ahead log, and what else the host writes in a night, bytes.
const RESERVE: u64 = 32 << 20;

/// The log needs four names; temporary files of others come and go.
const LEAST_INODES: u64 = 20;
const COMFORTABLE_INODES: u64 = 1000;

/// What there is, against what is needed.
pub fn examine(place: &str, folder: &Path, rate: Rate) -> Vec<Finding> {
    match statvfs(folder) {
        Ok(it) => {
            let space = Space {
                bytes: it.f_bavail.saturating_mul(it.f_frsize),
                inodes: it.f_favail,
                all_inodes: it.f_files,
            };
            judge(place, space, rate)
        }
        Err(error) => vec![Finding::advice(
            place,
            format!("how much space is free cannot be told ({error})"),
            "look with `df -h`",
        )],
    }
}

fn judge(place: &str, space: Space, rate: Rate) -> Vec<Finding> {
    let mut findings = vec![bytes(place, space.bytes, rate)];
    findings.extend(inodes(place, space));
    findings
}

fn bytes(place: &str, free: u64, rate: Rate) -> Finding {
    let days = free.saturating_sub(RESERVE) as f64 / rate.bytes_a_day.max(1.0);
    let what = format!(
        "{} are free, and the readings of {} take about {} a day{}: that lasts for {}",
        size(free as f64),
        counted(rate.probes, "probe"),
        size(rate.bytes_a_day),
        if rate.is_assumed {
            ", at one line a second"
        } else {
            ""
        },
        shown_days(days),
    );
    if days < LEAST_DAYS {
        let remedy = "free space, or log less often: `every = \"10s\"` in `[probe.NAME]`";
        Finding::wrong(place, what, remedy)
    } else if days < COMFORTABLE_DAYS {
        Finding::advice(
            place,
            what,
            "free space in time: nothing is thinned or deleted",
        )
    } else {
        Finding::ok(place, what)
    }
}

fn inodes(place: &str, space: Space) -> Option<Finding> {
    let what = format!("there is room for {} more files only", space.inodes);
    let remedy = "delete files there, however small (`df -i` counts them)";
    match space.inodes {
        _ if space.all_inodes == 0 => None,
        free if free < LEAST_INODES => Some(Finding::wrong(place, what, remedy)),
        free if free < COMFORTABLE_INODES => Some(Finding::advice(place, what, remedy)),
        _ => None,
    }
}

fn counted(count: usize, word: &str) -> String {
    match count {
        1 => format!("1 {word}"),
        count => format!("{count} {word}s"),
    }
}

/// Three digits, in powers of 1000.
fn size(bytes: f64) -> String {
    let (mut value, mut unit) = (bytes, "bytes");
    for next in ["kB", "MB", "GB", "TB"] {
        if value < 1000.0 {
            break;
        }
        (value, unit) = (value / 1000.0, next);
    }
    let decimals = if value < 10.0 && unit != "bytes" {
        1
    } else {
        0
    };
    format!("{value:.decimals$} {unit}")
}

fn shown_days(days: f64) -> String {
    match days {
        days if days < LEAST_DAYS => format!("{:.0} hours", days * 24.0),
        days if days < 1000.0 => format!("{days:.0} days"),
        _ => "years".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::doctor::finding::Severity::{self, Advice, Ok, Wrong};

    const MB: u64 = 1_000_000;

    fn rate(probes: usize) -> Rate {
        Rate {
            probes,
            bytes_a_day: 5_184_000.0 * probes as f64,
            is_assumed: true,
        }
    }

    #[test]
    fn room_is_judged_by_the_days_that_it_lasts() {
        let table: &[(u64, u64, u64, &[Severity])] = &[
            (0, 5000, 9000, &[Wrong]),
            (40 * MB, 5000, 9000, &[Wrong]),
            (100 * MB, 5000, 9000, &[Advice]),
            (10_000 * MB, 5000, 9000, &[Ok]),
            (10_000 * MB, 500, 9000, &[Ok, Advice]),
            (10_000 * MB, 3, 9000, &[Ok, Wrong]),
            // A file system that counts none.
            (10_000 * MB, 0, 0, &[Ok]),
        ];
        for &(bytes, inodes, all_inodes, expected) in table {
            let space = Space {
                bytes,
                inodes,
                all_inodes,
            };
            let found = judge("log", space, rate(1));
            let found: Vec<Severity> = found.iter().map(|it| it.severity).collect();
            assert_eq!(found, expected, "{space:?}");
        }
    }

    #[test]
    fn the_estimate_is_told_with_what_it_rests_on() {
        insta::assert_snapshot!(bytes("log", 100 * MB, rate(2)).what, @"100 MB are free, and the readings of 2 probes take about 10 MB a day, at one line a second: that lasts for 6 days");
        insta::assert_snapshot!(bytes("log", 40 * MB, rate(1)).what, @"40 MB are free, and the readings of 1 probe take about 5.2 MB a day, at one line a second: that lasts for 30 hours");
    }

    #[test]
    fn a_configuration_that_writes_nothing_lasts_for_ever() {
        let nothing = Rate {
            probes: 0,
            bytes_a_day: 0.0,
            is_assumed: false,
        };
        assert_eq!(bytes("log", 100 * MB, nothing).severity, Ok);
    }
}
