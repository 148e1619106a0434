//! Units that a configuration may be written in, and how they turn into each other.
//!
//! Codes are UCUM, case sensitive (The Unified Code for Units of Measure, ucum-essence.xml), with
//! the decimal prefixes u, m, h, k and M and a few spellings that people type. A unit that is not
//! in the table can still be a probe's unit; it only turns into itself.

/// What a unit measures. Only units of one dimension turn into each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dimension {
    /// Temperature.
    Temperature,
    /// Illuminance.
    Illuminance,
    /// Electric resistance.
    Resistance,
    /// Electric potential.
    Voltage,
    /// A plain number, a ratio or a fraction.
    Fraction,
    /// Pressure.
    Pressure,
    /// Frequency.
    Frequency,
    /// Time.
    Time,
    /// Heat that leaves a body for each kelvin that it is warmer.
    Dissipation,
}

impl Dimension {
    /// In words, with the article: `an illuminance`.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Temperature => "a temperature",
            Self::Illuminance => "an illuminance",
            Self::Resistance => "a resistance",
            Self::Voltage => "a voltage",
            Self::Fraction => "a plain number",
            Self::Pressure => "a pressure",
            Self::Frequency => "a frequency",
            Self::Time => "a time",
            Self::Dissipation => "a dissipation constant",
        }
    }
}

/// A unit: its UCUM code and, where it is known, its way to SI.
#[derive(Clone, Debug, PartialEq)]
pub struct Unit {
    code: String,
    scale: Option<Scale>,
}

/// The way to SI: SI value = value x factor + offset.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Scale {
    dimension: Dimension,
    factor: f64,
    offset: f64,
}

impl Unit {
    /// The unit of a code, an alias, or a prefix with either. A code that the table does not hold
    /// gives a unit without dimension.
    #[must_use]
    pub fn of(code: &str) -> Self {
        Self::known(code).unwrap_or_else(|| Self {
            code: code.to_owned(),
            scale: None,
        })
    }

    /// As [`Unit::of`], `None` where the table does not hold it.
    #[must_use]
    pub fn known(code: &str) -> Option<Self> {
        plain(code).or_else(|| prefixed(code))
    }

    /// The UCUM code: `Cel` also where `°C` was written.
    #[must_use]
    pub fn code(&self) -> &str {
        &self.code
    }

    /// What it measures, where that is known.
    #[must_use]
    pub fn dimension(&self) -> Option<Dimension> {
        self.scale.map(|scale| scale.dimension)
    }

    /// A value in this unit as a value in `target`; `None` where it measures something else.
    #[must_use]
    pub fn value_in(&self, value: f64, target: &Self) -> Option<f64> {
        if self.code == target.code {
            return Some(value);
        }
        let (from, to) = (self.scale?, target.scale?);
        (from.dimension == to.dimension)
            .then(|| (value * from.factor + (from.offset - to.offset)) / to.factor)
    }

    /// A difference in this unit as a difference in `target`: zero points do not count.
    #[must_use]
    pub fn difference_in(&self, difference: f64, target: &Self) -> Option<f64> {
        if self.code == target.code {
            return Some(difference);
        }
        let (from, to) = (self.scale?, target.scale?);
        (from.dimension == to.dimension).then(|| difference * from.factor / to.factor)
    }
}

/// A code that people write for another unit, and what they mean.
#[must_use]
pub fn meant(code: &str) -> Option<&'static str> {
    match code {
        "C" | "c" | "degC" | "celsius" | "cel" => Some("Cel"),
        "F" | "degF" | "fahrenheit" => Some("[degF]"),
        "k" | "kelvin" => Some("K"),
        "R" | "Ohms" | "ohms" | "OHM" => Some("Ohm"),
        "Lux" | "LX" => Some("lx"),
        "v" | "volt" => Some("V"),
        _ => None,
    }
}

