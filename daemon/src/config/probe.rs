//! `[probe.NAME]`: the sensing element, the channel it is wired to, and the driver that turns its
//! electrical quantity into a physical one.

use super::alarm;
use super::board;
use super::drivers::Drivers;
use super::item::{Item, Value};
use super::problem::Fault;
use super::reader::Table;
use super::sensing::{self, Sensing};
use super::trust::{self, Trust};
use super::unit::Unit;
use crate::alarm::Rule;
use crate::driver::{Driver, Model};
use crate::measure::front_end::{Electrical, FrontEnd};
use crate::reading::Estimate;
use std::ops::RangeInclusive;
use std::time::Duration;

/// `[probe.NAME]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Probe {
    /// The probe's label.
    pub name: String,
    /// Name of the board it is wired to.
    pub board: String,
    /// Name of the channel of that board.
    pub channel: String,
    /// The driver.
    pub driver: Driver,
    /// One slice of numbers per parameter that the driver declares, in its order; empty for a
    /// number that is not given and has no default.
    pub parameters: Vec<Vec<f64>>,
    /// The driver with them. As long as it is kept, so is the process of a loaded driver.
    pub model: Model,
    /// What the driver is given.
    pub input: Electrical,
    /// Quantity of the value: the driver's, or the configuration's where the driver takes any.
    pub quantity: String,
    /// UCUM code of the value's unit: the driver's, or the configuration's where it takes any.
    pub unit: String,
    /// Median of this many samples, odd, 1 for none, 101 at most. Default 1.
    pub median: usize,
    /// Mean over this interval is logged; every line, where it is `None`.
    pub every: Option<Duration>,
    /// How far its numbers are to be trusted.
    pub trust: Trust,
    /// `[probe.NAME.alarm.*]`.
    pub alarms: Vec<Rule>,
}

/// More samples than this are no longer a filter for single outliers, but a delay.
const MEDIAN: RangeInclusive<usize> = 1..=101;
const EVERY: RangeInclusive<Duration> = Duration::from_millis(100)..=Duration::from_secs(86_400);

/// A probe as far as it could be read.
pub(super) struct Draft<'a> {
    /// The probe's label.
    pub(super) name: String,
    /// Its table.
    pub(super) table: Table<'a>,
    /// Board and channel, where both are there.
    pub(super) wired_to: Value<(String, String)>,
    /// The unit of its value, where that is known.
    pub(super) unit: Value<String>,
    /// The channel's front end and the bound model, where both are right.
    pub(super) chain: Option<Chain>,
    /// The probe, where it is right.
    pub(super) probe: Value<Probe>,
}

/// From counts to a value: what limits and resistors are checked with.
#[derive(Clone)]
pub(super) struct Chain {
    /// How the probe is wired.
    pub(super) front_end: FrontEnd,
    /// What the driver is given.
    pub(super) input: Electrical,
    /// The driver with its parameters.
    pub(super) model: Model,
}

impl Chain {
    /// Change of the value with one step of the converter, at this value; `None` where the front
    /// end has no step, or the value is out of reach.
    pub(super) fn step_at(&self, value: f64) -> Option<f64> {
        let electrical = self.model.invert(value).ok()?;
        let count = self.front_end.count_for(electrical, self.input)?;
        let converted = self.front_end.convert(count, self.input).ok()?;
        let slope = self.model.slope(electrical).ok()?;
        let step = (self.front_end.step()? * converted.slope * slope).abs();
        step.is_finite().then_some(step)
    }
}

/// Reads every `[probe.NAME]`.
pub(super) fn read_all<'a>(
    root: &Table<'a>,
    boards: &[board::Draft<'a>],
    drivers: &Drivers,
) -> Vec<Draft<'a>> {
    if root.item("probe").is_none() {
        let what = "there is no `[probe.NAME]` table, so nothing would be read";
        root.missing("probe", Fault::new(what, "add one for each probe"));
    }
    root.named("probe", "probe")
        .into_iter()
        .map(|(name, table)| read((name, table), boards, drivers))
        .collect()
}

