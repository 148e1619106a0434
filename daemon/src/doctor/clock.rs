//! The host's clock: set, kept over a power cut, in a known zone? Sets nothing.

use super::finding::Finding;
use super::host::{self, Host};
use crate::clock;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use std::fs;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

/// What is known of the clock.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Facts {
    /// The wall clock, milliseconds since 1970.
    pub wall_ms: i64,
    /// Whether the host says that its clock follows a time server; `None` where it does not say.
    pub synchronised: Option<bool>,
    /// The clock chip, where there is one.
    pub chip: Option<Chip>,
    /// The time zone, where it is known.
    pub zone: Option<String>,
}

/// A clock that runs while the host is off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Chip {
    /// Its time, seconds since 1970, where it can be read.
    pub time_s: Option<i64>,
}

const PLACE: &str = "host";

/// A chip kept in local time is off by up to 14 hours; beyond a day its battery is flat.
const CHIP_OFF_BY_S: u64 = 86_400;

/// A synchronisation longer ago says nothing of tonight.
const TOUCHED_WITHIN_MS: u64 = 86_400_000;

/// Looks at the clock.
pub async fn examine(host: &Host) -> Vec<Finding> {
    let wall_ms = clock::now().wall_ms;
    let facts = Facts {
        wall_ms,
        synchronised: synchronised(host, wall_ms).await,
        chip: chip(&host.path("sys/class/rtc")),
        zone: zone(),
    };
    judge(&facts)
}

