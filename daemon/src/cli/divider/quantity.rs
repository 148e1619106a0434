//! Numbers with units as they are typed behind an option: `10kOhm`, `0Cel`, `1.5mW/K`.
//!
//! The units are those of the configuration; a number alone is taken in the unit that is asked for.

use crate::config::unit::{Unit, meant};

/// The number in this unit (UCUM code, `1` for a plain number), or what is wrong and what would be
/// right.
pub(super) fn read(text: &str, wanted: &str) -> Result<f64, String> {
    let (number, code) = split(text)?;
    if code.is_empty() {
        return Ok(number);
    }
    let value = Unit::of(code).value_in(number, &Unit::of(wanted));
    value
        .filter(|value| value.is_finite())
        .ok_or_else(|| wrong_unit(code, wanted))
}

/// Watt per kelvin, from `1.5mW/K`: no unit of the configuration is a quotient.
pub(super) fn dissipation(text: &str) -> Result<f64, String> {
    let (number, code) = split(text)?;
    let scale = match code {
        "W/K" => 1.0,
        "mW/K" | "mW/Cel" | "mW/°C" => 1e-3,
        "uW/K" => 1e-6,
        _ => {
            return Err(format!(
                "`{text}` is no dissipation constant; write it as `1.5mW/K`"
            ));
        }
    };
    let watt = number * scale;
    if watt > 0.0 && watt.is_finite() {
        Ok(watt)
    } else {
        Err("a dissipation constant is more than 0; a bead in air has about 1.5 mW/K".to_owned())
    }
}

/// The longest number that the text begins with, and the rest.
fn split(text: &str) -> Result<(f64, &str), String> {
    let text = text.trim();
    let ends = text
        .char_indices()
        .map(|(at, one)| at + one.len_utf8())
        .rev();
    let number = |end: usize| {
        let number = text[..end].trim_end();
        // `inf` and `nan` are numbers to a parser, and to nobody else.
        let plain = number.ends_with(|one: char| one.is_ascii_digit() || one == '.');
        plain
            .then(|| number.parse::<f64>().ok().filter(|one| one.is_finite()))
            .flatten()
    };
    let found = ends
        .into_iter()
        .find_map(|end| Some((number(end)?, text[end..].trim_start())));
    found.ok_or_else(|| format!("`{text}` is no number; write it as `10kOhm` or `20.5Cel`"))
}

fn wrong_unit(code: &str, wanted: &str) -> String {
    let right = if wanted == "1" {
        "a plain number".to_owned()
    } else {
        format!("`{wanted}`")
    };
    match meant(code) {
        Some(meant) => format!("`{code}` is no unit here; did you mean `{meant}`?"),
        None => format!("`{code}` does not turn into {right}; write {right}"),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_with_their_units() {
        for (text, wanted, number) in [
            ("10kOhm", "Ohm", 1e4),
            ("4.7 kOhm", "Ohm", 4.7e3),
            ("-20Cel", "Cel", -20.0),
            ("68[degF]", "Cel", 20.0),
            ("3950K", "K", 3950.0),
            ("1e4", "Ohm", 1e4),
            ("0.7", "1", 0.7),
            ("5V", "V", 5.0),
            ("1.129e-3K-1", "K-1", 1.129e-3),
        ] {
            let got = read(text, wanted).unwrap();
            assert!(
                (got - number).abs() <= 1e-12 * number.abs(),
                "{text}: {got}"
            );
        }
        assert_eq!(dissipation("1.5mW/K"), Ok(1.5e-3));
    }

    #[test]
    fn what_is_wrong_is_said_with_what_would_be_right() {
        let wrong = |text, wanted| read(text, wanted).unwrap_err();
        assert_eq!(
            wrong("ten", "Ohm"),
            "`ten` is no number; write it as `10kOhm` or `20.5Cel`"
        );
        assert_eq!(
            wrong("20C", "Cel"),
            "`C` is no unit here; did you mean `Cel`?"
        );
        assert_eq!(
            wrong("5V", "Cel"),
            "`V` does not turn into `Cel`; write `Cel`"
        );
        assert_eq!(
            wrong("inf", "V"),
            "`inf` is no number; write it as `10kOhm` or `20.5Cel`"
        );
        assert_eq!(
            wrong("", "V"),
            "`` is no number; write it as `10kOhm` or `20.5Cel`"
        );
        for text in ["1.5", "1.5mW", "0mW/K", "-1mW/K", "é"] {
            assert!(dissipation(text).is_err(), "{text}");
        }
    }
}