struct Row {
    code: &'static str,
    dimension: Dimension,
    factor: f64,
    offset: f64,
    /// Whether UCUM lets it take prefixes.
    metric: bool,
    aliases: &'static [&'static str],
}

const fn row(code: &'static str, dimension: Dimension, factor: f64, metric: bool) -> Row {
    Row {
        code,
        dimension,
        factor,
        offset: 0.0,
        metric,
        aliases: &[],
    }
}

/// Source of codes and factors: UCUM, ucum-essence.xml (repository ucum-org/ucum); °F = 5/9 K with
/// 459.67 °F at 0 K. Aliases: common practice.
const UNITS: &[Row] = &[
    Row {
        offset: 273.15,
        aliases: &["°C", "℃"],
        ..row("Cel", Dimension::Temperature, 1.0, true)
    },
    row("K", Dimension::Temperature, 1.0, true),
    Row {
        offset: 459.67 * 5.0 / 9.0,
        aliases: &["°F", "℉"],
        ..row("[degF]", Dimension::Temperature, 5.0 / 9.0, false)
    },
    Row {
        aliases: &["lux"],
        ..row("lx", Dimension::Illuminance, 1.0, true)
    },
    Row {
        // The Greek letter and the sign of its own.
        aliases: &["ohm", "\u{3a9}", "\u{2126}"],
        ..row("Ohm", Dimension::Resistance, 1.0, true)
    },
    row("V", Dimension::Voltage, 1.0, true),
    row("1", Dimension::Fraction, 1.0, false),
    Row {
        aliases: &["%RH"],
        ..row("%", Dimension::Fraction, 0.01, false)
    },
    Row {
        aliases: &["ppm"],
        ..row("[ppm]", Dimension::Fraction, 1e-6, false)
    },
    row("Pa", Dimension::Pressure, 1.0, true),
    row("Hz", Dimension::Frequency, 1.0, true),
    row("s", Dimension::Time, 1.0, true),
    Row {
        aliases: &["W/Cel", "W/°C", "W/℃"],
        ..row("W/K", Dimension::Dissipation, 1.0, true)
    },
    row("min", Dimension::Time, 60.0, false),
    row("h", Dimension::Time, 3600.0, false),
    row("d", Dimension::Time, 86_400.0, false),
];

/// UCUM prefixes; the micro sign and the Greek letter are what keyboards give.
const PREFIXES: &[(char, char, f64)] = &[
    ('u', 'u', 1e-6),
    ('\u{b5}', 'u', 1e-6),
    ('\u{3bc}', 'u', 1e-6),
    ('m', 'm', 1e-3),
    ('h', 'h', 1e2),
    ('k', 'k', 1e3),
    ('M', 'M', 1e6),
];

fn plain(code: &str) -> Option<Unit> {
    let row = find(code)?;
    Some(Unit {
        code: row.code.to_owned(),
        scale: Some(Scale {
            dimension: row.dimension,
            factor: row.factor,
            offset: row.offset,
        }),
    })
}

fn prefixed(code: &str) -> Option<Unit> {
    let first = code.chars().next()?;
    let (_, letter, factor) = PREFIXES.iter().find(|(typed, ..)| *typed == first)?;
    let row = find(&code[first.len_utf8()..]).filter(|row| row.metric)?;
    Some(Unit {
        code: format!("{letter}{}", row.code),
        scale: Some(Scale {
            dimension: row.dimension,
            factor: row.factor * factor,
            offset: row.offset,
        }),
    })
}

