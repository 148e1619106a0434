//! One probe in the flow: measured, stamped, judged by its alarms.

use crate::alarm::{Condition, Machine, Move, Rule, State};
use crate::calibrate::Stated;
use crate::log::{Batch, Entry, Kind, Loudness};
use crate::measure::chain::{Chain, Measured};
use crate::measure::corrections::Corrections;
use crate::measure::decode::Slot;
use crate::measure::front_end::{Electrical, FrontEnd};
use crate::measure::supply::Feed;
use crate::measure::timeline::Timeline;
use crate::reading::{Estimate, Moment, Outcome, Quality, Reading, Series, Stamp};
use crate::words::counted;
use std::sync::Arc;
use std::time::Duration;

/// A quality that flickers is journalled at most this often, nanoseconds.
const QUALITY_NOTE_GAP_NS: u64 = 10_000_000_000;

/// What a probe starts with.
#[derive(Debug)]
pub struct Setup {
    /// Its series in the log.
    pub series: Arc<Series>,
    /// How it gets from count to value.
    pub measuring: Measuring,
    /// Its alarms, each with the state in which it was left.
    pub alarms: Vec<(Rule, State)>,
    /// The log's number of this boot.
    pub boot: u32,
    /// Wall time of its last reading in the log.
    pub last_ms: Option<i64>,
    /// When the flow starts.
    pub now: Moment,
    /// When its calibration should be made again, milliseconds since 1970; `None` where it is under
    /// none, or never.
    pub due_ms: Option<i64>,
}

/// How a probe gets from count to value.
#[derive(Clone, Debug, PartialEq)]
pub struct Measuring {
    /// How it is wired.
    pub front_end: FrontEnd,
    /// What is added to the board's counts before.
    pub corrections: Corrections,
    /// The channel that measures the supply of its divider, where one does.
    pub supply: Option<String>,
    /// What its driver is given.
    pub input: Electrical,
    /// From the electrical quantity to a value with its uncertainty.
    pub transfer: Stated,
    /// Median of so many samples, 1 for none.
    pub median: usize,
    /// The mean over this interval is logged; every sample, where there is none.
    pub every: Option<Duration>,
}

impl Measuring {
    fn chain(&self) -> Chain<Stated> {
        let transfer = self.transfer.clone();
        Chain::new(
            self.front_end,
            self.input,
            self.median,
            self.every,
            transfer,
        )
        .corrected_by(self.corrections.clone())
    }
}

/// One probe.
#[derive(Debug)]
pub struct Probe {
    series: Arc<Series>,
    measuring: Measuring,
    chain: Chain<Stated>,
    alarms: Vec<Machine>,
    due_ms: Option<i64>,
    boot: u32,
    timeline: Timeline,
    /// When its last sample came.
    sampled: Option<Moment>,
    /// Boot time of its last sample, or of the last fault that was logged for want of one.
    heard_ns: u64,
    /// Since when it has had the quality of the last reading.
    quality: Option<(Quality, u64)>,
    /// What the journal was told last, and when.
    told: Option<(Quality, u64)>,
    /// Changes that were not journalled since.
    untold: u64,
}

impl Probe {
    /// A probe that has not been read yet.
    #[must_use]
    pub fn new(setup: Setup) -> Self {
        let machine = |(rule, state)| Machine::new(rule, state);
        Self {
            series: setup.series,
            chain: setup.measuring.chain(),
            measuring: setup.measuring,
            alarms: setup.alarms.into_iter().map(machine).collect(),
            due_ms: setup.due_ms,
            boot: setup.boot,
            timeline: Timeline::starting_after(setup.last_ms),
            sampled: None,
            heard_ns: setup.now.boot_ns,
            quality: None,
            told: None,
            untold: 0,
        }
    }