/// What to think of it.
#[must_use]
pub fn judge(facts: &Facts) -> Vec<Finding> {
    let chip = chip_state(facts);
    vec![
        time(facts.wall_ms),
        synchronisation(facts.synchronised, chip == ChipState::Good),
        chip_finding(chip),
        zone_finding(facts.zone.as_deref()),
    ]
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum ChipState {
    None,
    Flat,
    Good,
}

fn chip_state(facts: &Facts) -> ChipState {
    let Some(chip) = facts.chip else {
        return ChipState::None;
    };
    let off = chip.time_s.map(|time| time.abs_diff(facts.wall_ms / 1000));
    match off {
        // A wrong wall clock says nothing of the chip.
        Some(off) if off > CHIP_OFF_BY_S && clock::is_plausible(facts.wall_ms) => ChipState::Flat,
        _ => ChipState::Good,
    }
}

fn time(wall_ms: i64) -> Finding {
    let shown = Timestamp::from_millisecond(wall_ms)
        .map_or_else(|_| format!("{wall_ms} ms since 1970"), |it| it.to_string());
    if clock::is_plausible(wall_ms) {
        return Finding::ok(PLACE, format!("its clock reads {shown}"));
    }
    Finding::wrong(
        PLACE,
        format!("its clock reads {shown}, which cannot be"),
        "set it, or connect the host to a network with a time server",
    )
}

fn synchronisation(synchronised: Option<bool>, has_chip: bool) -> Finding {
    let remedy = "switch a time service on (`timedatectl set-ntp true`), and see that the host \
                  reaches its server";
    match (synchronised, has_chip) {
        (Some(true), _) => Finding::ok(PLACE, "its clock follows a time server"),
        (Some(false), true) => Finding::advice(
            PLACE,
            "its clock follows no time server: it drifts by some seconds a day",
            remedy,
        ),
        (Some(false), false) => Finding::wrong(
            PLACE,
            "its clock follows no time server, and no clock chip keeps the time over a power cut",
            remedy,
        ),
        (None, _) => Finding::advice(
            PLACE,
            "it does not say whether its clock follows a time server",
            "compare it with another clock",
        ),
    }
}

fn chip_finding(chip: ChipState) -> Finding {
    match chip {
        ChipState::Good => Finding::ok(PLACE, "a clock chip keeps the time over a power cut"),
        ChipState::None => Finding::advice(
            PLACE,
            "it has no clock chip: after a power cut its time is wrong until a time server answers",
            "fit one where the network may be down as well; readings are kept either way",
        ),
        ChipState::Flat => Finding::advice(
            PLACE,
            "its clock chip is more than a day off: its battery may be flat",
            "change the battery, then `sudo hwclock --systohc`",
        ),
    }
}

fn zone_finding(zone: Option<&str>) -> Finding {
    match zone {
        Some(zone) => Finding::ok(PLACE, format!("its time zone is {zone}")),
        None => Finding::advice(
            PLACE,
            "its time zone is not known: local times are shown in UTC",
            "set it (`sudo timedatectl set-timezone Europe/Berlin`)",
        ),
    }
}

async fn synchronised(host: &Host, now_ms: i64) -> Option<bool> {
    let property = "--property=NTPSynchronized";
    // It asks the kernel, whichever program steers the clock.
    let said = match host.is_this_one() {
        true => host::ask("timedatectl", &["show", property, "--value"]).await,
        false => None,
    };
    let touched_ms = touched_ms(&host.path("run/systemd/timesync/synchronized"));
    follows(said.as_deref(), touched_ms, now_ms)
}

/// The file stays when its service is gone, so its time counts, and only where nobody can be asked.
/// Source: systemd-timesyncd.service(8): touched at each synchronisation, which is every 34 minutes
/// at the latest (timesyncd.conf(5), `PollIntervalMaxSec=`; from memory).
fn follows(said: Option<&str>, touched_ms: Option<i64>, now_ms: i64) -> Option<bool> {
    match said {
        Some("yes") => Some(true),
        Some("no") => Some(false),
        _ => {
            let age_ms = now_ms.abs_diff(touched_ms?);
            (age_ms <= TOUCHED_WITHIN_MS).then_some(true)
        }
    }
}

/// When a file was last changed, milliseconds since 1970.
fn touched_ms(file: &Path) -> Option<i64> {
    let known = fs::metadata(file).ok()?;
    Some(known.mtime().saturating_mul(1000))
}

/// Source: Linux, Documentation/ABI/testing/sysfs-class-rtc (`since_epoch`; from memory).
fn chip(folder: &Path) -> Option<Chip> {
    let first = fs::read_dir(folder).ok()?.flatten().next()?;
    let text = fs::read_to_string(first.path().join("since_epoch")).ok();
    Some(Chip {
        time_s: text.and_then(|text| text.trim().parse().ok()),
    })
}

fn zone() -> Option<String> {
    let zone = TimeZone::try_system().ok()?;
    let name = zone.iana_name().unwrap_or("one without a name");
    Some(name.to_owned())
}

#[cfg(test)]
mod tests {
    use super::super::finding::Severity::{self, Advice, Ok, Wrong};
    use super::*;

    /// 2026-11-25T02:14:07Z, in the middle of an invented night.
    const NIGHT_S: i64 = 1_795_572_847;

    fn good() -> Facts {
        Facts {
            wall_ms: NIGHT_S * 1000,
            synchronised: Some(true),
            chip: Some(Chip {
                time_s: Some(NIGHT_S),
            }),
            zone: Some("Europe/Berlin".to_owned()),
        }
    }

    /// Of time, synchronisation, chip, zone.
    fn severities(facts: &Facts) -> Vec<Severity> {
        judge(facts).iter().map(|it| it.severity).collect()
    }

    fn chip(time_s: i64) -> Option<Chip> {
        Some(Chip {
            time_s: Some(time_s),
        })
    }

    #[test]
    fn each_fault_of_a_clock_is_judged_by_what_it_takes_with_it() {
        let table = [
            (good(), [Ok, Ok, Ok, Ok]),
            (
                Facts {
                    wall_ms: 86_400_000,
                    ..good()
                },
                [Wrong, Ok, Ok, Ok],
            ),
            (
                Facts {
                    synchronised: Some(false),
                    ..good()
                },
                [Ok, Advice, Ok, Ok],
            ),
            (
                Facts {
                    synchronised: None,
                    ..good()
                },
                [Ok, Advice, Ok, Ok],
            ),
            (
                Facts {
                    chip: None,
                    ..good()
                },
                [Ok, Ok, Advice, Ok],
            ),
            (
                Facts {
                    chip: None,
                    synchronised: Some(false),
                    ..good()
                },
                [Ok, Wrong, Advice, Ok],
            ),
            // A chip in local time is no flat battery.
            (
                Facts {
                    chip: chip(NIGHT_S + 14 * 3600),
                    ..good()
                },
                [Ok, Ok, Ok, Ok],
            ),
            (
                Facts {
                    chip: chip(0),
                    ..good()
                },
                [Ok, Ok, Advice, Ok],
            ),
            (
                Facts {
                    chip: Some(Chip { time_s: None }),
                    ..good()
                },
                [Ok, Ok, Ok, Ok],
            ),
            (
                Facts {
                    zone: None,
                    ..good()
                },
                [Ok, Ok, Ok, Advice],
            ),
        ];
        for (facts, expected) in table {
            assert_eq!(severities(&facts), expected, "{facts:?}");
        }
    }

    #[test]
    fn a_synchronisation_of_days_ago_is_none() {
        let now_ms = NIGHT_S * 1000;
        let (lately, days_ago) = (Some(now_ms - 2_048_000), Some(now_ms - 3 * 86_400_000));
        let table = [
            (Some("yes"), None, Some(true)),
            (Some("no"), lately, Some(false)),
            (Some("n/a"), lately, Some(true)),
            (None, lately, Some(true)),
            (None, days_ago, None),
            (None, None, None),
        ];
        for (said, touched_ms, expected) in table {
            let found = follows(said, touched_ms, now_ms);
            assert_eq!(found, expected, "{said:?} {touched_ms:?}");
        }
    }

    #[test]
    fn a_host_that_never_was_given_the_time_is_told_so() {
        let told = judge(&Facts {
            wall_ms: 5000,
            ..good()
        })
        .swap_remove(0);
        assert_eq!(
            told.what,
            "its clock reads 1970-01-01T00:00:05Z, which cannot be"
        );
    }
}
