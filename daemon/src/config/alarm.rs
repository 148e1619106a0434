//! `[probe.NAME.alarm.*]`: what is watched for, and what the person who is told should do.
//!
//! Judging is the alarm module's business.

use super::item::{Item, Value};
use super::probe::Chain;
use super::problem::Fault;
use super::quantity::Kind;
use super::reader::Table;
use super::unit::Unit;
use crate::alarm::{Condition, Rule};
use std::ops::RangeInclusive;
use std::time::Duration;

/// A week: whatever takes longer to be told is no alarm.
const DELAY: RangeInclusive<Duration> = Duration::ZERO..=Duration::from_secs(7 * 86_400);

/// Share of the span between the limits that a deadband is where none is given. Common practice
/// for temperatures: 1 % of the range.
const DEADBAND_SHARE: f64 = 0.01;

/// Reads the alarms of a probe whose value is in `unit`.
///
/// A deadband that is not given is the larger of 1 % of the span between the two limits (where
/// both are given) and one step of the converter at the limit, in the probe's unit (where the
/// front end has a step and the driver reaches the limit); else 0.
pub(super) fn read(
    probe: &Table<'_>,
    unit: Option<&Unit>,
    chain: Option<&Chain>,
) -> Value<Vec<Rule>> {
    if probe.item("alarm").is_none() {
        return Some(Vec::new());
    }
    let table = probe.group("alarm")?;
    let high = table
        .table_called("high", "alarm")
        .map(|table| limited(table, unit));
    let low = table
        .table_called("low", "alarm")
        .map(|table| limited(table, unit));
    let fault = table
        .table_called("fault", "alarm")
        .map(|table| unlimited(&table, Condition::Fault));
    let stale = table
        .table_called("stale", "alarm")
        .map(|table| unlimited(&table, Condition::Stale));
    let due = table
        .table_called("due", "alarm")
        .map(|table| unlimited(&table, Condition::Due));
    table.end();
    warn_of_silence(
        &table,
        high.is_some() || low.is_some(),
        (fault.is_some(), stale.is_some()),
    );
    let (high, low) = (all_or_none(high)?, all_or_none(low)?);
    check_order(&table, high.as_ref(), low.as_ref(), unit)?;
    let span = span(high.as_ref(), low.as_ref());
    let rules = [
        high.map(|limited| {
            limited.rule(span, chain, |limit, deadband| Condition::High {
                limit,
                deadband,
            })
        }),
        low.map(|limited| {
            limited.rule(span, chain, |limit, deadband| Condition::Low {
                limit,
                deadband,
            })
        }),
        all_or_none(fault)?,
        all_or_none(stale)?,
        all_or_none(due)?,
    ];
    Some(rules.into_iter().flatten().collect())
}

/// A high or low alarm whose deadband may still be open.
struct Limited<'a> {
    table: Table<'a>,
    limit: f64,
    deadband: Option<f64>,
    delays: Delays,
}

/// What every alarm has.
struct Delays {
    on_ms: u64,
    off_ms: u64,
    action: String,
}

impl Limited<'_> {
    fn rule(
        self,
        span: Option<f64>,
        chain: Option<&Chain>,
        condition: impl Fn(f64, f64) -> Condition,
    ) -> Rule {
        let step = chain.and_then(|chain| chain.step_at(self.limit));
        let share = span.map(|span| span * DEADBAND_SHARE);
        let default = share.unwrap_or(0.0).max(step.unwrap_or(0.0));
        let deadband = self.deadband.unwrap_or(default);
        if deadband == 0.0 && self.delays.on_ms == 0 && self.delays.off_ms == 0 {
            self.table.warning(Fault::new(
                "it has neither a deadband nor a delay, so at its limit each wobble of the last \
                 digit raises it anew",
                "add a `deadband` of some steps of the reading, or `on_delay = \"30s\"`",
            ));
        }
        self.delays.rule(condition(self.limit, deadband))
    }
}

impl Delays {
    fn rule(self, condition: Condition) -> Rule {
        Rule {
            condition,
            on_delay_ms: self.on_ms,
            off_delay_ms: self.off_ms,
            action: self.action,
        }
    }
}

