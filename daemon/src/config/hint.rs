//! What to write instead of a number, quantity or duration that cannot be read: the writer's own
//! number wherever it can be made out, else an example.
//!
//! Whatever is proposed was read back and found in the key's range first.

use super::quantity::{self, Kind};
use super::unit::{Dimension, Unit, meant};
use super::words;
use std::fmt::Display;
use std::ops::RangeInclusive;
use std::time::Duration;

/// Every finite number.
pub(super) const ANY: RangeInclusive<f64> = f64::MIN..=f64::MAX;

/// Every finite number above zero.
pub(super) const POSITIVE: RangeInclusive<f64> = f64::MIN_POSITIVE..=f64::MAX;

/// From here on a number is not written in plain digits by anybody.
const LONGEST_PLAIN: f64 = 1e15;

/// The plain number that a text such as `9600` or `1023,0` stands for, where `fits` takes it.
pub(super) fn number(text: &str, fits: impl Fn(f64) -> bool) -> Option<String> {
    let numbers = spellings(text.trim()).into_iter();
    let mut numbers = numbers.filter_map(|number| number.parse::<f64>().ok());
    numbers
        .find(|number| number.abs() < LONGEST_PLAIN && fits(*number))
        .map(|number| number.to_string())
}

/// What to write for a quantity in `target` and in this range.
pub(super) fn quantity(
    text: &str,
    target: &Unit,
    kind: Kind,
    range: &RangeInclusive<f64>,
) -> String {
    let fits = |spelling: &String| {
        quantity::read(spelling, target, kind).is_ok_and(|number| range.contains(&number))
    };
    let mut spellings: Vec<String> = quantities(text, target).into_iter().filter(fits).collect();
    spellings.dedup();
    match &spellings[..] {
        [] if target.code() == "1" => "write a plain number".to_owned(),
        [] => format!("write a number with a unit: `{}`", written(target, range)),
        [one] => format!("write `\"{one}\"`"),
        // A comma may stand for either.
        [one, other, ..] => format!("write `\"{one}\"` or `\"{other}\"`"),
    }
}

/// How a quantity in this unit and range could be written: `"10 kOhm"`.
pub(super) fn written(target: &Unit, range: &RangeInclusive<f64>) -> String {
    let (usual, text) = match target.code() {
        "1" => (0.5, "0.5".to_owned()),
        "Ohm" => (10_000.0, "\"10 kOhm\"".to_owned()),
        "V" => (3.3, "\"3.3 V\"".to_owned()),
        "lx" => (200.0, "\"200 lx\"".to_owned()),
        "mW/K" => (1.5, "\"1.5 mW/K\"".to_owned()),
        "%" => (1.0, "\"1 %\"".to_owned()),
        code => (20.0, format!("\"20 {code}\"")),
    };
    if range.contains(&usual) {
        return text;
    }
    let middle = middle(range);
    match target.code() {
        "1" => middle.to_string(),
        code => format!("\"{middle} {code}\""),
    }
}

/// What to write for a duration in this range.
pub(super) fn duration(text: &str, range: &RangeInclusive<Duration>) -> String {
    let fits = |spelling: &String| {
        quantity::duration(spelling).is_ok_and(|duration| range.contains(&duration))
    };
    match durations(text).into_iter().find(fits) {
        Some(spelling) => format!("write `\"{spelling}\"`"),
        None => format!(
            "write a number with ms, s, m, h or d: `{}`",
            some_duration(range)
        ),
    }
}

/// How a duration in this range could be written: `"10s"`.
pub(super) fn some_duration(range: &RangeInclusive<Duration>) -> String {
    let usual = ["10s", "1s", "1m", "10m", "1h", "1d"];
    let fits =
        |text: &&str| quantity::duration(text).is_ok_and(|duration| range.contains(&duration));
    usual.into_iter().find(fits).map_or_else(
        || format!("\"{}\"", words::duration(*range.start())),
        |text| format!("\"{text}\""),
    )
}

/// `write a number between 1 and 10`.
pub(super) fn between(wanted: &str, least: &dyn Display, most: &dyn Display) -> String {
    format!("write {wanted} between {least} and {most}")
}

/// One digit in the middle of a range: by ratio where it is all above zero.
fn middle(range: &RangeInclusive<f64>) -> f64 {
    let (least, most) = (*range.start(), *range.end());
    let exact = if least > 0.0 {
        (least.ln() / 2.0 + most.ln() / 2.0).exp()
    } else {
        least / 2.0 + most / 2.0
    };
    let rounded = format!("{exact:.0e}").parse().unwrap_or(exact);
    if range.contains(&rounded) {
        rounded
    } else {
        exact
    }
}

/// The numbers that a text with a comma may stand for. Three digits after it may be thousands.
pub(super) fn spellings(number: &str) -> Vec<String> {
    let Some((before, after)) = number.split_once(',') else {
        return vec![number.to_owned()];
    };
    let digits = before.trim_start_matches(['+', '-']);
    let thousands = after.len() >= 3 && !digits.starts_with('0');
    let groups = after.split(',').all(|group| {
        let group = group.split('.').next().unwrap_or(group);
        group.len() == 3
    });
    let decimal = number.replacen(',', ".", 1);
    let whole = number.replace(',', "");
    match (thousands && groups, after.contains([',', '.'])) {
        (true, true) => vec![whole],
        // Either may be meant.
        (true, false) => vec![whole, decimal],
        (false, _) => vec![decimal],
    }
}

