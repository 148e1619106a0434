//! `[board.NAME.channel.NAME]`: one analogue input, and how a probe is wired to it.

use super::absolute::{self, Reference};
use super::corrections;
use super::files::Files;
use super::format::check_field;
use super::item::{Item, Value};
use super::problem::Fault;
use super::reader::Table;
use super::trust;
use super::unit::Unit;
use crate::measure::corrections::Corrections;
use crate::measure::decode::Format;
use crate::measure::front_end::{AbsoluteDivider, FrontEnd, Side};

/// `[board.NAME.channel.NAME]`.
#[derive(Clone, Debug, PartialEq)]
pub struct Channel {
    /// The channel's name.
    pub name: String,
    /// The field of the board's line; default the channel's name.
    pub field: String,
    /// How the probe is wired to it.
    pub front_end: FrontEnd,
    /// How far the divider's resistor may be off what is written on it, relative: half-width of a
    /// rectangular distribution. Default 0.01; 0 where there is no divider.
    pub resistor_tolerance: f64,
    /// The channel of the same board that measures the supply of its divider, where one does.
    pub supply_channel: Option<String>,
    /// What is added to its counts before the front end: its own, or else the board's.
    pub corrections: Corrections,
}

/// What a channel takes over from its board.
#[derive(Clone, Copy)]
pub(super) struct Shared<'s> {
    /// How the board writes its lines, where that is known.
    pub(super) format: Option<&'s Format>,
    /// Its corrections.
    pub(super) corrections: Option<&'s Corrections>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Wiring {
    Divider,
    ChargeTime,
    Voltage,
    None,
}

const WIRINGS: &[(&str, Wiring)] = &[
    ("divider", Wiring::Divider),
    ("charge-time", Wiring::ChargeTime),
    ("voltage", Wiring::Voltage),
    ("none", Wiring::None),
];

const SIDES: &[(&str, Side)] = &[("low", Side::Low), ("high", Side::High)];

/// The keys of each wiring; a key of another one says which.
const DIVIDER: &[&str] = &["probe_side", "resistor", "resistor_tolerance"];
const CHARGE_TIME: &[&str] = &["offset", "per_ohm", "overflow"];
const VOLTAGE: &[&str] = &["ratio"];
/// The keys of converters.
const CONVERTER: &[&str] = &["reference", "full_scale"];

/// Reads one channel; leaves its `scene` to whoever knows the source.
pub(super) fn read(
    name: &str,
    table: &Table<'_>,
    shared: Shared<'_>,
    files: &Files<'_>,
) -> Value<Channel> {
    let format = shared.format;
    let field = table.or("field", name.to_owned(), |item| field(item, format));
    let named = match table.item("field") {
        Some(_) => Some(()),
        None => check_name_as_field(name, table, format),
    };
    let wired = front_end(table);
    let corrections = corrections(table, wired.as_ref(), shared, files);
    named?;
    let Wired {
        front_end,
        resistor_tolerance,
        supply_channel,
    } = wired?;
    Some(Channel {
        name: name.to_owned(),
        field: field?,
        front_end,
        resistor_tolerance,
        supply_channel,
        corrections: corrections?,
    })
}

/// A front end, and the channel that its supply comes from.
struct Wired {
    front_end: FrontEnd,
    resistor_tolerance: f64,
    supply_channel: Option<String>,
}

impl From<FrontEnd> for Wired {
    fn from(front_end: FrontEnd) -> Self {
        Self {
            front_end,
            resistor_tolerance: 0.0,
            supply_channel: None,
        }
    }
}

/// A converter's corrections; a timer and a finished number have none.
fn corrections(
    table: &Table<'_>,
    wired: Option<&Wired>,
    shared: Shared<'_>,
    files: &Files<'_>,
) -> Value<Corrections> {
    let wired = wired.map(|wired| wired.front_end);
    if let Some(FrontEnd::ChargeTime { .. } | FrontEnd::None) = wired {
        table.foreign(corrections::KEYS, CONVERTERS);
        return Some(Corrections::default());
    }
    let own = corrections::read(table, files)?;
    Some(own.or(shared.corrections.cloned()).unwrap_or_default())
}

fn field(item: &Item<'_>, format: Option<&Format>) -> Value<String> {
    let field = item.filled()?;
    if let Some(format) = format {
        item.accept(check_field(format, Some(item), field))?;
    }
    Some(field.to_owned())
}

fn check_name_as_field(name: &str, table: &Table<'_>, format: Option<&Format>) -> Value<()> {
    let Some(format) = format else {
        return Some(());
    };
    check_field(format, None, name)
        .map_err(|fault| table.error(fault))
        .ok()
}

