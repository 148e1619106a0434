//! Why a point that has settled may still be wrong: the likely causes, before it is taken.
//!
//! Settled is not right: still water under floating ice settles beautifully at 4 °C. What is compared
//! here is the reference and what the probe's nominal curve says; whether to take the point is the
//! person's business. Causes are common practice, the likeliest first.

use super::combined;
use super::guide::Kind;
use crate::calibrate::point::{Compared, Reference};
use crate::config::unit::Unit;

/// A point that disagrees with the probe's nominal curve.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubt {
    /// Value by the nominal curve less the reference, in the probe's unit.
    pub difference: f64,
    /// What is wrong, with numbers.
    pub what: String,
    /// What may be behind it, the likeliest first; each a sentence with what to do.
    pub causes: Vec<&'static str>,
}

/// The doubt about a settled point, where the nominal curve's value is further from the reference than
/// its `tolerance` allows (all in the probe's `unit`, a UCUM code; ohm for a known resistor). The
/// reference's own expanded uncertainty (k = 2) is allowed on top.
#[must_use]
pub fn doubt(compared: &Compared, nominal: f64, tolerance: f64, unit: &str) -> Option<Doubt> {
    let difference = nominal - compared.value;
    if difference.abs() <= tolerance + 2.0 * combined(compared) {
        return None;
    }
    let kind = Kind::of(&compared.reference, unit);
    let unit = if kind == Kind::Resistor { "Ohm" } else { unit };
    Some(Doubt {
        difference,
        what: format!(
            "settled, but by its nominal curve the probe reads {} {unit}, and the {} is {} {unit}; \
             the curve may be off by {} {unit}",
            short(nominal),
            kind.words(),
            short(compared.value),
            short(tolerance),
        ),
        causes: causes(kind, &compared.reference, difference, unit),
    })
}

/// What is behind it where every point is off the same way: reference values and the nominal curve's
/// values, each pair further apart than `tolerance`.
#[must_use]
pub fn all_the_same_way(pairs: &[(f64, f64)], tolerance: f64) -> Option<&'static str> {
    let above = |(reference, nominal): &(f64, f64)| nominal - reference > tolerance;
    let below = |(reference, nominal): &(f64, f64)| reference - nominal > tolerance;
    let same = pairs.len() >= 2 && (pairs.iter().all(above) || pairs.iter().all(below));
    same.then_some(
        "every point is off the same way: the divider's resistor or the probe's nominal resistance \
         (`r0`) is probably another than configured; measure the resistor, and check the probe's type",
    )
}

fn causes(kind: Kind, reference: &Reference, difference: f64, unit: &str) -> Vec<&'static str> {
    let above = difference > 0.0;
    match kind {
        Kind::Ice => ice(in_kelvin(difference, unit)).to_vec(),
        Kind::Boiling => boiling(in_kelvin(difference, unit), reference),
        Kind::Thermometer if above => vec![
            "the thermometer lags behind, or hangs in a cooler layer: stir, bind both together, wait",
            "the current warms the probe itself: use water, or a larger divider resistor",
            WRONG_PART,
        ],
        Kind::Thermometer => vec![
            "the probe hangs in a cooler layer, or its lead carries heat away: stir, immerse deeper",
            "the probe lags behind: its sleeve or bag takes time; wait",
            WRONG_PART,
        ],
        Kind::LightMeter => light(above).to_vec(),
        Kind::Known => vec![
            "the probe is not where the value is known: bring it closer, wait",
            WRONG_PART,
        ],
        Kind::Resistor => vec![
            "the divider's resistor is another than configured: measure it, correct `resistor`",
            "a probe or a finger is still across the terminals: take it off",
            "the resistor put in is another than said: read its rings again, or measure it",
        ],
    }
}

const WRONG_PART: &str =
    "the divider's resistor or the probe's nominal curve is another than configured: check both";

/// Water is densest at 4 °C, and sinks: what lies under floating ice is up to 4 °C warm.
fn ice(kelvin: f64) -> [&'static str; 3] {
    let still = "still water under floating ice is at up to 4 Cel: fill with ice to the bottom, pour \
                 off the water, stir";
    let shallow =
        "the tip touches the glass, or is not deep enough: hold it in the middle, immerse deeper";
    let salt = "there is salt in the ice or on the probe: rinse, use distilled water";
    match kelvin {
        k if k < 0.0 => [
            salt,
            "the ice comes from a freezer and is not wet yet: add water until it shines",
            WRONG_PART,
        ],
        k if k <= 5.0 => [still, shallow, WRONG_PART],
        _ => [shallow, still, WRONG_PART],
    }
}

