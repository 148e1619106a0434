//! Published data in `tests/published`, and an independent way from degrees to counts and back.
//!
//! None of the program's models is used: a table is interpolated, which is what a person with the
//! maker's sheet would do.

use std::fs;
use std::path::{Path, PathBuf};

/// A CSV file with `#` remarks and a line of column names.
#[derive(Clone, Debug)]
pub struct Table {
    names: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Table {
    /// Reads `tests/published/FILE`.
    ///
    /// # Panics
    /// Where there is no such file, or where it has no line of names.
    #[must_use]
    pub fn read(file: &str) -> Self {
        let path = path(file);
        let text =
            fs::read_to_string(&path).unwrap_or_else(|why| panic!("{}: {why}", path.display()));
        let mut lines = text
            .lines()
            .filter(|line| !line.starts_with('#'))
            .map(cells);
        let names = lines.next().expect("a line of names");
        Self {
            names,
            rows: lines.collect(),
        }
    }

    /// A column of numbers.
    ///
    /// # Panics
    /// Where there is no such column, or where it holds something else.
    #[must_use]
    pub fn numbers(&self, name: &str) -> Vec<f64> {
        let column = self.names.iter().position(|own| own == name);
        let column = column.unwrap_or_else(|| panic!("no column `{name}`"));
        let number = |row: &Vec<String>| row[column].parse().expect("a column of numbers");
        self.rows.iter().map(number).collect()
    }
}

/// The path of `tests/published/FILE`.
#[must_use]
pub fn path(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("published")
        .join(file)
}

/// A thermistor as its maker's sheet gives it: degrees Celsius rising, ohms falling.
#[derive(Clone, Debug)]
pub struct Sheet {
    degrees: Vec<f64>,
    ln_ohms: Vec<f64>,
}

impl Sheet {
    /// The 10 kOhm, 3950 K sheet.
    #[must_use]
    pub fn b3950() -> Self {
        let table = Table::read("ntc_10k_b3950_rt.csv");
        let ohms = table
            .numbers("R_kohm")
            .into_iter()
            .map(|kiloohm| 1000.0 * kiloohm);
        Self::new(table.numbers("t_degC"), ohms)
    }

    /// The 10 kOhm, 3977 K sheet.
    #[must_use]
    pub fn b3977() -> Self {
        let table = Table::read("ntc_10k_vishay_3977_rt.csv");
        let ohms = table.numbers("R_formula_ohm").into_iter();
        Self::new(table.numbers("t_degC"), ohms)
    }

    fn new(degrees: Vec<f64>, ohms: impl Iterator<Item = f64>) -> Self {
        let ln_ohms = ohms.map(f64::ln).collect();
        Self { degrees, ln_ohms }
    }

    /// Ohms at a temperature: ln R is straight between two rows.
    ///
    /// # Panics
    /// Outside the sheet.
    #[must_use]
    pub fn ohms(&self, degrees: f64) -> f64 {
        let above = self.degrees.partition_point(|&row| row < degrees).max(1);
        self.between(above, &self.degrees, &self.ln_ohms, degrees)
            .exp()
    }

    /// Temperature at a resistance.
    ///
    /// # Panics
    /// Outside the sheet.
    #[must_use]
    pub fn degrees(&self, ohms: f64) -> f64 {
        let ln_ohm = ohms.ln();
        let above = self.ln_ohms.partition_point(|&row| row > ln_ohm).max(1);
        self.between(above, &self.ln_ohms, &self.degrees, ln_ohm)
    }

    fn between(&self, above: usize, from: &[f64], to: &[f64], at: f64) -> f64 {
        assert!(above < self.degrees.len(), "outside the sheet");
        let part = (at - from[above - 1]) / (from[above] - from[above - 1]);
        to[above - 1] + part * (to[above] - to[above - 1])
    }
}

/// A probe on the low side of a divider that is fed from the converter's reference.
#[derive(Clone, Copy, Debug)]
pub struct Divider {
    /// The fixed resistor.
    pub resistor_ohm: f64,
    /// The code of a full-scale input.
    pub full_scale: f64,
}

impl Divider {
    /// The code that an ideal converter gives.
    #[must_use]
    pub fn count(self, probe_ohm: f64) -> f64 {
        (self.full_scale * probe_ohm / (probe_ohm + self.resistor_ohm)).round()
    }

    /// The resistance that gives exactly this (not necessarily whole) code.
    #[must_use]
    pub fn ohms(self, count: f64) -> f64 {
        self.resistor_ohm * count / (self.full_scale - count)
    }

    /// What one step of the converter around `count` means in degrees: half a step up and down, the
    /// larger of both.
    #[must_use]
    pub fn half_step(self, sheet: &Sheet, count: f64) -> f64 {
        let at = |count: f64| sheet.degrees(self.ohms(count));
        let here = at(count);
        (at(count + 0.5) - here)
            .abs()
            .max((at(count - 0.5) - here).abs())
    }
}

fn cells(line: &str) -> Vec<String> {
    line.split(',').map(str::to_owned).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: the sheet itself: 10.00 kOhm at 25 degC, 31.77 kOhm at 0 degC, 3.592 kOhm at 50 degC.
    #[test]
    fn a_sheet_gives_back_its_own_rows() {
        let sheet = Sheet::b3950();
        for (degrees, ohms) in [(0.0, 31_770.0), (25.0, 10_000.0), (50.0, 3_592.0)] {
            assert!((sheet.ohms(degrees) - ohms).abs() < 1e-6 * ohms);
            assert!((sheet.degrees(ohms) - degrees).abs() < 1e-9);
        }
    }

    #[test]
    fn degrees_to_ohms_and_back_is_the_same_between_rows() {
        for sheet in [Sheet::b3950(), Sheet::b3977()] {
            for tenth in 0..500 {
                let degrees = f64::from(tenth) / 10.0;
                assert!((sheet.degrees(sheet.ohms(degrees)) - degrees).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn half_a_step_of_twelve_bits_at_room_temperature_is_about_a_hundredth_of_a_degree() {
        let divider = Divider {
            resistor_ohm: 10_000.0,
            full_scale: 4095.0,
        };
        // dT/dcount = T^2 / B * 4 / full scale where the probe equals the resistor: 0.022 K a step.
        let half_step = divider.half_step(&Sheet::b3950(), divider.count(10_000.0));
        assert!((half_step - 0.011).abs() < 0.001, "{half_step}");
    }

    #[test]
    fn the_recordings_are_whole() {
        let office = Table::read("occupancy_datatest.csv");
        assert_eq!(office.numbers("temp_degC").len(), 2665);
        assert_eq!(office.numbers("light_lux").len(), 2665);
    }
}
