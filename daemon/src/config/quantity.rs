//! Numbers with a unit as people write them: `10 kOhm`, `68 Cel`, `1.8 [degF]`, `90s`, `10 MiB`.
//!
//! Reads text; which key it stands at, and what range makes sense there, is not known here.

use super::hint;
use super::problem::Fault;
use super::unit::{Unit, meant};
use std::ops::RangeInclusive;
use std::time::Duration;

/// Whether a number is a place on the scale or a distance on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    /// A value: zero points count (0 Cel is 273.15 K).
    Value,
    /// A difference: they do not (1 Cel is 1 K).
    Difference,
}

/// The number in `target`'s unit; what is proposed instead of a faulty one lies in `range`.
pub(super) fn quantity(
    text: &str,
    target: &Unit,
    kind: Kind,
    range: &RangeInclusive<f64>,
) -> Result<f64, Fault> {
    read(text, target, kind)
        .map_err(|what| Fault::new(what, hint::quantity(text, target, kind, range)))
}

/// The number in `target`'s unit, or what is wrong.
pub(crate) fn read(text: &str, target: &Unit, kind: Kind) -> Result<f64, String> {
    let (number, code) = split(text)?;
    if code.is_empty() {
        return Ok(number);
    }
    let unit = Unit::of(code);
    let converted = match kind {
        Kind::Value => unit.value_in(number, target),
        Kind::Difference => unit.difference_in(number, target),
    };
    converted
        .filter(|value| value.is_finite())
        .map(|value| {
            if unit == *target {
                value
            } else {
                rounded(value)
            }
        })
        .ok_or_else(|| wrong_unit(text, &unit, target))
}

/// To twelve digits: 68 [degF] is 20 Cel, not 20.000000000000007, and nobody writes more digits.
fn rounded(value: f64) -> f64 {
    format!("{value:.11e}").parse().unwrap_or(value)
}

/// A duration: `90s`, `1.5h`, `2m30s`, `500 ms`.
pub(crate) fn duration(text: &str) -> Result<Duration, Fault> {
    let seconds = sum(text, DURATION_EXAMPLE, |unit| {
        Some(match unit {
            "ms" => 1e-3,
            "s" => 1.0,
            "m" | "min" => 60.0,
            "h" => 3600.0,
            "d" => 86_400.0,
            _ => return None,
        })
    })?;
    seconds_to_duration(seconds)
}

/// A duration from a plain number of seconds.
pub(super) fn seconds_to_duration(seconds: f64) -> Result<Duration, Fault> {
    Duration::try_from_secs_f64(seconds)
        .map_err(|_| Fault::new(format!("`{seconds}` s is no duration"), DURATION_EXAMPLE))
}

/// A size in bytes: `10 MiB`, `500 kB`, `4096`.
pub(super) fn size(text: &str) -> Result<u64, Fault> {
    let bytes = sum(text, SIZE_EXAMPLE, |unit| {
        Some(match unit {
            "" | "B" => 1.0,
            "kB" => 1e3,
            "MB" => 1e6,
            "GB" => 1e9,
            "KiB" => 1024.0,
            "MiB" => 1_048_576.0,
            "GiB" => 1_073_741_824.0,
            _ => return None,
        })
    })?;
    whole_bytes(bytes)
}

const DURATION_EXAMPLE: &str =
    "write a number with ms, s, m, h or d: `\"90s\"`, `\"1.5h\"`, `\"2m30s\"`";
const SIZE_EXAMPLE: &str = "write a number with B, kB, MB, KiB, MiB or GiB: `\"10 MiB\"`";

/// Largest number that every f64 below it represents to the unit (2^53).
const LARGEST_WHOLE: f64 = 9_007_199_254_740_992.0;

fn whole_bytes(bytes: f64) -> Result<u64, Fault> {
    if !(0.0..=LARGEST_WHOLE).contains(&bytes) {
        return Err(Fault::new(
            format!("`{bytes}` bytes is no size"),
            SIZE_EXAMPLE,
        ));
    }
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "checked to be between 0 and 2^53"
    )]
    Ok(bytes.round() as u64)
}

/// Adds up parts such as `2m30s`, each a number and a unit.
fn sum(text: &str, example: &str, factor: impl Fn(&str) -> Option<f64>) -> Result<f64, Fault> {
    let mut rest = text.trim();
    let mut total = 0.0;
    loop {
        let (number, after) = number(rest).map_err(|()| Fault::new(no_number(text), example))?;
        let after = after.trim_start();
        let end = after
            .find(|c: char| !c.is_alphabetic())
            .unwrap_or(after.len());
        let (unit, next) = after.split_at(end);
        let factor = factor(unit).ok_or_else(|| unknown_unit(text, unit, example))?;
        total += number * factor;
        rest = next.trim_start();
        if rest.is_empty() {
            return Ok(total);
        }
    }
}

fn split(text: &str) -> Result<(f64, &str), String> {
    let (number, rest) = number(text.trim()).map_err(|()| no_number(text))?;
    Ok((number, rest.trim()))
}

/// The number at the start of a text, and the rest.
fn number(text: &str) -> Result<(f64, &str), ()> {
    let mut end = digits(text, usize::from(text.starts_with(['+', '-'])));
    if text[end..].starts_with('.') {
        end = digits(text, end + 1);
    }
    if text[end..].starts_with(['e', 'E']) {
        let sign = end + 1 + usize::from(text[end + 1..].starts_with(['+', '-']));
        let exponent = digits(text, sign);
        end = if exponent > sign { exponent } else { end };
    }
    let number: f64 = text[..end].parse().map_err(|_| ())?;
    // A comma right after it is a decimal comma, and what was read is not what was meant.
    if !number.is_finite() || text[end..].starts_with(',') {
        return Err(());
    }
    Ok((number, &text[end..]))
}

