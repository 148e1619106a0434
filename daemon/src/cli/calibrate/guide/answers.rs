//! What people type of a reference, as numbers: `37.2 Cel`, `0.1 Cel, k = 2`, `1018 hPa at 340 m`.
//!
//! Reads text only; what follows from it is `calibrate::reference`'s.

use crate::calibrate::Shape;
use crate::calibrate::reference::{Refused, Stated, StationPressure, Water};
use crate::config::unit::Unit;
use crate::config::{Kind, read_quantity};

/// Coverage factors that certificates have: 68 % to far beyond 99.7 %.
const COVERAGE: std::ops::RangeInclusive<f64> = 1.0..=4.0;

/// A value in a unit; a bare number is in it.
pub(super) fn value(text: &str, unit: &Unit) -> Result<f64, String> {
    let example = format!("write it as `37.2 {}`", unit.code());
    if text.trim().is_empty() {
        return Err(format!("it is still missing; {example}"));
    }
    let value = read_quantity(text.trim(), unit, Kind::Value);
    value.map_err(|what| format!("{what}; {example}"))
}

/// A distance that is 0 or more; nothing is 0.
pub(super) fn step(text: &str, unit: &Unit) -> Result<f64, String> {
    if text.trim().is_empty() {
        return Ok(0.0);
    }
    spread(text, unit, 0.0)
}

/// What is stated of a value: `0.1 Cel, k = 2` as a certificate has it; `± 0.5 Cel`, `0.5 Cel` or
/// `2 %` as a data sheet has limits of error.
pub(super) fn stated(text: &str, unit: &Unit, value: f64) -> Result<Stated, String> {
    let Some((uncertainty, coverage)) = text.split_once('k') else {
        return Ok(Stated::Tolerance(spread(text, unit, value)?));
    };
    let coverage = coverage.trim().trim_start_matches('=').trim();
    let known = coverage
        .parse::<f64>()
        .ok()
        .filter(|it| COVERAGE.contains(it));
    let coverage = known.ok_or_else(|| {
        format!(
            "`k = {coverage}` is no coverage factor from 1 to 4; write `0.1 {}, k = 2`",
            unit.code()
        )
    })?;
    let uncertainty = uncertainty.trim().trim_end_matches([',', ';', '(']);
    Ok(Stated::Expanded {
        uncertainty: spread(uncertainty, unit, value)?,
        coverage,
    })
}

/// What [`stated`] reads as the same.
pub(super) fn shown(common: f64, shape: Shape, unit: &str) -> String {
    let short = |number: f64| format!("{number:.3e}").parse::<f64>().unwrap_or(number);
    match shape {
        Shape::Normal => format!("{} {unit}, k = 2", short(2.0 * common)),
        Shape::Rectangular => format!("± {} {unit}", short(common * 3.0_f64.sqrt())),
    }
}

fn spread(text: &str, unit: &Unit, value: f64) -> Result<f64, String> {
    let number = text
        .trim()
        .trim_start_matches("+-")
        .trim_start_matches("+/-");
    let number = number.trim_start_matches('±').trim();
    let example = || {
        let unit = unit.code();
        format!("write limits of error as `± 0.5 {unit}`, a certificate's as `0.1 {unit}, k = 2`")
    };
    if number.is_empty() {
        return Err(format!("it is not said how good it is; {}", example()));
    }
    let read = match number.strip_suffix('%') {
        Some(share) => {
            let share = share.trim().parse::<f64>();
            share
                .map(|share| share / 100.0 * value.abs())
                .map_err(|_| format!("`{text}` is no share"))
        }
        None => read_quantity(number, unit, Kind::Difference),
    };
    let read = read.map_err(|what| format!("{what}; {}", example()))?;
    if read.is_finite() && read > 0.0 {
        return Ok(read);
    }
    Err(format!("`{text}` is not above 0; {}", example()))
}

/// Distilled or from the tap.
pub(super) fn water(text: &str) -> Result<Water, String> {
    match text.trim() {
        "distilled" | "d" => Ok(Water::Distilled),
        "tap" | "t" => Ok(Water::Tap),
        other => Err(format!(
            "`{other}` is neither `distilled` nor `tap`; write one of them"
        )),
    }
}

