//! The boiling point at the pressure where the pan stands.
//!
//! The pressure comes from a barometer, from an altitude, or from a weather service and an altitude;
//! each says how sure it is, and so the boiling point is.

use super::atmosphere::{WEATHER, standard_pressure, station_pressure};
use super::water::{saturation_slope, saturation_temperature};
use super::{Refused, Water, uncertain};
use crate::calibrate::point::{Compared, Reference, Shape};
use std::ops::RangeInclusive;

/// Pressures that are taken, Pa.
pub const PRESSURES: RangeInclusive<f64> = 50_000.0..=110_000.0;

/// Half-width of what an altitude from a map or a phone may be off by, m (common practice).
const ALTITUDE: f64 = 20.0;
/// Pressure less for each metre near the sea, Pa (ISO 2533, table 5: 12.0); less of it higher up.
const FOR_EACH_METRE: f64 = 12.0;

/// The pressure of the air where the water boils.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StationPressure {
    pascal: f64,
    uncertainty: f64,
    shape: Shape,
    altitude: Option<f64>,
}

impl StationPressure {
    /// From a barometer on the spot: pressure and standard uncertainty in Pa.
    ///
    /// # Errors
    /// `Pressure` outside 50 to 110 kPa, `Uncertainty` where that is none.
    pub fn measured(pascal: f64, uncertainty: f64, shape: Shape) -> Result<Self, Refused> {
        Self::checked(pascal, uncertain(uncertainty)?, shape, None)
    }

    /// From the altitude alone, metres above the sea: the standard atmosphere, with a year's weather and
    /// an altitude that may be off by 20 m (rectangular; 12 Pa each) as standard uncertainty.
    ///
    /// # Errors
    /// `Altitude` outside -430 to 4000 m.
    pub fn at_altitude(metre: f64) -> Result<Self, Refused> {
        Self::checked(
            standard_pressure(metre)?,
            WEATHER.hypot(of_altitude()),
            Shape::Normal,
            Some(metre),
        )
    }

    /// From a pressure that was reduced to sea level, as weather services print it, and its standard
    /// uncertainty, both Pa, at metres above the sea, which may be off as in
    /// [`StationPressure::at_altitude`].
    ///
    /// # Errors
    /// `Altitude` outside -430 to 4000 m, `Pressure` where it is none of a place there, `Uncertainty`
    /// where that is none.
    pub fn reduced(sea_level: f64, uncertainty: f64, metre: f64) -> Result<Self, Refused> {
        let (pascal, uncertainty) = station_pressure(sea_level, uncertain(uncertainty)?, metre)?;
        Self::checked(
            pascal,
            uncertainty.hypot(of_altitude()),
            Shape::Normal,
            None,
        )
    }

    /// Pa.
    #[must_use]
    pub fn pascal(&self) -> f64 {
        self.pascal
    }

    /// Standard uncertainty, Pa.
    #[must_use]
    pub fn uncertainty(&self) -> f64 {
        self.uncertainty
    }

    fn checked(
        pascal: f64,
        uncertainty: f64,
        shape: Shape,
        altitude: Option<f64>,
    ) -> Result<Self, Refused> {
        if !PRESSURES.contains(&pascal) {
            return Err(Refused::Pressure { pascal });
        }
        Ok(Self {
            pascal,
            uncertainty,
            shape,
            altitude,
        })
    }
}

/// Standard uncertainty of the pressure by an altitude's own error, Pa (JCGM 100:2008, 4.3.7).
fn of_altitude() -> f64 {
    ALTITUDE * FOR_EACH_METRE / 3.0_f64.sqrt()
}

/// Water at a rolling boil, in °C.
///
/// The point's own uncertainty is for salts and superheating. The pressure's is common: the same
/// barometer, or the same altitude and weather, is behind every boiling point that it was taken from.
#[must_use]
pub fn boiling(pressure: &StationPressure, water: Water) -> Compared {
    Compared {
        reference: Reference::Boiling {
            pressure: pressure.pascal,
            pressure_uncertainty: pressure.uncertainty,
            altitude: pressure.altitude,
        },
        value: saturation_temperature(pressure.pascal),
        own: impurity(water),
        common: saturation_slope(pressure.pascal) * pressure.uncertainty,
        common_shape: pressure.shape,
    }
}

/// Salts and superheating, °C, one standard deviation (common practice: 0.05 to 0.1 °C).
fn impurity(water: Water) -> f64 {
    match water {
        Water::Distilled => 0.05,
        Water::Tap => 0.1,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_barometer_gives_a_better_boiling_point_than_an_altitude() {
        // Source: tests/published/boiling_50_110_kpa.csv, row 97.5 kPa.
        let measured = StationPressure::measured(97_500.0, 100.0, Shape::Normal).unwrap();
        let point = boiling(&measured, Water::Distilled);
        assert!((point.value - 98.89971).abs() < 2e-5);
        assert!((point.common - 0.0286).abs() < 5e-4, "{}", point.common);
        // Weather and 20 m of 12 Pa, rectangular: 1.2 kPa at some 0.28 K for a kilopascal.
        let guessed = boiling(
            &StationPressure::at_altitude(340.0).unwrap(),
            Water::Distilled,
        );
        assert!((0.3..0.4).contains(&guessed.common), "{}", guessed.common);
        let altitudes_own = guess_without_weather(340.0);
        assert!((altitudes_own - 138.6).abs() < 0.1, "{altitudes_own}");
        assert!(boiling(&measured, Water::Tap).own > point.own);
    }

    /// What is left of the standard uncertainty beside a year's weather, Pa.
    fn guess_without_weather(metre: f64) -> f64 {
        let whole = StationPressure::at_altitude(metre).unwrap().uncertainty();
        (whole.powi(2) - WEATHER.powi(2)).sqrt()
    }

    #[test]
    fn a_pressure_in_another_unit_or_at_another_place_is_refused() {
        for pascal in [1013.0, 49_999.0, 110_001.0, f64::NAN] {
            let refused = StationPressure::measured(pascal, 100.0, Shape::Normal);
            assert!(matches!(refused, Err(Refused::Pressure { .. })), "{pascal}");
        }
        assert!(StationPressure::measured(99_200.0, 0.0, Shape::Normal).is_err());
        assert!(StationPressure::reduced(101_300.0, 100.0, 5000.0).is_err());
        assert!(StationPressure::reduced(1013.0, 100.0, 340.0).is_err());
        assert!(StationPressure::at_altitude(4000.0).is_ok());
    }
}