fn limited<'a>(table: Table<'a>, unit: Option<&Unit>) -> Value<Limited<'a>> {
    let delays = delays(&table);
    let Some(unit) = unit else {
        // The unit's own fault has been reported; without it a limit cannot be read.
        table.know(&["limit", "deadband"]);
        table.end();
        return None;
    };
    let example = format!("\"20 {}\"", unit.code());
    let limit = table.required("limit", &example, |item| item.quantity(unit, Kind::Value));
    let deadband = table.optional("deadband", |item| deadband(item, unit));
    table.end();
    Some(Limited {
        table,
        limit: limit?,
        deadband: deadband?,
        delays: delays?,
    })
}

fn deadband(item: &Item<'_>, unit: &Unit) -> Value<f64> {
    let deadband = item.quantity(unit, Kind::Difference)?;
    if deadband >= 0.0 {
        return Some(deadband);
    }
    item.refuse(Fault::new(
        format!("`deadband` is {deadband} {}", unit.code()),
        "it is a distance from the limit, 0 or more",
    ))
}

fn unlimited(table: &Table<'_>, condition: Condition) -> Value<Rule> {
    let why = "only `high` and `low` have a limit";
    table.foreign(&["limit", "deadband"], why);
    let delays = delays(table);
    table.end();
    Some(delays?.rule(condition))
}

fn delays(table: &Table<'_>) -> Value<Delays> {
    let delay = |item: &Item<'_>| item.duration(DELAY);
    let on = table.or("on_delay", Duration::ZERO, delay);
    let off = table.or("off_delay", Duration::ZERO, delay);
    let action = table.or("action", String::new(), |item| {
        item.text().map(str::to_owned)
    });
    if action
        .as_ref()
        .is_some_and(|action| action.trim().is_empty())
    {
        table.warning(Fault::new(
            "it does not say what to do when it is raised",
            "add `action = \"…\"`: an alarm that asks for nothing wakes people for nothing",
        ));
    }
    Some(Delays {
        on_ms: milliseconds(on?),
        off_ms: milliseconds(off?),
        action: action?,
    })
}

fn milliseconds(delay: Duration) -> u64 {
    u64::try_from(delay.as_millis()).unwrap_or(u64::MAX)
}

/// Turns a missing table into a missing rule, and a faulty one into a fault.
fn all_or_none<T>(read: Option<Value<T>>) -> Value<Option<T>> {
    match read {
        None => Some(None),
        Some(value) => value.map(Some),
    }
}

fn span(high: Option<&Limited<'_>>, low: Option<&Limited<'_>>) -> Option<f64> {
    Some((high?.limit - low?.limit).abs())
}

fn check_order(
    table: &Table<'_>,
    high: Option<&Limited<'_>>,
    low: Option<&Limited<'_>>,
    unit: Option<&Unit>,
) -> Value<()> {
    let (Some(high), Some(low), Some(unit)) = (high, low, unit) else {
        return Some(());
    };
    let shown = |value: f64| format!("{value} {}", unit.code());
    if high.limit <= low.limit {
        let [high, low] = [high.limit, low.limit].map(shown);
        table.error(Fault::new(
            format!("the high limit, {high}, is not above the low one, {low}"),
            "one of both alarms would always be raised; set `high` above `low`",
        ));
        return None;
    }
    let widest = high
        .deadband
        .unwrap_or(0.0)
        .max(low.deadband.unwrap_or(0.0));
    if widest >= high.limit - low.limit {
        table.warning(Fault::new(
            format!(
                "a deadband of {} reaches from one limit to the other",
                shown(widest)
            ),
            "make it smaller, or an alarm ends only when the other one comes",
        ));
    }
    Some(())
}

/// A dead probe gives no number, and no number is above a limit.
fn warn_of_silence(table: &Table<'_>, has_limit: bool, (fault, stale): (bool, bool)) {
    let (missing, them) = match (fault, stale) {
        _ if !has_limit => return,
        (true, true) => return,
        (true, false) => ("`stale`", "it"),
        (false, true) => ("`fault`", "it"),
        (false, false) => ("`fault` or `stale`", "them"),
    };
    table.warning(Fault::new(
        format!("there is a limit, but no alarm {missing}"),
        format!("add {them}: a broken probe or a silent board never reaches a limit"),
    ));
}
