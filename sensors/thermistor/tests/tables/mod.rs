//! The published resistance tables, as tests of fits read them. Each file names its source.

#![allow(dead_code)]

use nightbench_driver::host::{Binding, View};

/// One published part.
pub struct Part {
    pub name: &'static str,
    /// The beta on its label, kelvin.
    pub beta: f64,
    /// What the table's last printed digit is worth, kelvin.
    pub digit: f64,
    /// Ohm and degrees Celsius.
    pub rows: Vec<(f64, f64)>,
}

impl Part {
    pub fn ohm(&self, celsius: f64) -> f64 {
        let row = self.rows.iter().find(|row| row.1 == celsius);
        row.unwrap_or_else(|| panic!("{} has no row at {celsius}", self.name))
            .0
    }

    pub fn points(&self, celsius: &[f64]) -> Vec<(f64, f64)> {
        celsius.iter().map(|one| (self.ohm(*one), *one)).collect()
    }

    /// Rows between two temperatures, both included.
    pub fn between(&self, low: f64, high: f64) -> Vec<(f64, f64)> {
        let inside = self.rows.iter().filter(|row| (low..=high).contains(&row.1));
        inside.copied().collect()
    }
}

/// Temperatures and resistances from two columns of a file, in ohm times `unit`.
fn rows(text: &str, column: usize, unit: f64) -> Vec<(f64, f64)> {
    let data = text.lines().filter(|line| !line.starts_with('#'));
    data.skip(1)
        .map(|line| {
            let cells: Vec<f64> = line
                .split(',')
                .map(|one| one.parse().expect("a number"))
                .collect();
            (cells[column] * unit, cells[0])
        })
        .collect()
}

/// The four parts. Labels: as the files say; of curve 3: B25/85 of its own table.
pub fn parts() -> [Part; 4] {
    let part = |name, beta, digit, rows| Part {
        name,
        beta,
        digit,
        rows,
    };
    let b3950 = rows(include_str!("../published/ntc_10k_b3950_rt.csv"), 1, 1e3);
    let wf104 = rows(include_str!("../published/ntc_100k_wf104_rt.csv"), 1, 1.0);
    // The maker's formula, not the print.
    let vishay = rows(
        include_str!("../published/ntc_10k_vishay_3977_rt.csv"),
        2,
        1.0,
    );
    let curve3 = rows(include_str!("../published/ntc_10k_curve3_rt.csv"), 1, 1.0);
    [
        part("10k, 3950 K", 3950.0, 0.03, b3950),
        part("100k, 4250 K", 4250.0, 0.002, wf104),
        part("10k, 3977 K", 3977.0, 0.001, vishay),
        part("10k, curve 3", 3979.0, 0.025, curve3),
    ]
}

pub fn view() -> View {
    View::new(&nightbench_thermistor::TABLE).expect("a sound table")
}

pub fn bind(given: &[(&str, f64)]) -> Binding {
    let given: Vec<(&str, &[f64])> = given
        .iter()
        .map(|(name, value)| (*name, std::slice::from_ref(value)))
        .collect();
    Binding::named(view().parameters(), &given).expect("declared names")
}

/// The parameters from which a fit to these points starts: with exact points, the fit itself.
pub fn guess(present: &Binding, points: &[(f64, f64)]) -> Binding {
    let (ohm, celsius): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
    let start = view().guess(present, &ohm, &celsius).expect("a start");
    let binding = Binding::new(start);
    assert_eq!(view().check(&binding), Ok(None));
    binding
}

pub fn temperature(binding: &Binding, ohm: f64) -> f64 {
    let mut value = [f64::NAN];
    view()
        .evaluate(binding, &[ohm], &mut value)
        .expect("in range");
    value[0]
}

/// A parameter's value by its name.
pub fn number(binding: &Binding, name: &str) -> f64 {
    let view = view();
    let index = view.parameters().iter().position(|one| one.name == name);
    binding.values()[index.expect("declared")][0]
}