/// Spellings that a quantity may have been meant as.
fn quantities(text: &str, target: &Unit) -> Vec<String> {
    let text = text.trim();
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || "+-.,".contains(c)))
        .unwrap_or(text.len());
    let (number, unit) = (&text[..end], text[end..].trim());
    let marked_unit = match target.dimension() {
        Some(Dimension::Resistance) => marked_unit(unit),
        _ => None,
    };
    // A unit that can be read is the one that is meant.
    let unit = match Unit::known(unit) {
        Some(_) => unit,
        None => marked_unit.or_else(|| meant(unit)).unwrap_or(unit),
    };
    let with = |number: String| format!("{number} {unit}").trim_end().to_owned();
    let plain = spellings(number).into_iter().map(with);
    plain.chain(marked(text, target)).collect()
}

/// A resistance as it is marked on the part, the letter in the place of the point: `4k7` (IEC
/// 60062, clause 5).
fn marked(text: &str, target: &Unit) -> Option<String> {
    let letter = text.find(|c: char| c.is_ascii_alphabetic())?;
    let (before, after) = (&text[..letter], &text[letter + 1..]);
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let unit = marked_unit(&text[letter..=letter])?;
    let resistance = target.dimension() == Some(Dimension::Resistance);
    (resistance && digits(before) && digits(after)).then(|| format!("{before}.{after} {unit}"))
}

/// The unit of a letter that stands for it: `10k`, `470R`, `1M`, and what people write for it.
fn marked_unit(unit: &str) -> Option<&'static str> {
    let unit = unit.to_lowercase().replace(' ', "");
    let prefix = ["ohms", "ohm", "\u{3c9}", "r"]
        .iter()
        .find_map(|name| unit.strip_suffix(name))
        .unwrap_or(&unit);
    match prefix {
        "" => Some("Ohm"),
        "k" | "kilo" => Some("kOhm"),
        "m" | "meg" | "mega" => Some("MOhm"),
        _ => None,
    }
}

/// Spellings that a duration may have been meant as.
fn durations(text: &str) -> Vec<String> {
    let text = text.trim();
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || "+-.,".contains(c)))
        .unwrap_or(text.len());
    let (number, unit) = (&text[..end], text[end..].trim().to_lowercase());
    let unit = match unit.as_str() {
        "" | "sec" | "secs" | "second" | "seconds" => "s",
        "mins" | "minute" | "minutes" => "m",
        "hr" | "hrs" | "hour" | "hours" => "h",
        "day" | "days" => "d",
        "msec" | "millisecond" | "milliseconds" => "ms",
        other => other,
    };
    let with = |number: String| format!("{number}{unit}");
    spellings(number).into_iter().map(with).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn for_ohms(text: &str) -> String {
        quantity(text, &Unit::of("Ohm"), Kind::Value, &(0.1..=1e8))
    }

    #[test]
    fn resistances_as_they_are_marked_on_the_part() {
        for (text, expected) in [
            ("10k", "write `\"10 kOhm\"`"),
            ("4k7", "write `\"4.7 kOhm\"`"),
            ("470R", "write `\"470 Ohm\"`"),
            ("4R7", "write `\"4.7 Ohm\"`"),
            ("1M", "write `\"1 MOhm\"`"),
            ("2M2", "write `\"2.2 MOhm\"`"),
            ("10 K Ohm", "write `\"10 kOhm\"`"),
            ("10 kohms", "write `\"10 kOhm\"`"),
            ("4,7k", "write `\"4.7 kOhm\"`"),
            ("10 kV", "write a number with a unit: `\"10 kOhm\"`"),
        ] {
            assert_eq!(for_ohms(text), expected, "{text}");
        }
    }

    #[test]
    fn a_comma_is_a_point_or_nothing_and_only_what_fits_is_proposed() {
        let kelvin = |text: &str| quantity(text, &Unit::of("K"), Kind::Value, &(500.0..=20_000.0));
        assert_eq!(kelvin("3,950 K"), "write `\"3950 K\"`");
        assert_eq!(kelvin("3950,0 K"), "write `\"3950.0 K\"`");
        assert_eq!(kelvin("3,95 K"), "write a number with a unit: `\"3000 K\"`");
        assert_eq!(
            for_ohms("1,500 Ohm"),
            "write `\"1500 Ohm\"` or `\"1.500 Ohm\"`"
        );
        assert_eq!(for_ohms("1,234.5 Ohm"), "write `\"1234.5 Ohm\"`");
    }

    #[test]
    fn durations_in_long_words_or_without_a_unit() {
        let range = Duration::from_millis(100)..=Duration::from_secs(60);
        for (text, expected) in [
            ("10", "write `\"10s\"`"),
            ("1,5s", "write `\"1.5s\"`"),
            ("2 seconds", "write `\"2s\"`"),
            ("2 hours", "write a number with ms, s, m, h or d: `\"10s\"`"),
            ("soon", "write a number with ms, s, m, h or d: `\"10s\"`"),
        ] {
            assert_eq!(duration(text, &range), expected, "{text}");
        }
    }

    #[test]
    fn a_plain_number_is_found_in_a_text() {
        let small = |number: f64| (1.0..=100_000.0).contains(&number);
        assert_eq!(number(" 9600 ", small).as_deref(), Some("9600"));
        assert_eq!(number("1023,0", small).as_deref(), Some("1023"));
        assert_eq!(number("fast", small), None);
        assert_eq!(number("1e9", small), None);
    }
}
