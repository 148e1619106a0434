//! Numbers in remarks to people: four digits, two for uncertainties, and the unit.
//!
//! Not for tables, nor for what is read back.

/// Digits of a value.
const DIGITS: f64 = 4.0;
/// Digits of an uncertainty, or of a ratio: more are never known (JCGM 100:2008, 7.2.6).
const ROUGH: f64 = 2.0;

/// Four significant digits, without zeros at the end: `99.6`, `0.0523`, `31770`.
pub(super) fn figure(number: f64) -> String {
    digits(number, DIGITS)
}

/// Two significant digits, for uncertainties and ratios.
pub(super) fn rough(number: f64) -> String {
    digits(number, ROUGH)
}

fn digits(number: f64, digits: f64) -> String {
    if number == 0.0 {
        return "0".to_owned();
    }
    // Saturates; an infinity or NaN is shown as such.
    let decimals = (digits - 1.0 - number.abs().log10().floor()).clamp(0.0, 9.0) as usize;
    let text = format!("{number:.decimals$}");
    let text = match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.'),
        false => &text,
    };
    if text == "-0" { "0" } else { text }.to_owned()
}

/// The same with its unit: `99.6 Cel`; a plain number for the unit `1`.
pub(super) fn quantity(number: f64, unit: &str) -> String {
    with_unit(figure(number), unit)
}

/// A number with its unit, to the decimal of the second digit of its uncertainty, zeros and all: `0.15
/// Cel` for 0.1483 that is known to 0.10.
pub(super) fn as_known(number: f64, uncertainty: f64, unit: &str) -> String {
    if !(uncertainty > 0.0 && uncertainty.is_finite()) {
        return quantity(number, unit);
    }
    // Saturates between 0 and 9.
    let decimals = (ROUGH - 1.0 - uncertainty.log10().floor()).clamp(0.0, 9.0) as usize;
    with_unit(format!("{number:.decimals$}"), unit)
}

/// An uncertainty with its unit.
pub(super) fn uncertainty(number: f64, unit: &str) -> String {
    with_unit(rough(number), unit)
}

fn with_unit(number: String, unit: &str) -> String {
    match unit {
        "1" | "" => number,
        unit => format!("{number} {unit}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_digits_are_shown() {
        for (number, text) in [
            (0.0, "0"),
            (99.6, "99.6"),
            (-0.052_31, "-0.05231"),
            (31_770.4, "31770"),
            (25.0, "25"),
            (1.999_96, "2"),
            (-1e-12, "0"),
            (f64::NAN, "NaN"),
        ] {
            assert_eq!(figure(number), text);
        }
        assert_eq!(rough(5.736), "5.7");
        assert_eq!(uncertainty(0.1415, "Cel"), "0.14 Cel");
        assert_eq!(as_known(0.148_3, 0.1, "Cel"), "0.15 Cel");
        assert_eq!(as_known(0.3, 0.1, "Cel"), "0.30 Cel");
        assert_eq!(as_known(0.3, 0.0, "Cel"), "0.3 Cel");
        assert_eq!(quantity(0.5, "1"), "0.5");
        assert_eq!(quantity(0.5, "Cel"), "0.5 Cel");
    }
}
