//! Readings of the past by another calibration than the one that made them: values and uncertainties
//! as the service would have given them.
//!
//! What a reading's stored uncertainty holds is taken apart again: what the conversion that made it
//! adds (fit, model, tolerance, resistor after a move) is known at its input, the rest is of the
//! electrical quantity and goes through the other curve. A fault stays a fault. Where something is
//! assumed because nothing better is known, it is remarked.

use super::{Conversion, History, Made, Place};
use crate::calibrate::Channel;
use crate::config::RESISTOR_TOLERANCE;
use crate::driver::{DriverError, Electrical, Model};
use crate::measure::chain::Answer;
use crate::reading::{Estimate, Outcome, Quality, Reading, Series};
use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

/// A stored value that is further from what a conversion gives, relative to 1 or itself, was not made
/// by it: parameters may have been configured anew since.
const SAME: f64 = 1e-6;

/// What a reading comes to.
#[derive(Clone, Debug, PartialEq)]
pub enum Recomputed {
    /// By the calibration that was asked for.
    Anew(Reading),
    /// As it was logged: the calibration does not take what it holds.
    AsLogged(Reading),
}

/// Where a series was read, as far as that is known.
pub type Places<'a> = dyn Fn(&Series) -> Option<Place> + 'a;

/// Turns readings into those by another calibration.
pub struct Recompute<'a> {
    wanted: &'a Conversion,
    made: &'a [Conversion],
    place: &'a Places<'a>,
    series: HashMap<u32, Prepared>,
    remarks: BTreeSet<String>,
}

/// One series of the log.
struct Prepared {
    /// As it is named anew.
    series: Arc<Series>,
    wanted: Conversion,
    /// What made it, as far as that is known.
    made: Option<Conversion>,
}

impl<'a> Recompute<'a> {
    /// By `wanted`. `made` are the conversions that may have made the readings, as many as are known;
    /// `place` is where a series was read, as far as the configuration says.
    #[must_use]
    pub fn new(wanted: &'a Conversion, made: &'a [Conversion], place: &'a Places<'a>) -> Self {
        Self {
            wanted,
            made,
            place,
            series: HashMap::new(),
            remarks: BTreeSet::new(),
        }
    }

    /// One reading after the other.
    pub fn reading(&mut self, mut reading: Reading) -> Recomputed {
        let series = &reading.series;
        let of_other = self.wanted.electrical_unit != series.electrical_unit
            || self.wanted.unit != series.unit;
        let Some(outcome) = (!of_other).then(|| self.outcome(&reading)).flatten() else {
            return Recomputed::AsLogged(reading);
        };
        reading.outcome = outcome;
        reading.series = Arc::clone(&self.prepared(&reading.series).series);
        Recomputed::Anew(reading)
    }

    /// What was assumed for the readings so far, each a sentence for a person.
    pub fn remarks(&self) -> impl Iterator<Item = &str> {
        self.remarks.iter().map(String::as_str)
    }

    /// `None` where it holds nothing to compute from.
    fn outcome(&mut self, reading: &Reading) -> Option<Outcome> {
        let Some(stored) = reading.outcome.estimate() else {
            return Some(reading.outcome);
        };
        let made_by = reading.series.calibration;
        // What that calibration itself made is right to the last bit; configured parameters change.
        if made_by != 0 && made_by == self.wanted.number {
            return Some(reading.outcome);
        }
        let input = reading.electrical?;
        let prepared = self.prepared(&reading.series);
        let made = prepared.made.as_ref();
        let made = made.filter(|one| has_made(one, input, stored));
        let (known, too_much) = (
            made.is_some(),
            made.is_some_and(|one| adds_more(one, input, stored)),
        );
        let outcome = judged(&prepared.wanted, made, input, stored);
        if !known {
            self.remarks.insert(unknown(made_by));
        }
        if too_much {
            self.remarks.insert(exceeded(made_by));
        }
        Some(outcome)
    }

    fn prepared(&mut self, series: &Arc<Series>) -> &Prepared {
        let Self {
            wanted,
            made,
            place,
            series: all,
            remarks,
        } = self;
        all.entry(series.id).or_insert_with(|| {
            let known = place(series);
            let old = made.iter().find(|one| one.number == series.calibration);
            let mut put =
                |conversion: &Conversion| put(conversion, series, known.as_ref(), remarks);
            Prepared {
                wanted: put(wanted),
                made: old.map(&mut put),
                series: Arc::new(renamed(series, wanted.number)),
            }
        })
    }
}

