//! SenML's units (RFC 8428, 12.1) for UCUM codes, with the change of number where the registry has
//! only the unit without its prefix. Units in neither table have no SenML code.

/// A SenML unit and how a number gets there: `senml = number * factor + offset`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct SenmlUnit {
    pub code: &'static str,
    factor: f64,
    offset: f64,
}

impl SenmlUnit {
    /// The number in the SenML unit.
    pub fn convert(self, number: f64) -> f64 {
        number * self.factor + self.offset
    }
}

/// The SenML unit for a UCUM code; `None` where the registry has none that fits.
///
/// `%` needs the quantity: SenML's own `%` is a ratio (0.5 for a half) that RFC 8428 advises
/// against; relative humidity has `%RH`, anything else is sent as the ratio `/`.
pub(super) fn find(ucum: &str, quantity: &str) -> Option<SenmlUnit> {
    let same = |code| {
        Some(SenmlUnit {
            code,
            factor: 1.0,
            offset: 0.0,
        })
    };
    let scaled = |code, factor| {
        Some(SenmlUnit {
            code,
            factor,
            offset: 0.0,
        })
    };
    match ucum {
        "%" if is_humidity(quantity) => same("%RH"),
        "%" => scaled("/", 0.01),
        "1" => same("/"),
        "[ppm]" => scaled("/", 1e-6),
        "Cel" => same("Cel"),
        "[degF]" => Some(SenmlUnit {
            code: "Cel",
            factor: 5.0 / 9.0,
            offset: -160.0 / 9.0,
        }),
        "K" => same("K"),
        "lx" => same("lx"),
        "Ohm" => same("Ohm"),
        "kOhm" => scaled("Ohm", 1e3),
        "V" => same("V"),
        "mV" => scaled("V", 1e-3),
        "A" => same("A"),
        "W" => same("W"),
        "Pa" => same("Pa"),
        "hPa" => scaled("Pa", 1e2),
        "kPa" => scaled("Pa", 1e3),
        "Hz" => same("Hz"),
        "s" => same("s"),
        "m" => same("m"),
        "kg" => same("kg"),
        _ => None,
    }
}

fn is_humidity(quantity: &str) -> bool {
    quantity.contains("humidity")
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    struct Row {
        quantity: &'static str,
        ucum: &'static str,
        senml: &'static str,
        factor: f64,
        offset: f64,
    }

    /// Source: the file's first lines (UCUM essence; RFC 8428, 12.1).
    fn published() -> Vec<Row> {
        include_str!("../../../tests/published/units.csv")
            .lines()
            .filter(|line| !line.starts_with('#'))
            .skip(1)
            .map(|line| {
                let cells: Vec<_> = line.split(',').collect();
                Row {
                    quantity: cells[0],
                    ucum: cells[3],
                    senml: cells[5],
                    factor: cells[6].parse().unwrap(),
                    offset: cells[7].parse().unwrap(),
                }
            })
            .collect()
    }

    #[test]
    fn published_codes_are_taken_over_with_the_same_number() {
        for row in published().iter().filter(|row| !row.senml.is_empty()) {
            let unit = find(row.ucum, row.quantity).unwrap();
            assert_eq!(
                (unit.code, unit.convert(0.3)),
                (row.senml, 0.3),
                "{}",
                row.ucum
            );
        }
    }

    /// Both ways to the SI value must agree: straight, and through the SenML unit.
    #[test]
    fn units_that_senml_lacks_are_converted_to_one_it_has() {
        let rows = published();
        let lacking: Vec<_> = rows.iter().filter(|row| row.senml.is_empty()).collect();
        assert_eq!(lacking.len(), 6);
        for row in lacking {
            let unit = find(row.ucum, row.quantity).unwrap();
            let target = rows
                .iter()
                .find(|target| target.senml == unit.code)
                .unwrap();
            let through = unit.convert(36.6) * target.factor + target.offset;
            let straight = 36.6 * row.factor + row.offset;
            assert!(
                (through - straight).abs() < 1e-9,
                "{}: {through} {straight}",
                row.ucum
            );
        }
    }

    #[test]
    fn a_unit_in_neither_table_has_no_code() {
        assert_eq!(find("[in_i'Hg]", "pressure"), None);
    }
}