fn read<'a>(
    (name, table): (String, Table<'a>),
    boards: &[board::Draft<'a>],
    drivers: &Drivers,
) -> Draft<'a> {
    let wired_to = wired_to(&table, boards);
    let front_end = wired_to.as_ref().and_then(|to| front_end(boards, to));
    let median = table.or("median", 1, median);
    let every = table.optional("every", |item| item.duration(EVERY));
    let sensing = sensing::read((&name, &table), front_end.as_ref(), drivers);
    let unit = sensing.as_ref().and_then(|sensing| sensing.unit.clone());
    let chain = sensing.as_ref().and_then(|sensing| {
        Some(Chain {
            front_end: planned(front_end?),
            input: sensing.input?,
            model: sensing.model.clone()?,
        })
    });
    let scale = unit.as_deref().map(Unit::of);
    let board = wired_to.as_ref().map_or("", |(board, _)| board);
    let around = trust::Around {
        front_end: front_end.as_ref(),
        board: (board, supply_volt(boards, board)),
        input: sensing.as_ref().and_then(|sensing| sensing.input),
        model: sensing.as_ref().and_then(|sensing| sensing.model.as_ref()),
        unit: unit.as_deref(),
    };
    let trust = trust::read(&table, &around);
    let alarms = alarm::read(&table, scale.as_ref(), chain.as_ref());
    table.end();
    let probe = assemble(
        &name,
        wired_to.clone(),
        sensing,
        (median, every, trust, alarms),
    );
    Draft {
        name,
        table,
        wired_to,
        unit,
        chain,
        probe,
    }
}

type Rest = (
    Value<usize>,
    Value<Option<Duration>>,
    Value<Trust>,
    Value<Vec<Rule>>,
);

fn assemble(
    name: &str,
    wired_to: Value<(String, String)>,
    sensing: Option<Sensing>,
    (median, every, trust, alarms): Rest,
) -> Value<Probe> {
    let (board, channel) = wired_to?;
    let sensing = sensing?;
    Some(Probe {
        name: name.to_owned(),
        board,
        channel,
        driver: sensing.driver,
        parameters: sensing.parameters?,
        model: sensing.model?,
        input: sensing.input?,
        quantity: sensing.quantity?,
        unit: sensing.unit?,
        median: median?,
        every: every?,
        trust: trust?,
        alarms: alarms?,
    })
}

fn wired_to(table: &Table<'_>, boards: &[board::Draft<'_>]) -> Value<(String, String)> {
    let board = table.required("board", "\"bench\"", |item| {
        let names: Vec<&str> = boards.iter().map(|board| board.name.as_str()).collect();
        referred(item, &names)
    });
    let known = board
        .as_deref()
        .and_then(|name| boards.iter().find(|b| b.name == name));
    let channel = table.required("channel", "\"a0\"", |item| match known {
        Some(board) => {
            let names: Vec<&str> = board.channels.iter().map(|c| c.name.as_str()).collect();
            referred(item, &names)
        }
        None => item.text().map(str::to_owned),
    });
    Some((board?, channel?))
}

/// A name that must be one of those that are there.
fn referred(item: &Item<'_>, names: &[&str]) -> Value<String> {
    let name = match names {
        [] => item.text()?,
        names => item.word(names, "")?,
    };
    if names.contains(&name) {
        return Some(name.to_owned());
    }
    if names.is_empty() {
        let what = format!("there is no `{name}`");
        return item.refuse(Fault::new(what, "add a table for it"));
    }
    item.unknown_word(name, names)
}

fn front_end(boards: &[board::Draft<'_>], (board, channel): &(String, String)) -> Option<FrontEnd> {
    let board = boards.iter().find(|draft| draft.name == *board)?;
    let channel = board.channel(channel)?.channel.as_ref()?;
    Some(channel.front_end)
}

fn supply_volt(boards: &[board::Draft<'_>], board: &str) -> Option<f64> {
    let board = boards.iter().find(|draft| draft.name == board)?;
    board.supply_volt()
}

/// A measured supply is not known yet; for the size of a step it is near enough to the reference.
fn planned(front_end: FrontEnd) -> FrontEnd {
    match front_end {
        FrontEnd::AbsoluteDivider(divider) => Estimate::new(divider.reference_volt, 0.0)
            .map_or(front_end, |reference| front_end.fed_with(reference)),
        other => other,
    }
}

fn median(item: &Item<'_>) -> Value<usize> {
    let median = item.whole(MEDIAN)?;
    if median % 2 == 1 {
        return Some(median);
    }
    item.refuse(Fault::new(
        format!("a median of {median} samples has no middle one"),
        format!("it must be odd: {} or {}", median - 1, median + 1),
    ))
}
