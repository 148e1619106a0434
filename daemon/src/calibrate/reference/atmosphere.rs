//! Pressure of the air at an altitude: of the standard atmosphere, and from what a weather service
//! prints.
//!
//! Source: ISO 2533:1975, clause 2 (the same numbers as ICAO Doc 7488 and the US Standard Atmosphere
//! 1976 below 20 km): 101325 Pa and 288.15 K at the sea, 6.5 K less for each 1000 m. The air of a given
//! day is not the standard's; how far off it may be is said as a standard uncertainty.

use super::Refused;
use std::ops::RangeInclusive;

/// Altitudes that are taken, m: from the shore of the Dead Sea to where people rarely cook.
pub const ALTITUDES: RangeInclusive<f64> = -430.0..=4000.0;

/// Standard deviation of the pressure at one place over a year in the middle latitudes, Pa. From
/// memory: 1.0 to 1.5 kPa, more in winter and near the poles, a third of it in the tropics.
pub const WEATHER: f64 = 1200.0;

/// How far the mean temperature of the air below a place may be off the standard atmosphere's, K, one
/// standard deviation. From memory: summer and winter of the middle latitudes.
const AIR: f64 = 10.0;

/// Pressure at the sea, Pa (ISO 2533, table 1).
const SEA_LEVEL: f64 = 101_325.0;
/// Temperature at the sea, K (the same).
const SEA_LEVEL_K: f64 = 288.15;
/// Kelvin less for each metre (ISO 2533, table 4).
const LAPSE: f64 = 0.0065;
/// Standard acceleration of free fall, m/s2 (ISO 2533, table 1).
const GRAVITY: f64 = 9.806_65;
/// Specific gas constant of air, J/(kg K) (ISO 2533, table 1).
const GAS: f64 = 287.052_87;
/// Nominal radius of the earth, m (ISO 2533, clause 2.3).
const RADIUS: f64 = 6_356_766.0;

/// Exponent of the pressure: g / (lapse rate x gas constant), 5.2559.
const EXPONENT: f64 = GRAVITY / (LAPSE * GAS);

/// Pressure of the standard atmosphere, Pa, at metres above the sea.
///
/// # Errors
/// `Altitude` outside [`ALTITUDES`].
pub fn standard_pressure(metre: f64) -> Result<f64, Refused> {
    Ok(at_geopotential(geopotential(metre)?))
}

/// Pressure at a place, Pa, with its standard uncertainty, from one that a weather service has reduced
/// to sea level. `uncertainty` is the standard uncertainty of the printed pressure, Pa.
///
/// Airfields reduce with the standard atmosphere (QNH), weather maps with the air of the day; the
/// difference between them is in the uncertainty.
///
/// # Errors
/// `Altitude` outside [`ALTITUDES`].
pub fn station_pressure(
    sea_level: f64,
    uncertainty: f64,
    metre: f64,
) -> Result<(f64, f64), Refused> {
    let height = geopotential(metre)?;
    let shift = at_geopotential(height) / SEA_LEVEL;
    let root = (sea_level / SEA_LEVEL).powf(1.0 / EXPONENT) - LAPSE * height / SEA_LEVEL_K;
    let station = SEA_LEVEL * root.max(0.0).powf(EXPONENT);
    // The weight of the air in between goes with the inverse of its temperature.
    let air = (sea_level - station) * AIR / SEA_LEVEL_K;
    Ok((station, (uncertainty * shift).hypot(air)))
}

/// ISO 2533, equation for the layer from -2 to 11 km.
fn at_geopotential(height: f64) -> f64 {
    SEA_LEVEL * (1.0 - LAPSE * height / SEA_LEVEL_K).powf(EXPONENT)
}

/// Altitudes of maps are geometric; the standard's equation wants geopotential ones.
fn geopotential(metre: f64) -> Result<f64, Refused> {
    if ALTITUDES.contains(&metre) {
        Ok(RADIUS * metre / (RADIUS + metre))
    } else {
        Err(Refused::Altitude { metre })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::calibrate::reference::rows;
    use crate::calibrate::reference::water::saturation_temperature;

    fn near(got: f64, expected: Option<f64>, within: f64) {
        if let Some(expected) = expected {
            assert!((got - expected).abs() <= within, "{got} {expected}");
        }
    }

    /// Source: tests/published/standard_atmosphere_0_4000m.csv: hPa computed to 0.001 and as printed in
    /// the standards (one unit of the last digit), boiling points to 1 mK.
    #[test]
    fn the_table_of_the_standard_atmosphere_comes_out() {
        let table = rows(include_str!(
            "../../../tests/published/standard_atmosphere_0_4000m.csv"
        ));
        assert_eq!(table.len(), 17);
        for row in table {
            let altitude = row[0].unwrap();
            let geopotential = at_geopotential(altitude);
            let geometric = standard_pressure(altitude).unwrap() / 100.0;
            near(geopotential / 100.0, row[1], 6e-4);
            near(geometric, row[2], 6e-4);
            near(geopotential / 100.0, row[3], 1.1e-3);
            near(geometric, row[4], 1.1e-2);
            near(saturation_temperature(geopotential), row[5], 1e-3);
        }
    }

    #[test]
    fn standard_pressure_at_the_sea_reduces_to_the_standard_atmosphere() {
        for metre in [-430.0, 0.0, 340.0, 4000.0] {
            let (station, _) = station_pressure(SEA_LEVEL, 0.0, metre).unwrap();
            assert!((station - standard_pressure(metre).unwrap()).abs() < 1e-6);
        }
    }

    /// Source: arithmetic on the tables: taking a pressure at sea level for that of a place at 500 m
    /// is wrong by 5.9 kPa, 1.6 K of the boiling point.
    #[test]
    fn sea_level_pressure_is_not_the_pressure_of_a_place() {
        let (station, uncertainty) = station_pressure(101_325.0, 100.0, 500.0).unwrap();
        assert!((101_325.0 - station - 5_864.0).abs() < 1.0, "{station}");
        // 5.9 kPa x 10 K / 288 K beside the printed pressure's 0.1 kPa.
        assert!((uncertainty - 224.0).abs() < 5.0, "{uncertainty}");
    }

    #[test]
    fn altitudes_beyond_use_are_refused() {
        for metre in [-431.0, 4001.0, f64::NAN, f64::INFINITY] {
            assert!(standard_pressure(metre).is_err(), "{metre}");
            assert!(station_pressure(101_325.0, 0.0, metre).is_err(), "{metre}");
        }
    }
}
