//! Numbers as a certificate gives them: an uncertainty with two digits, a value with as many decimals
//! (JCGM 100:2008, 7.2.6).

/// Digits of an uncertainty.
const DIGITS: i32 = 2;
/// Decimals beyond which a number is written with a power of ten.
const MOST_DECIMALS: i32 = 6;
/// From here on, too.
const LARGEST_PLAIN: f64 = 1e7;

/// A value and its uncertainty, to the same decimals.
pub(super) fn pair(value: f64, uncertainty: f64) -> (String, String) {
    (to(value, uncertainty), alone(uncertainty))
}

/// An uncertainty by itself.
pub(super) fn alone(uncertainty: f64) -> String {
    to(uncertainty, uncertainty)
}

/// A value with the decimals of its uncertainty; all its digits, up to nine, where that is none.
pub(super) fn to(value: f64, uncertainty: f64) -> String {
    if !value.is_finite() {
        return "unknown".to_owned();
    }
    let uncertainty = uncertainty.abs();
    if !(uncertainty.is_finite() && uncertainty > 0.0) {
        return digits(value, 9);
    }
    let decimals = DIGITS - 1 - exponent(uncertainty);
    if value == 0.0 && decimals > MOST_DECIMALS {
        return "0".to_owned();
    }
    if decimals > MOST_DECIMALS || value.abs() >= LARGEST_PLAIN {
        return scientific(value, exponent(value) + decimals);
    }
    if decimals >= 0 {
        return unsigned_zero(format!("{value:.*}", decimals.unsigned_abs() as usize));
    }
    let step = 10_f64.powi(-decimals);
    unsigned_zero(format!("{:.0}", (value / step).round() * step))
}

/// A value with at most so many digits, and no zeros at its end.
pub(super) fn digits(value: f64, most: i32) -> String {
    if !value.is_finite() {
        return "unknown".to_owned();
    }
    let places = (most - 1).max(0).unsigned_abs() as usize;
    let rounded: f64 = format!("{value:.places$e}").parse().unwrap_or(value);
    let plain = rounded == 0.0 || (1e-4..LARGEST_PLAIN).contains(&rounded.abs());
    unsigned_zero(if plain {
        rounded.to_string()
    } else {
        format!("{rounded:e}")
    })
}

/// A value with one decimal.
pub(super) fn tenths(value: f64) -> String {
    if value.is_finite() {
        unsigned_zero(format!("{value:.1}"))
    } else {
        "unknown".to_owned()
    }
}

/// `1.23e-4` with so many decimals.
fn scientific(value: f64, decimals: i32) -> String {
    let places = decimals.clamp(0, 16).unsigned_abs() as usize;
    format!("{value:.places$e}")
}

/// Power of ten of the first digit, after rounding to [`DIGITS`]: 0.0999 counts as 0.10.
fn exponent(number: f64) -> i32 {
    let written = format!("{number:.1e}");
    let power = written.split('e').nth(1);
    power.and_then(|power| power.parse().ok()).unwrap_or(0)
}

fn unsigned_zero(text: String) -> String {
    let zero = text.trim_start_matches(['-', '0', '.']).is_empty();
    if zero {
        text.trim_start_matches('-').to_owned()
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_value_has_the_decimals_of_its_uncertainty() {
        for (value, uncertainty, expected) in [
            (25.123_45, 0.0537, ("25.123", "0.054")),
            (25.123_45, 0.0999, ("25.12", "0.10")),
            (32_554.31, 41.7, ("32554", "42")),
            (32_554.31, 417.0, ("32550", "420")),
            (1.129_148e-3, 2.14e-7, ("1.12915e-3", "2.1e-7")),
            (-0.0001, 0.05, ("0.000", "0.050")),
            (0.0, 3e-9, ("0", "3.0e-9")),
        ] {
            let (shown, its) = pair(value, uncertainty);
            assert_eq!((shown.as_str(), its.as_str()), expected);
        }
    }

    #[test]
    fn without_an_uncertainty_digits_are_kept() {
        assert_eq!(to(10_000.0, 0.0), "10000");
        assert_eq!(to(0.000_234_125, f64::NAN), "0.000234125");
        assert_eq!(to(f64::NAN, 1.0), "unknown");
        assert_eq!(digits(8.767_41e-8, 4), "8.767e-8");
        assert_eq!(digits(-0.0, 4), "0");
    }

    proptest! {
        #[test]
        fn no_number_panics_and_each_is_short(value in any::<f64>(), uncertainty in any::<f64>()) {
            let (shown, its) = pair(value, uncertainty);
            prop_assert!(shown.len() < 40 && its.len() < 40, "{} {}", shown, its);
        }
    }
}
