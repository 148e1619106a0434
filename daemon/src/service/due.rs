//! Which calibration each probe is under, and when it should be made again.

use super::ServiceError;
use super::build::FallenBack;
use crate::calibrate::history::{self, History};
use crate::clock;
use crate::config::{Config, Probe};
use crate::control::ProbeFacts;
use crate::log::{Batch, Entry, Kind, Log, LogReader, Loudness};
use crate::reading::Moment;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use std::collections::BTreeMap;

/// Least time between two entries on the same calibration, nanoseconds: a day.
const AGAIN_NS: u64 = 86_400_000_000_000;

/// The calibration that a probe is under.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Active {
    /// Its rank among the probe's, from 1.
    pub rank: u32,
    /// When it should be made again, milliseconds since 1970.
    pub due_ms: Option<i64>,
}

/// Which calibrations are in use, and what was told of them.
#[derive(Debug, Default)]
pub struct Calibrations {
    active: BTreeMap<String, Active>,
    /// Boot time of the last entry on each.
    told: BTreeMap<(String, u32), u64>,
}

impl Calibrations {
    /// Reads anew which are in use, but for probes that fell back to their configured parameters; what
    /// was told stays told.
    ///
    /// # Errors
    /// What the log says.
    pub async fn read(
        &mut self,
        config: &Config,
        log: &Log,
        fallen_back: &FallenBack,
    ) -> Result<(), ServiceError> {
        let mut active = BTreeMap::new();
        let mut reader = log.reader();
        let serves = |probe: &&Probe| !fallen_back.contains_key(&probe.name);
        for probe in config.probes.iter().filter(serves) {
            if let Some(found) = self::active(&mut reader, probe).await? {
                active.insert(probe.name.clone(), found);
            }
        }
        self.active = active;
        Ok(())
    }

    /// A probe's facts with the calibration it is under.
    #[must_use]
    pub fn complete(&self, mut facts: ProbeFacts) -> ProbeFacts {
        if let Some(active) = self.active.get(&facts.probe) {
            facts.calibration = Some(active.rank);
            facts.due_ms = active.due_ms;
        }
        facts
    }

    /// An entry for each calibration whose date has passed, at most one a day.
    pub fn due(&mut self, now: Moment) -> Batch {
        let mut batch = Batch::default();
        if !clock::is_plausible(now.wall_ms) {
            return batch;
        }
        for (probe, active) in &self.active {
            let Some(due_ms) = active.due_ms.filter(|due| *due <= now.wall_ms) else {
                continue;
            };
            let told = self.told.get(&(probe.clone(), active.rank));
            if told.is_some_and(|told| now.boot_ns.saturating_sub(*told) < AGAIN_NS) {
                continue;
            }
            self.told.insert((probe.clone(), active.rank), now.boot_ns);
            let text = format!(
                "calibration {} of probe `{probe}` was due on {}; ice check it, or calibrate again",
                active.rank,
                date(due_ms)
            );
            let entry = Entry::new(now, Kind::Calibration, probe.as_str(), text);
            batch.entries.push(entry.loud(Loudness::Warning));
        }
        batch
    }
}

/// The calibration that was put in use for a probe; `None` for the configured parameters.
async fn active(reader: &mut LogReader, probe: &Probe) -> Result<Option<Active>, ServiceError> {
    let steps = reader.steps(&probe.name).await;
    let steps = steps.map_err(|error| ServiceError::Log {
        path: reader.path().display().to_string(),
        error,
    })?;
    let history = History::of(&steps);
    let in_use = history::active(&history, probe).ok().flatten();
    Ok(in_use.map(|(rank, made)| Active {
        rank,
        due_ms: made.due_ms,
    }))
}

/// The day in UTC, as the journal's other times.
fn date(ms: i64) -> String {
    let time = Timestamp::from_millisecond(ms).unwrap_or(Timestamp::MAX);
    time.to_zoned_datetime(TimeZone::UTC).date().to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The end of 2026-11-20, UTC.
    const DUE_MS: i64 = 1_795_219_199_000;

    fn told(calibrations: &mut Calibrations, day: u64) -> Vec<String> {
        let now = Moment {
            wall_ms: DUE_MS + i64::try_from(day).unwrap_or(0) * 86_400_000 - 1000,
            boot_ns: 1 + day * AGAIN_NS,
        };
        let entries = calibrations.due(now).entries;
        entries.into_iter().map(|entry| entry.text).collect()
    }

    #[test]
    fn a_calibration_past_its_date_is_told_of_once_a_day() {
        let active = Active {
            rank: 2,
            due_ms: Some(DUE_MS),
        };
        let mut calibrations = Calibrations {
            active: BTreeMap::from([("mash".to_owned(), active)]),
            told: BTreeMap::new(),
        };
        assert!(told(&mut calibrations, 0).is_empty(), "not due yet");
        let first = told(&mut calibrations, 1);
        insta::assert_snapshot!(first.join("\n"), @"calibration 2 of probe `mash` was due on 2026-11-20; ice check it, or calibrate again");
        assert!(told(&mut calibrations, 1).is_empty(), "told already");
        assert_eq!(told(&mut calibrations, 2).len(), 1);
        let next = Active {
            rank: 3,
            due_ms: None,
        };
        calibrations.active.insert("mash".to_owned(), next);
        assert!(told(&mut calibrations, 3).is_empty(), "never due");
    }
}