fn front_end(table: &Table<'_>) -> Value<Wired> {
    let later = "; the channel's other keys are looked at once the front end is known";
    let wiring = table.required("front_end", "\"divider\"", |item| {
        item.choice_before(WIRINGS, later)
    });
    let Some(wiring) = wiring else {
        for keys in [DIVIDER, absolute::SUPPLY, CHARGE_TIME, VOLTAGE, CONVERTER] {
            table.know(keys);
        }
        return None;
    };
    refuse_others(table, wiring);
    match wiring {
        Wiring::Divider => divider(table),
        Wiring::ChargeTime => charge_time(table).map(Wired::from),
        Wiring::Voltage => voltage(table).map(Wired::from),
        Wiring::None => Some(FrontEnd::None.into()),
    }
}

const CONVERTERS: &str = "it goes with `front_end = \"divider\"` or `\"voltage\"`";

fn refuse_others(table: &Table<'_>, wiring: Wiring) {
    for (owner, keys, why) in [
        (
            Wiring::Divider,
            DIVIDER,
            "it goes with `front_end = \"divider\"`",
        ),
        (
            Wiring::Divider,
            absolute::SUPPLY,
            "it goes with `front_end = \"divider\"`",
        ),
        (
            Wiring::ChargeTime,
            CHARGE_TIME,
            "it goes with `front_end = \"charge-time\"`",
        ),
        (
            Wiring::Voltage,
            VOLTAGE,
            "it goes with `front_end = \"voltage\"`",
        ),
    ] {
        if owner != wiring {
            table.foreign(keys, why);
        }
    }
    if !matches!(wiring, Wiring::Divider | Wiring::Voltage) {
        table.foreign(CONVERTER, CONVERTERS);
    }
}

fn divider(table: &Table<'_>) -> Value<Wired> {
    let probe = table.required("probe_side", "\"low\"", |item| item.choice(SIDES));
    let resistor = table.required("resistor", "\"10 kOhm\"", ohms);
    let tolerance = table.or("resistor_tolerance", RESISTOR_TOLERANCE, |item| {
        trust::resistor_tolerance(item)
    });
    let full_scale = full_scale(table);
    let reference = absolute::read(table);
    let (probe, resistor_ohm, full_scale) = (probe?, resistor?, full_scale?);
    let resistor_tolerance = tolerance?;
    let Some(reference) = reference? else {
        return Some(Wired {
            front_end: FrontEnd::Divider {
                probe,
                resistor_ohm,
                full_scale,
            },
            resistor_tolerance,
            supply_channel: None,
        });
    };
    let Reference {
        volt,
        supply,
        channel,
    } = reference;
    Some(Wired {
        front_end: FrontEnd::AbsoluteDivider(AbsoluteDivider {
            probe,
            resistor_ohm,
            full_scale,
            reference_volt: volt,
            supply,
        }),
        resistor_tolerance,
        supply_channel: channel,
    })
}

fn charge_time(table: &Table<'_>) -> Value<FrontEnd> {
    let offset = table.or("offset", 0.0, |item| item.number(0.0..=LARGEST_COUNT));
    let slope = table.required("per_ohm", "0.011", Item::positive);
    let overflow = table.required("overflow", "2000", |item| {
        let overflow = item.positive()?;
        let least = offset.unwrap_or(0.0);
        if overflow > least {
            return Some(overflow);
        }
        let what =
            format!("`overflow` is {overflow}, but zero ohm already gives {least} (`offset`)");
        item.refuse(Fault::new(
            what,
            "it must be larger: the count at which the board gives up waiting",
        ))
    });
    Some(FrontEnd::ChargeTime {
        offset_count: offset?,
        count_per_ohm: slope?,
        overflow_count: overflow?,
    })
}

fn voltage(table: &Table<'_>) -> Value<FrontEnd> {
    let volts = Unit::of("V");
    let reference = table.required("reference", "\"3.3 V\"", |item| {
        item.positive_quantity(&volts)
    });
    let ratio = table.or("ratio", 1.0, |item| item.number(RATIO));
    let full_scale = full_scale(table);
    Some(FrontEnd::Voltage {
        reference_volt: reference? * ratio?,
        full_scale: full_scale?,
    })
}

fn ohms(item: &Item<'_>) -> Value<f64> {
    item.quantity_within(&Unit::of("Ohm"), &RESISTOR, "Ohm")
}

/// What is sold as a metal film resistor without a word on it (common practice).
pub const RESISTOR_TOLERANCE: f64 = 0.01;

/// From a milliohm to a gigaohm: outside it, somebody mistyped a prefix.
const RESISTOR: std::ops::RangeInclusive<f64> = 1e-3..=1e9;

/// What a divider in front of a voltage divides by: 1 for none, up to that of a high-voltage probe.
const RATIO: std::ops::RangeInclusive<f64> = 1.0..=1000.0;

/// 32 bits: more than any converter gives.
const LARGEST_COUNT: f64 = 4_294_967_296.0;

fn full_scale(table: &Table<'_>) -> Value<f64> {
    table.required("full_scale", "1023", |item| {
        item.number(1.0..=LARGEST_COUNT)
    })
}