/// The pressure of the air: `340 m`, `972 hPa`, or `1018 hPa at 340 m` of a weather report.
pub(super) fn pressure(text: &str, barometer: &str) -> Result<StationPressure, String> {
    let pascal = |text: &str| {
        let example =
            "write `340 m`, `972 hPa` as a barometer shows it here, or `1018 hPa at 340 m`";
        if text.trim().chars().all(|it| !it.is_alphabetic()) {
            return Err(format!("`{}` says no unit; {example}", text.trim()));
        }
        let read = read_quantity(text.trim(), &Unit::of("Pa"), Kind::Value);
        read.map_err(|what| format!("{what}; {example}"))
    };
    let within = || Ok::<_, String>(spread(barometer, &Unit::of("Pa"), 0.0)? / 3.0_f64.sqrt());
    if let Some(metre) = metres(text) {
        return StationPressure::at_altitude(metre).map_err(|refused| refused.to_string());
    }
    let made = match text.split_once(" at ") {
        Some((sea_level, altitude)) => {
            let metre = metres(altitude).ok_or_else(|| {
                format!(
                    "`{}` is no altitude; write `1018 hPa at 340 m`",
                    altitude.trim()
                )
            })?;
            StationPressure::reduced(pascal(sea_level)?, within()?, metre)
        }
        None => StationPressure::measured(pascal(text)?, within()?, Shape::Rectangular),
    };
    made.map_err(|refused: Refused| refused.to_string())
}

fn metres(text: &str) -> Option<f64> {
    text.trim().strip_suffix('m')?.trim().parse().ok()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn celsius() -> Unit {
        Unit::of("Cel")
    }

    #[test]
    fn a_certificate_and_a_data_sheet_are_told_apart() {
        let expanded = Stated::Expanded {
            uncertainty: 0.1,
            coverage: 2.0,
        };
        for text in ["0.1 Cel, k = 2", "0.1 Cel k=2", "0.1, k = 2"] {
            assert_eq!(stated(text, &celsius(), 40.0), Ok(expanded), "{text}");
        }
        for text in ["± 0.5 Cel", "+-0.5 Cel", "+/- 0.5", "0.5 Cel", "1.25 %"] {
            let limits = stated(text, &celsius(), 40.0);
            assert_eq!(limits, Ok(Stated::Tolerance(0.5)), "{text}");
        }
    }

    #[test]
    fn what_is_remembered_reads_as_the_same() {
        for (common, shape) in [
            (0.05, Shape::Normal),
            (0.5 / 3.0_f64.sqrt(), Shape::Rectangular),
        ] {
            let text = shown(common, shape, "Cel");
            let (standard, read) = stated(&text, &celsius(), 0.0).unwrap().standard().unwrap();
            assert!(
                (standard - common).abs() < 1e-3 * common && read == shape,
                "{text}"
            );
        }
    }

    #[test]
    fn air_comes_as_altitude_as_barometer_and_as_weather_report() {
        // Source: ICAO standard atmosphere, 340 m: 973.1 hPa (from memory).
        for (text, hectopascal) in [
            ("340 m", 973.1),
            ("972 hPa", 972.0),
            ("1013.25 hPa at 340 m", 973.1),
        ] {
            let got = pressure(text, "2 hPa").unwrap().pascal() / 100.0;
            assert!((got - hectopascal).abs() < 1.0, "{text}: {got}");
        }
        insta::assert_snapshot!(pressure("972", "2 hPa").unwrap_err(), @"`972` says no unit; write `340 m`, `972 hPa` as a barometer shows it here, or `1018 hPa at 340 m`");
    }

    proptest! {
        #[test]
        fn any_text_is_survived(text in ".{0,40}") {
            let _ = (value(&text, &celsius()), step(&text, &celsius()), water(&text));
            let _ = (stated(&text, &celsius(), 20.0), pressure(&text, "2 hPa"));
        }
    }
}