fn find(code: &str) -> Option<&'static Row> {
    UNITS
        .iter()
        .find(|row| row.code == code || row.aliases.contains(&code))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use proptest::prelude::*;

    /// Source: UCUM, ucum-essence.xml (repository ucum-org/ucum, UCUM licence: free use with
    /// notice); SI value = value x factor + offset.
    const PUBLISHED: &[(&str, &str, f64, f64, &str)] = &[
        ("Cel", "°C", 1.0, 273.15, "K"),
        ("K", "K", 1.0, 0.0, "K"),
        (
            "[degF]",
            "°F",
            0.555_555_555_555_555_6,
            255.372_222_222_222_2,
            "K",
        ),
        ("lx", "lx", 1.0, 0.0, "lx"),
        ("Ohm", "Ω", 1.0, 0.0, "Ohm"),
        ("V", "V", 1.0, 0.0, "V"),
        ("mV", "mV", 0.001, 0.0, "V"),
        ("%", "%", 0.01, 0.0, "1"),
        ("1", "1", 1.0, 0.0, "1"),
        ("%", "%RH", 0.01, 0.0, "1"),
        ("Pa", "Pa", 1.0, 0.0, "Pa"),
        ("hPa", "hPa", 100.0, 0.0, "Pa"),
        ("kPa", "kPa", 1000.0, 0.0, "Pa"),
        ("[ppm]", "ppm", 1e-6, 0.0, "1"),
        ("Hz", "Hz", 1.0, 0.0, "Hz"),
        ("s", "s", 1.0, 0.0, "s"),
    ];

    #[test]
    fn published_units_turn_into_si() {
        for (code, symbol, factor, offset, si) in PUBLISHED {
            let (unit, target) = (Unit::known(code).unwrap(), Unit::known(si).unwrap());
            assert_eq!(Unit::known(symbol).unwrap().code(), *code);
            for value in [-40.0, 0.0, 1.0, 98.6] {
                let expected = value * factor + offset;
                let got = unit.value_in(value, &target).unwrap();
                assert!(
                    (got - expected).abs() <= 1e-12 * expected.abs().max(1.0),
                    "{code}"
                );
                let difference = unit.difference_in(value, &target).unwrap();
                assert!(
                    (difference - value * factor).abs() <= 1e-12 * value.abs(),
                    "{code}"
                );
            }
        }
    }

    #[test]
    fn prefixes_go_with_metric_units_only() {
        for (code, expected) in [
            ("kOhm", Some("kOhm")),
            ("kΩ", Some("kOhm")),
            ("Mohm", Some("MOhm")),
            ("µV", Some("uV")),
            ("mK", Some("mK")),
            ("m[degF]", None),
            ("k%", None),
            ("kk", None),
            ("", None),
            ("k", None),
        ] {
            let unit = Unit::known(code);
            assert_eq!(unit.as_ref().map(Unit::code), expected, "{code}");
        }
    }

    #[test]
    fn a_difference_knows_no_zero_point() {
        let celsius = Unit::of("Cel");
        assert_eq!(Unit::of("K").difference_in(1.0, &celsius), Some(1.0));
        let fahrenheit = Unit::of("[degF]").difference_in(1.8, &celsius).unwrap();
        assert!((fahrenheit - 1.0).abs() < 1e-12);
        assert_eq!(Unit::of("lx").difference_in(1.0, &celsius), None);
    }

    #[test]
    fn an_unknown_unit_turns_only_into_itself() {
        let unit = Unit::of("mol/L");
        assert_eq!(unit.value_in(2.0, &Unit::of("mol/L")), Some(2.0));
        assert_eq!(unit.value_in(2.0, &Unit::of("1")), None);
        assert_eq!(unit.dimension(), None);
    }

    proptest! {
        #[test]
        fn a_temperature_survives_the_way_there_and_back(value in -300.0..3000.0f64) {
            let (celsius, fahrenheit) = (Unit::of("Cel"), Unit::of("[degF]"));
            let there = celsius.value_in(value, &fahrenheit).unwrap();
            let back = fahrenheit.value_in(there, &celsius).unwrap();
            prop_assert!((back - value).abs() < 1e-9);
        }

        #[test]
        fn no_code_panics(code in "\\PC{0,6}") {
            let _ = Unit::of(&code);
        }
    }
}