/// Where the digits that begin at `from` end.
fn digits(text: &str, from: usize) -> usize {
    let rest = &text.as_bytes()[from..];
    from + rest.iter().take_while(|byte| byte.is_ascii_digit()).count()
}

fn no_number(text: &str) -> String {
    if text.contains(',') {
        return format!(
            "the number in `{text}` has a comma (the decimal mark is a point, thousands have none)"
        );
    }
    format!("`{text}` does not begin with a number")
}

fn unknown_unit(text: &str, unit: &str, example: &str) -> Fault {
    let what = match unit {
        "" => format!("`{text}` has no unit"),
        unit => format!("unknown unit `{unit}` in `{text}`"),
    };
    Fault::new(what, example)
}

fn wrong_unit(text: &str, unit: &Unit, target: &Unit) -> String {
    let code = unit.code();
    let wanted = match target.dimension() {
        Some(dimension) => format!("{} in `{}`", dimension.words(), target.code()),
        None => format!("a number in `{}`", target.code()),
    };
    match (unit.dimension(), meant(code)) {
        (Some(dimension), _) => {
            format!("`{text}` is {}, but {wanted} is wanted", dimension.words())
        }
        (None, Some(_)) => format!("`{code}` is not the UCUM code that you mean"),
        (None, None) => format!("unknown unit `{code}`, but {wanted} is wanted"),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use proptest::prelude::*;

    fn in_unit(text: &str, unit: &str) -> Result<f64, String> {
        quantity(text, &Unit::of(unit), Kind::Value, &hint::ANY)
            .map_err(|fault| format!("{}; {}", fault.what, fault.right))
    }

    #[test]
    fn quantities_are_read_in_the_unit_that_is_wanted() {
        for (text, unit, expected) in [
            ("10 kOhm", "Ohm", 10_000.0),
            ("10kΩ", "Ohm", 10_000.0),
            ("4.7e3", "Ohm", 4700.0),
            ("1e3 Ohm", "Ohm", 1000.0),
            ("3300 mV", "V", 3.3),
            ("298.15 K", "Cel", 25.0),
            ("32 [degF]", "Cel", 0.0),
            ("212 °F", "Cel", 100.0),
            ("-5 °C", "Cel", -5.0),
            ("40 %", "1", 0.4),
            ("3950 K", "K", 3950.0),
            ("+7 mol/L", "mol/L", 7.0),
        ] {
            let got = in_unit(text, unit).unwrap();
            assert!((got - expected).abs() < 1e-9, "{text}: {got}");
        }
    }

    #[test]
    fn a_deadband_is_a_difference() {
        for (text, expected) in [
            ("1 K", 1.0),
            ("1.8 [degF]", 1.0),
            ("0.5 Cel", 0.5),
            ("2", 2.0),
        ] {
            let got = read(text, &Unit::of("Cel"), Kind::Difference).unwrap();
            assert!((got - expected).abs() < 1e-12, "{text}: {got}");
        }
    }

    #[test]
    fn refusals_say_what_is_wanted() {
        insta::assert_snapshot!(in_unit("68 lx", "Cel").unwrap_err(), @r#"`68 lx` is an illuminance, but a temperature in `Cel` is wanted; write a number with a unit: `"20 Cel"`"#);
        insta::assert_snapshot!(in_unit("68 C", "Cel").unwrap_err(), @r#"`C` is not the UCUM code that you mean; write `"68 Cel"`"#);
        insta::assert_snapshot!(in_unit("0,5 Cel", "Cel").unwrap_err(), @r#"the number in `0,5 Cel` has a comma (the decimal mark is a point, thousands have none); write `"0.5 Cel"`"#);
        insta::assert_snapshot!(in_unit("warm", "Cel").unwrap_err(), @r#"`warm` does not begin with a number; write a number with a unit: `"20 Cel"`"#);
        insta::assert_snapshot!(in_unit("5 apples", "1").unwrap_err(), @"unknown unit `apples`, but a plain number in `1` is wanted; write a plain number");
    }

    #[test]
    fn durations_add_up() {
        for (text, milliseconds) in [
            ("90s", 90_000),
            ("1.5h", 5_400_000),
            ("2m30s", 150_000),
            ("2 min 30 s", 150_000),
            ("500ms", 500),
            ("1d", 86_400_000),
            (" 10 s ", 10_000),
        ] {
            assert_eq!(duration(text).unwrap().as_millis(), milliseconds, "{text}");
        }
        for text in ["", "s", "10", "10 parsec", "-5s", "1e300d", "1s,2s", "5s!"] {
            assert!(duration(text).is_err(), "{text}");
        }
    }

    #[test]
    fn sizes_are_decimal_or_binary_as_written() {
        for (text, bytes) in [
            ("10 MiB", 10_485_760),
            ("500 kB", 500_000),
            ("1.5 KiB", 1536),
            ("4096", 4096),
        ] {
            assert_eq!(size(text).unwrap(), bytes, "{text}");
        }
        for text in ["", "MiB", "10 miles", "-1 B", "1e300"] {
            assert!(size(text).is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn no_text_panics(text in "\\PC{0,12}|[0-9eE.+\\-, a-zA-Z°Ω]{0,12}") {
            let _ = in_unit(&text, "Cel");
            let _ = duration(&text);
            let _ = size(&text);
        }

        #[test]
        fn a_written_number_comes_back(value in proptest::num::f64::NORMAL) {
            prop_assert_eq!(in_unit(&format!("{value:e} Cel"), "Cel"), Ok(value));
            prop_assert_eq!(in_unit(&format!("{value} Cel"), "Cel"), Ok(value));
        }
    }
}
