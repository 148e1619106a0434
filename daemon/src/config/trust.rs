//! The keys of `[probe.NAME]` that say how far its numbers are to be trusted: tolerance of its kind,
//! self-heating, when a calibration is due, what a verification must hold.
//!
//! What they do to an uncertainty is `calibrate::stated`'s.

use super::item::{Item, Value};
use super::problem::Fault;
use super::quantity::Kind;
use super::reader::Table;
use super::unit::{Dimension, Unit};
use crate::calibrate::Tolerance;
use crate::driver::Model;
use crate::measure::front_end::{AbsoluteDivider, Electrical, FrontEnd, Supply};
use crate::measure::self_heating::SelfHeating;
use std::ops::RangeInclusive;
use std::time::Duration;

/// How far a probe's numbers are to be trusted.
#[derive(Clone, Debug, PartialEq)]
pub struct Trust {
    /// How far a probe of its kind may be off its nominal curve, where it was never calibrated.
    pub tolerance: Tolerance,
    /// How its divider warms it, where `dissipation` is given.
    pub heating: Option<SelfHeating>,
    /// How long a calibration is good for. A day to ten years, default a year.
    pub calibration_due: Duration,
    /// The largest error that a verification tolerates, in the unit of the value.
    pub verify_within: Option<f64>,
}

const DAY: Duration = Duration::from_secs(86_400);
const DUE: RangeInclusive<Duration> = DAY..=Duration::from_secs(3650 * 86_400);
const DEFAULT_DUE: Duration = Duration::from_secs(365 * 86_400);

/// Milliwatts a kelvin: from a bead that hangs by hairs to a sleeve in a copper block.
const DISSIPATION: RangeInclusive<f64> = 0.01..=1000.0;

const KEYS: &[&str] = &[
    "tolerance",
    "dissipation",
    "calibration_due",
    "verify_within",
];

/// What is known of the probe and of what it hangs on, as far as it could be read.
pub(super) struct Around<'p> {
    /// Its channel's front end.
    pub(super) front_end: Option<&'p FrontEnd>,
    /// Its board's name, and what feeds that board's dividers.
    pub(super) board: (&'p str, Option<f64>),
    /// What its driver is given.
    pub(super) input: Option<Electrical>,
    /// The driver with its parameters.
    pub(super) model: Option<&'p Model>,
    /// The unit of its value.
    pub(super) unit: Option<&'p str>,
}

/// Reads the keys; `None` where one is wrong, or where what they belong to could not be read.
pub(super) fn read(table: &Table<'_>, around: &Around<'_>) -> Value<Trust> {
    table.know(KEYS);
    let unit = Unit::of(around.unit?);
    let calibration_due = table.or("calibration_due", DEFAULT_DUE, |item| item.duration(DUE));
    let verify_within = table.optional("verify_within", |item| {
        let within = item.quantity(&unit, Kind::Difference)?;
        item.accept(above_zero(within, &unit))
    });
    let given = table.optional("tolerance", |item| tolerance(item, &unit));
    let usual = around
        .model
        .zip(around.input)
        .map(|(model, input)| Tolerance::usual(model, input, unit.code()));
    let heating = heating(table, around, &unit);
    Some(Trust {
        tolerance: given?.or(usual)?,
        heating: heating?,
        calibration_due: calibration_due?,
        verify_within: verify_within?,
    })
}

fn above_zero(within: f64, unit: &Unit) -> Result<f64, Fault> {
    if within > 0.0 {
        return Ok(within);
    }
    Err(Fault::new(
        format!("`verify_within` is {within} {}", unit.code()),
        "it is the largest error that is tolerated, above 0",
    ))
}

/// In the unit of the value, or a percentage of the electrical quantity, as makers write it.
fn tolerance(item: &Item<'_>, unit: &Unit) -> Value<Tolerance> {
    let is_share = item
        .text_if_text()
        .is_some_and(|text| text.trim_end().ends_with('%'));
    if is_share && unit.dimension() != Some(Dimension::Fraction) {
        let percent = item.quantity_within(&Unit::of("%"), &PERCENT, "%")?;
        return Some(Tolerance::Electrical(percent / 100.0));
    }
    let half = item.quantity(unit, Kind::Difference)?;
    if half >= 0.0 {
        return Some(Tolerance::Value(half));
    }
    item.refuse(Fault::new(
        format!("`tolerance` is {half} {}", unit.code()),
        "it is how far the probe may be off to either side, 0 or more",
    ))
}

/// Beyond it nobody would speak of a tolerance.
const PERCENT: RangeInclusive<f64> = 0.0..=90.0;

/// Relative half-width of a divider's resistor: `"1 %"`.
pub(super) fn resistor_tolerance(item: &Item<'_>) -> Value<f64> {
    let percent = item.quantity_within(&Unit::of("%"), &RESISTOR_PERCENT, "%")?;
    Some(percent / 100.0)
}

/// The widest class that resistors are sold in is 20 % (IEC 60062, letter M); some room above it.
const RESISTOR_PERCENT: RangeInclusive<f64> = 0.0..=50.0;

fn heating(table: &Table<'_>, around: &Around<'_>, unit: &Unit) -> Value<Option<SelfHeating>> {
    let Some(item) = table.item("dissipation") else {
        return Some(None);
    };
    let milliwatts = item.quantity_within(&Unit::of("mW/K"), &DISSIPATION, "mW/K");
    let Some(kelvin) = Unit::of("K").difference_in(1.0, unit) else {
        let what = format!(
            "`dissipation` warms a probe, but its value is in `{}`",
            unit.code()
        );
        return item.refuse(Fault::new(what, "remove it"));
    };
    let wiring = around.front_end?;
    let (Some(resistor_ohm), Electrical::Ohm) = (wiring.resistor_ohm(), around.input?) else {
        let what = "how far a probe warms itself is only known of one in a divider";
        return item.refuse(Fault::new(what, "remove `dissipation`"));
    };
    let Some(supply_volt) = supply(wiring).or(around.board.1) else {
        let what = "how far the probe warms itself is not known without the divider's supply";
        let right = format!("add `supply = \"5 V\"` to `[board.{}]`", around.board.0);
        return item.refuse(Fault::new(what, right));
    };
    Some(Some(SelfHeating {
        supply_volt,
        resistor_ohm,
        dissipation: milliwatts? / 1000.0 / kelvin,
    }))
}

/// What the front end itself knows of the supply.
fn supply(front_end: &FrontEnd) -> Option<f64> {
    match front_end {
        FrontEnd::AbsoluteDivider(AbsoluteDivider {
            supply: Supply::Known { volt, .. },
            ..
        }) => Some(*volt),
        _ => None,
    }
}