    /// The probe's label.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.series.probe
    }

    /// The channel that measures the supply of its divider, where one does.
    #[must_use]
    pub fn supply(&self) -> Option<&str> {
        self.measuring.supply.as_deref()
    }

    /// Takes what a line says of it, and of its supply where that is measured.
    pub fn take(&mut self, at: Moment, slot: Slot, feed: Option<Feed>, batch: &mut Batch) {
        if slot == Slot::Absent || feed == Some(Feed::NotYet) {
            return;
        }
        // A mean ends with the sample before the one that opens the next interval.
        let before = self.sampled.replace(at);
        self.heard_ns = at.boot_ns;
        let stamped = if self.measuring.every.is_some() {
            before.unwrap_or(at)
        } else {
            at
        };
        let measured = match feed {
            Some(feed) => self.chain.push_fed(at.boot_ns, slot, feed),
            None => self.chain.push(at.boot_ns, slot),
        };
        if let Some(measured) = measured {
            self.log(stamped, measured, batch);
        }
    }

    /// Boot time since its last sample, or since the last fault logged for want of one,
    /// nanoseconds.
    #[must_use]
    pub fn unheard_ns(&self, now: Moment) -> u64 {
        now.boot_ns.saturating_sub(self.heard_ns)
    }

    /// Logs a fault that no line caused: stale, or board silent. A mean under way ends first.
    pub fn fault(&mut self, at: Moment, quality: Quality, batch: &mut Batch) {
        self.flush(batch);
        self.heard_ns = at.boot_ns;
        let measured = Measured {
            raw: None,
            electrical: None,
            outcome: Outcome::Fault(quality),
            spread: None,
            samples: 0,
        };
        self.log(at, measured, batch);
    }

    /// Ends a mean under way.
    pub fn flush(&mut self, batch: &mut Batch) {
        let Some(sampled) = self.sampled else { return };
        if let Some(measured) = self.chain.flush() {
            self.log(sampled, measured, batch);
        }
    }

    /// Goes on where the same probe under the former configuration left off.
    pub fn take_over(&mut self, now: Moment, mut old: Self, batch: &mut Batch) {
        if old.series == self.series && old.measuring == self.measuring {
            self.chain = old.chain;
        } else {
            old.flush(batch);
            self.chain.learn_from(&old.chain);
        }
        self.timeline = old.timeline;
        self.sampled = old.sampled;
        self.heard_ns = old.heard_ns;
        self.quality = old.quality;
        self.told = old.told;
        self.untold = old.untold;
        for mut machine in std::mem::take(&mut old.alarms) {
            let name = machine.rule().condition.name();
            match self
                .alarms
                .iter_mut()
                .find(|m| m.rule().condition.name() == name)
            {
                Some(slot) => {
                    machine.set_rule(slot.rule().clone());
                    *slot = machine;
                }
                None => self.withdraw(now, &machine, batch),
            }
        }
    }

    /// The probe is no longer configured: its alarms do not stay active for ever.
    pub fn retire(mut self, now: Moment, batch: &mut Batch) {
        self.flush(batch);
        for machine in std::mem::take(&mut self.alarms) {
            self.withdraw(now, &machine, batch);
        }
    }

    fn withdraw(&mut self, now: Moment, machine: &Machine, batch: &mut Batch) {
        if machine.state() == State::Normal {
            return;
        }
        let stamp = self.stamp(now);
        let quality = self.quality.map_or(Quality::Stale, |(quality, _)| quality);
        let moved = (State::Normal, machine.state());
        let active = self.alarm_move(machine.rule(), moved, stamp, (None, quality));
        batch.append(Batch::of(withdrawal(now, stamp, &active)));
    }

    fn stamp(&mut self, at: Moment) -> Stamp {
        Stamp {
            wall_ms: self.timeline.stamp(at),
            boot_ns: at.boot_ns,
            boot: self.boot,
        }
    }

    fn log(&mut self, at: Moment, measured: Measured, batch: &mut Batch) {
        let stamp = self.stamp(at);
        self.note_quality(at, &measured, batch);
        batch.readings.push(Reading {
            seq: 0,
            series: Arc::clone(&self.series),
            at: stamp,
            raw: measured.raw,
            electrical: measured.electrical,
            outcome: measured.outcome,
            spread: measured.spread,
            samples: measured.samples,
        });
        self.judge(at, stamp, measured.outcome, batch);
    }

    fn judge(&mut self, at: Moment, stamp: Stamp, outcome: Outcome, batch: &mut Batch) {
        for index in 0..self.alarms.len() {
            let is_due = self.due_ms.is_some_and(|due| due <= at.wall_ms);
            let machine = &mut self.alarms[index];
            let moved = match machine.rule().condition {
                Condition::Due => machine.judge_date(is_due, at.boot_ns),
                _ => machine.judge(outcome, at.boot_ns),
            };
            let Some(moved) = moved else { continue };
            let judged = (outcome.estimate().map(Estimate::value), outcome.quality());
            let mut alarm = self.alarm_move(self.alarms[index].rule(), moved, stamp, judged);
            alarm.reading_seq = batch.readings.len() as u64;
            push_move(at, alarm.text(), alarm, batch);
        }
    }

    fn alarm_move(
        &self,
        rule: &Rule,
        moved: (State, State),
        at: Stamp,
        (value, quality): (Option<f64>, Quality),
    ) -> Move {
        Move {
            seq: 0,
            reading_seq: 0,
            probe: self.series.probe.clone(),
            board: self.series.board.clone(),
            alarm: rule.condition.name().to_owned(),
            from: moved.0,
            to: moved.1,
            at,
            value,
            limit: rule.condition.limit(),
            unit: self.series.unit.clone(),
            quality,
            // Nothing is left to do where it is normal again.
            action: match moved.1 {
                State::Active => rule.action.clone(),
                State::Normal => String::new(),
            },
        }
    }

    /// Journals a change of quality, unless it flickers.
    fn note_quality(&mut self, at: Moment, measured: &Measured, batch: &mut Batch) {
        let quality = measured.outcome.quality();
        let (before, since) = self.quality.unwrap_or((Quality::Good, at.boot_ns));
        let changed = quality != before;
        let since = if changed { at.boot_ns } else { since };
        self.quality = Some((quality, since));
        self.untold += u64::from(changed);
        let (told, when) = self.told.unwrap_or((Quality::Good, since));
        let recently = self.told.is_some() && at.boot_ns.saturating_sub(when) < QUALITY_NOTE_GAP_NS;
        if quality == told || recently {
            return;
        }
        // What is told is the last of the changes.
        let others = self.untold.saturating_sub(1);
        let lasted = since.saturating_sub(when);
        let text = quality_text(self.name(), quality, measured, lasted);
        let text = with_count(text, others);
        let loudness = match quality {
            Quality::Good => Loudness::Info,
            _ => Loudness::Warning,
        };
        let entry = Entry::new(at, Kind::Probe, self.name(), text).loud(loudness);
        batch.entries.push(entry);
        self.told = Some((quality, at.boot_ns));
        self.untold = 0;
    }
}

