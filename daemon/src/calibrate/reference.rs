//! Reference values: what is true at a point, and how sure that is.
//!
//! Each kind of reference gives a [`Compared`], its uncertainty parted into what belongs to this one
//! point and what all points of the same reference share. Temperatures come in degrees Celsius;
//! [`in_unit`] turns them into the probe's unit. How to make a point well is `guide`, which one to make
//! next `suggest`, and why one looks wrong `likely_cause`. Nothing here knows what the probe read.

pub mod atmosphere;
mod boiling;
pub mod guide;
mod ice;
mod instrument;
pub mod likely_cause;
pub mod suggest;
pub mod water;

pub use boiling::{PRESSURES, StationPressure, boiling};
pub use ice::{BEST_ICE, ice, ice_within};
pub use instrument::{Instrument, Stated, instrument, known, resistor};

use super::point::Compared;
use crate::config::unit::{Dimension, Unit};

/// The water that ice, or a boiling pan, is made of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Water {
    /// Distilled or deionised.
    #[default]
    Distilled,
    /// From the tap: salts lower the melting point and raise the boiling point.
    Tap,
}

/// Why there is no reference value.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refused {
    /// A pressure that no kitchen has.
    #[error(
        "a station pressure of {} kPa is outside 50 to 110 kPa; give the pressure where the water \
         boils, with its unit, such as `99.2 kPa` or `992 hPa`",
        shortest(.pascal / 1000.0)
    )]
    Pressure {
        /// Pa.
        pascal: f64,
    },
    /// An altitude where the standard atmosphere is not used for it.
    #[error(
        "an altitude of {} m is outside -430 to 4000 m; give the station pressure that a barometer \
         shows there instead",
        shortest(*.metre)
    )]
    Altitude {
        /// Metres above the sea.
        metre: f64,
    },
    /// An uncertainty or a tolerance that is none.
    #[error("an uncertainty of {} is none; give a finite number above 0", shortest(*.uncertainty))]
    Uncertainty {
        /// As it was given.
        uncertainty: f64,
    },
    /// A value that is no finite number.
    #[error("the reference value is no finite number; give what the reference shows")]
    Value,
    /// A kitchen's ice point that claims to be a laboratory's.
    #[error(
        "an ice point made in a kitchen is no better than {BEST_ICE} Cel; give at least that, or a \
         laboratory's fixed point as a known value"
    )]
    TooGood,
    /// A temperature for a probe that measures something else.
    #[error(
        "it is a temperature, but the probe measures in `{unit}`; use an instrument or a known value"
    )]
    NoTemperature {
        /// UCUM code of the probe's unit.
        unit: String,
    },
}

/// Combined standard uncertainty of a reference value, in its unit (JCGM 100:2008, 5.1.2).
#[must_use]
pub fn combined(compared: &Compared) -> f64 {
    compared.own.hypot(compared.common)
}

/// A temperature in degrees Celsius as one in the probe's unit.
///
/// # Errors
/// `NoTemperature` where the unit measures something else.
pub fn in_unit(compared: Compared, unit: &Unit) -> Result<Compared, Refused> {
    let celsius = Unit::of("Cel");
    let no_temperature = || Refused::NoTemperature {
        unit: unit.code().to_owned(),
    };
    if unit.dimension() != Some(Dimension::Temperature) {
        return Err(no_temperature());
    }
    let difference = |of: f64| celsius.difference_in(of, unit).ok_or_else(no_temperature);
    Ok(Compared {
        value: celsius
            .value_in(compared.value, unit)
            .ok_or_else(no_temperature)?,
        own: difference(compared.own)?,
        common: difference(compared.common)?,
        ..compared
    })
}

/// A number that is finite and above zero.
fn uncertain(uncertainty: f64) -> Result<f64, Refused> {
    if uncertainty.is_finite() && uncertainty > 0.0 {
        Ok(uncertainty)
    } else {
        Err(Refused::Uncertainty { uncertainty })
    }
}

/// At most six digits, and no zeros at the end: what a message shows of a number.
fn shortest(number: f64) -> f64 {
    format!("{number:.5e}").parse().unwrap_or(number)
}

/// The rows of a published table: numbers, `None` for an empty cell.
#[cfg(test)]
fn rows(table: &str) -> Vec<Vec<Option<f64>>> {
    table
        .lines()
        .filter(|row| row.starts_with(|c: char| c.is_ascii_digit()))
        .map(|row| row.split(',').map(|cell| cell.parse().ok()).collect())
        .collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_temperature_follows_the_probes_unit() {
        let point = in_unit(ice(Water::Distilled), &Unit::of("[degF]")).unwrap();
        assert!((point.value - 32.0).abs() < 1e-9);
        let celsius = combined(&ice(Water::Distilled));
        assert!((combined(&point) - 1.8 * celsius).abs() < 1e-12);
        let kelvin = in_unit(ice(Water::Tap), &Unit::of("K")).unwrap();
        assert!((kelvin.value - 273.15).abs() < 1e-9);
    }

    #[test]
    fn refusals_say_what_to_do() {
        let lux = in_unit(ice(Water::Tap), &Unit::of("lx")).unwrap_err();
        insta::assert_snapshot!(lux, @"it is a temperature, but the probe measures in `lx`; use an instrument or a known value");
        insta::assert_snapshot!(Refused::Pressure { pascal: 1013.25 }, @"a station pressure of 1.01325 kPa is outside 50 to 110 kPa; give the pressure where the water boils, with its unit, such as `99.2 kPa` or `992 hPa`");
        insta::assert_snapshot!(Refused::Altitude { metre: 8848.0 }, @"an altitude of 8848 m is outside -430 to 4000 m; give the station pressure that a barometer shows there instead");
        insta::assert_snapshot!(Refused::Uncertainty { uncertainty: 0.0 }, @"an uncertainty of 0 is none; give a finite number above 0");
        insta::assert_snapshot!(Refused::TooGood, @"an ice point made in a kitchen is no better than 0.05 Cel; give at least that, or a laboratory's fixed point as a known value");
    }
}
