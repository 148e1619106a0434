//! A field's text to a number: plain decimals and exponents, nothing clever.
//!
//! What boards print for "no number" (`nan`, `inf`, `ovf`), hexadecimal, decimal commas and units
//! behind the number are refused: a guess would end up in the log as a measurement.

use super::Slot;

/// The number that `text` spells as a whole; `Unreadable` for anything else.
pub(super) fn parse(text: &str) -> Slot {
    let plain = text
        .bytes()
        .all(|byte| matches!(byte, b'0'..=b'9' | b'+' | b'-' | b'.' | b'e' | b'E'));
    match text.parse::<f64>() {
        Ok(number) if plain && number.is_finite() => Slot::Number(number),
        _ => Slot::Unreadable,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_and_exponents_are_numbers() {
        for (text, number) in [
            ("512", 512.0),
            ("-3.25", -3.25),
            ("+7", 7.0),
            (".5", 0.5),
            ("5.", 5.0),
            ("3.2e1", 32.0),
            ("1E-3", 0.001),
            ("007", 7.0),
        ] {
            assert_eq!(parse(text), Slot::Number(number), "`{text}`");
        }
    }

    #[test]
    fn anything_else_is_unreadable() {
        for text in [
            "", " ", "nan", "NaN", "-nan", "inf", "-inf", "infinity", "ovf", "0x1F", "3,2", "21C",
            "512mV", "1e", "e5", "--1", "1_000", "1e999", "½", ".", "+",
        ] {
            assert_eq!(parse(text), Slot::Unreadable, "`{text}`");
        }
    }
}