/// `lasted_ns`: how long what was told last went on, nanoseconds.
fn quality_text(probe: &str, quality: Quality, measured: &Measured, lasted_ns: u64) -> String {
    let seconds = lasted_ns / 1_000_000_000;
    let raw = measured
        .raw
        .map_or(String::new(), |raw| format!(" ({raw} counts)"));
    match quality {
        Quality::Good => format!("probe `{probe}`: good again after {seconds} s"),
        fault => format!("probe `{probe}`: {fault}{raw}; {}", fault.advice()),
    }
}

fn with_count(text: String, untold: u64) -> String {
    match untold {
        0 => text,
        n => format!("{text} (and {} in between)", counted(n, "change")),
    }
}

/// The journal entry that ends an active alarm which is no longer configured.
#[must_use]
pub fn withdrawal(now: Moment, at: Stamp, active: &Move) -> Entry {
    let text = format!(
        "probe `{}`: alarm `{}` is no longer configured, so it is no longer active",
        active.probe, active.alarm
    );
    let mut entry = Entry::new(now, Kind::Alarm, active.probe.as_str(), text);
    entry.alarm = Some(Move {
        seq: 0,
        reading_seq: 0,
        from: State::Active,
        to: State::Normal,
        at,
        value: None,
        action: String::new(),
        ..active.clone()
    });
    entry
}

fn push_move(at: Moment, text: String, alarm: Move, batch: &mut Batch) {
    let loudness = match alarm.to {
        State::Active if alarm.is_gentle() => Loudness::Warning,
        State::Active => Loudness::Error,
        State::Normal => Loudness::Info,
    };
    let mut entry = Entry::new(at, Kind::Alarm, alarm.probe.as_str(), text).loud(loudness);
    entry.alarm = Some(alarm);
    batch.entries.push(entry);
    batch.at_once = true;
}