fn boiling(kelvin: f64, reference: &Reference) -> Vec<&'static str> {
    if kelvin > 0.0 {
        return vec![
            "the tip touches the bottom of the pan: hold it in the middle",
            "there is salt in the water: use distilled water",
            "the pressure is too low: give the station pressure, and check its unit",
            WRONG_PART,
        ];
    }
    let pressure = match reference {
        Reference::Boiling {
            altitude: Some(_), ..
        } => "the altitude is too low, or a storm passes: give the pressure that a barometer shows",
        _ => "the pressure was reduced to sea level: give the altitude with it, or a barometer's",
    };
    vec![
        "the tip is in the steam or not deep enough: hold it under water, immerse deeper",
        "the water does not boil yet where the tip is: wait for a rolling boil",
        pressure,
        WRONG_PART,
    ]
}

fn light(above: bool) -> [&'static str; 3] {
    if above {
        return [
            "the meter is in a shadow, or faces another way: put both side by side",
            "the cell was in the dark before, and still takes light for more: wait ten minutes",
            "the divider's resistor or `r10` is another than configured: check both",
        ];
    }
    [
        "a hand or a head throws a shadow on the cell: step back",
        "the lamp flickers at mains frequency: use a steady one, or a longer mean",
        "the cell was in bright light before, and still takes it for less: wait ten minutes",
    ]
}

/// A difference in kelvin; as it is where the unit is no temperature.
fn in_kelvin(difference: f64, unit: &str) -> f64 {
    let kelvin = Unit::of(unit).difference_in(difference, &Unit::of("K"));
    kelvin.unwrap_or(difference)
}

/// Two decimals below a hundred, whole above.
fn short(number: f64) -> String {
    let decimals = if number.abs() < 100.0 { 2 } else { 0 };
    format!("{number:.decimals$}")
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::calibrate::reference::{self, Instrument, Stated, StationPressure, Water};

    fn shown(compared: &Compared, nominal: f64, tolerance: f64, unit: &str) -> String {
        let doubt = doubt(compared, nominal, tolerance, unit).unwrap();
        format!("{}\n{}", doubt.what, doubt.causes.join("\n"))
    }

    fn beside(reading: f64) -> Compared {
        reference::instrument(Instrument {
            name: "k".to_owned(),
            reading,
            stated: Stated::Tolerance(0.5),
            resolution: 0.1,
            reading_uncertainty: 0.0,
        })
        .unwrap()
    }

    #[test]
    fn four_degrees_in_ice_are_the_water_under_it() {
        insta::assert_snapshot!(shown(&reference::ice(Water::Distilled), 3.94, 0.5, "Cel"), @"
        settled, but by its nominal curve the probe reads 3.94 Cel, and the ice point is 0.00 Cel; the curve may be off by 0.50 Cel
        still water under floating ice is at up to 4 Cel: fill with ice to the bottom, pour off the water, stir
        the tip touches the glass, or is not deep enough: hold it in the middle, immerse deeper
        the divider's resistor or the probe's nominal curve is another than configured: check both
        ");
    }

    #[test]
    fn boiling_that_reads_low_is_steam_or_altitude() {
        let pressure = StationPressure::at_altitude(340.0).unwrap();
        let point = reference::boiling(&pressure, Water::Distilled);
        insta::assert_snapshot!(shown(&point, 96.1, 0.5, "Cel"), @"
        settled, but by its nominal curve the probe reads 96.10 Cel, and the boiling water is 98.84 Cel; the curve may be off by 0.50 Cel
        the tip is in the steam or not deep enough: hold it under water, immerse deeper
        the water does not boil yet where the tip is: wait for a rolling boil
        the altitude is too low, or a storm passes: give the pressure that a barometer shows
        the divider's resistor or the probe's nominal curve is another than configured: check both
        ");
    }

    #[test]
    fn too_little_light_is_a_shadow_first() {
        let doubt = doubt(&beside(200.0), 90.0, 50.0, "lx").unwrap();
        assert!(doubt.causes[0].contains("shadow on the cell"));
    }

    #[test]
    fn within_tolerance_and_reference_there_is_no_doubt() {
        // The tolerance of 0.5 Cel, and twice the 0.29 Cel of the thermometer.
        assert_eq!(doubt(&beside(40.0), 41.0, 0.5, "Cel"), None);
        assert!(doubt(&beside(40.0), 41.2, 0.5, "Cel").is_some());
        // Six times the ice point's own uncertainty.
        assert!(doubt(&reference::ice(Water::Distilled), -0.3, 0.1, "Cel").is_some());
    }

    #[test]
    fn every_point_off_the_same_way_accuses_the_resistor() {
        let high = [(0.0, 1.2), (40.0, 41.5)];
        assert!(all_the_same_way(&high, 0.5).unwrap().contains("`r0`"));
        assert!(all_the_same_way(&high[..1], 0.5).is_none());
        assert!(all_the_same_way(&[(0.0, 1.2), (40.0, 38.0)], 0.5).is_none());
    }
}