impl History {
    /// Conversions by all calibrations that can still be computed, with the probe's configured model
    /// where there is one.
    #[must_use]
    pub fn conversions(&self, configured: Option<&Model>) -> Vec<Conversion> {
        let by = |made: &Made| Conversion::by(made.number, &made.calibration, configured).ok();
        self.calibrations().iter().filter_map(by).collect()
    }
}

/// A conversion where a series was read. A channel of which nothing is known is taken to know its
/// resistor as well as the conversion's own does, or as the configuration assumes where that has none.
fn put(
    conversion: &Conversion,
    series: &Series,
    known: Option<&Place>,
    remarks: &mut BTreeSet<String>,
) -> Conversion {
    if let Some(place) = known {
        return conversion.at_place(place);
    }
    let own = conversion.channel();
    if (&own.board, &own.channel) == (&series.board, &series.channel) {
        return conversion.clone();
    }
    let mut channel = own.clone();
    (channel.board, channel.channel) = (series.board.clone(), series.channel.clone());
    if own.scale_uncertainty > 0.0 {
        remarks.insert(alike(&channel, own));
    } else if conversion.electrical_unit == Electrical::Ohm.unit() {
        // Points of an ohmmeter know of no resistor, but the channel of a series in ohm has one.
        channel.scale_uncertainty = RESISTOR_TOLERANCE / 3.0_f64.sqrt();
        remarks.insert(usual(&channel));
    }
    let heating = None;
    conversion.at_place(&Place { channel, heating })
}

fn alike(here: &Channel, own: &Channel) -> String {
    format!(
        "the resistor of board `{}`, channel `{}` is taken to be known as well as that of board `{}`, \
         channel `{}`; a configuration with that channel (`--config FILE`) says how well it is",
        here.board, here.channel, own.board, own.channel
    )
}

fn usual(here: &Channel) -> String {
    format!(
        "the resistor of board `{}`, channel `{}` is taken to be known to {} %, as where nothing is \
         configured; a configuration with that channel (`--config FILE`) says how well it is",
        here.board,
        here.channel,
        100.0 * RESISTOR_TOLERANCE
    )
}

fn unknown(made_by: u32) -> String {
    let what = match made_by {
        0 => {
            "the configured parameters of that time are not known (give `--config FILE`; where it \
              has changed since, no file helps)"
                .to_owned()
        }
        number => format!("calibration {number}, which made them, cannot be computed here"),
    };
    format!(
        "some readings keep all of their logged uncertainty beside the calibration's, which is too \
         much rather than too little: {what}"
    )
}

fn exceeded(made_by: u32) -> String {
    let what = match made_by {
        0 => "the configured parameters add".to_owned(),
        number => format!("calibration {number} adds"),
    };
    format!(
        "some readings were logged with less uncertainty than {what} by today's configuration (a \
         tolerance, resistor or dissipation has changed since), so nothing is left for noise and \
         converter: theirs is too small rather than too much"
    )
}

fn has_made(made: &Conversion, input: f64, stored: Estimate) -> bool {
    let off = |answer: Answer| (answer.value - stored.value()).abs();
    let answer = made.answer(input, 0.0).map(off);
    answer.is_ok_and(|off| off <= SAME * stored.value().abs().max(1.0))
}

/// Whether what it adds itself is more than all that was stored, beyond rounding.
fn adds_more(made: &Conversion, input: f64, stored: Estimate) -> bool {
    let own = made.at(input).map(Estimate::uncertainty);
    own.is_ok_and(|own| own > stored.uncertainty() * (1.0 + SAME))
}

fn judged(wanted: &Conversion, made: Option<&Conversion>, input: f64, stored: Estimate) -> Outcome {
    let total = stored.uncertainty();
    let electrical = match made {
        Some(made) => made.electrical(input, total),
        None => wanted.through(input, total),
    };
    match electrical.and_then(|electrical| wanted.answer(input, electrical)) {
        Ok(answer) => answer.outcome(),
        Err(DriverError::OutOfRange) => Outcome::Fault(Quality::OutOfRange),
        Err(_) => Outcome::Fault(Quality::DriverFailed),
    }
}

/// Series of one probe that differ only in the calibration become one: it has no number of the log.
fn renamed(series: &Series, calibration: u32) -> Series {
    Series {
        id: 0,
        calibration,
        ..series.clone()
    }
}
