//! The temperature at which water boils under a pressure.
//!
//! Source: IAPWS R7-97(2012), "Revised Release on the IAPWS Industrial Formulation 1997", section 8,
//! equation 31 (the backward equation of region 4) with the coefficients of table 34; typed from
//! memory, and held against the release's verification values. Temperatures are on ITS-90. The
//! formulation itself is off the reference equation by no more than 0.3 mK between 50 and 110 kPa,
//! which counts for nothing here.

/// 0 °C in kelvin (SI Brochure, 9th edition, 2.3.1).
const ICE_POINT_K: f64 = 273.15;

/// Pascal to the formulation's megapascal.
const PASCAL_PER_MEGAPASCAL: f64 = 1e6;

/// Table 34 of the release, n1 to n10.
const N: [f64; 10] = [
    0.116_705_214_527_67e4,
    -0.724_213_167_032_06e6,
    -0.170_738_469_400_92e2,
    0.120_208_247_024_70e5,
    -0.323_255_503_223_33e7,
    0.149_151_086_135_30e2,
    -0.482_326_573_615_91e4,
    0.405_113_405_420_57e6,
    -0.238_555_575_678_49,
    0.650_175_348_447_98e3,
];

/// Step for the slope, Pa: a ten-thousandth of a kitchen's pressure, where rounding does not show.
const STEP: f64 = 10.0;

/// Degrees Celsius at which pure water boils at a pressure in Pa. Valid from 611.213 Pa to 22.064 MPa.
#[must_use]
pub fn saturation_temperature(pascal: f64) -> f64 {
    kelvin(pascal / PASCAL_PER_MEGAPASCAL) - ICE_POINT_K
}

/// Kelvin by which the boiling point rises for a pascal, at this pressure.
#[must_use]
pub fn saturation_slope(pascal: f64) -> f64 {
    let (above, below) = (pascal + STEP, pascal - STEP);
    (saturation_temperature(above) - saturation_temperature(below)) / (2.0 * STEP)
}

/// Equation 31; the names are the release's.
fn kelvin(megapascal: f64) -> f64 {
    let beta = megapascal.powf(0.25);
    let e = beta * beta + N[2] * beta + N[5];
    let f = N[0] * beta * beta + N[3] * beta + N[6];
    let g = N[1] * beta * beta + N[4] * beta + N[7];
    let d = 2.0 * g / (-f - (f * f - 4.0 * e * g).sqrt());
    let sum = N[9] + d;
    (sum - (sum * sum - 4.0 * (N[8] + N[9] * d)).sqrt()) / 2.0
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::calibrate::reference::rows;

    /// Equation 30, the other way round: shares the coefficients, and so proves them all.
    fn megapascal(kelvin: f64) -> f64 {
        let theta = kelvin + N[8] / (kelvin - N[9]);
        let a = theta * theta + N[0] * theta + N[1];
        let b = N[2] * theta * theta + N[3] * theta + N[4];
        let c = N[5] * theta * theta + N[6] * theta + N[7];
        (2.0 * c / (-b + (b * b - 4.0 * a * c).sqrt())).powi(4)
    }

    /// Source: tests/published/if97_region4_verification.csv (tables 35 and 36 of the release).
    #[test]
    fn the_releases_verification_values_come_out() {
        let table = include_str!("../../../tests/published/if97_region4_verification.csv");
        let mut checked = 0;
        for row in table.lines().filter(|row| row.starts_with(['p', 't'])) {
            let cells: Vec<&str> = row.split(',').collect();
            let (input, expected): (f64, f64) =
                (cells[1].parse().unwrap(), cells[2].parse().unwrap());
            let got = match cells[0] {
                "psat" => megapascal(input),
                _ => kelvin(input),
            };
            assert!((got / expected - 1.0).abs() < 5e-9, "{row}: {got}");
            checked += 1;
        }
        assert_eq!(checked, 6);
    }

    /// Source: tests/published/boiling_50_110_kpa.csv; print rounding is 0.02 mK, and the reference
    /// equation (IAPWS-95) differs by 0.23 mK at most.
    #[test]
    fn the_table_of_boiling_points_comes_out() {
        let table = rows(include_str!(
            "../../../tests/published/boiling_50_110_kpa.csv"
        ));
        assert_eq!(table.len(), 26);
        for row in table {
            let [pressure, formulation, reference] = row[..] else {
                panic!("three columns");
            };
            let got = saturation_temperature(pressure.unwrap() * 1000.0);
            assert!((got - formulation.unwrap()).abs() < 2e-5, "{pressure:?}");
            assert!((got - reference.unwrap()).abs() < 2.7e-4, "{pressure:?}");
        }
    }

    #[test]
    fn a_kilopascal_is_worth_about_a_quarter_kelvin_near_sea_level() {
        // Source: difference of the rows 100 and 102.5 kPa of the same table, over 2.5 kPa.
        let slope = saturation_slope(101_250.0) * 1000.0;
        assert!(
            (slope - (100.29766 - 99.60592) / 2.5).abs() < 1e-4,
            "{slope}"
        );
    }
}
