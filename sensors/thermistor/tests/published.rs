//! The thermistor driver against published tables and coefficients, through the C table as a host
//! sees it. Each file under `published/` names its source; tolerances are those stated there.

use nightbench_driver::host::{Binding, View};
use toml::Table;

const BETA: f64 = 0.0;
const STEINHART_HART: f64 = 1.0;
const FOUR_TERM: f64 = 2.0;

/// A thermistor with these parameters.
struct Probe {
    view: View,
    binding: Binding,
}

impl Probe {
    fn new(form: f64, given: &[(&str, f64)]) -> Self {
        let view = View::new(&nightbench_thermistor::TABLE).expect("a sound table");
        let form = [form];
        let mut values: Vec<(&str, &[f64])> = vec![("form", &form)];
        values.extend(
            given
                .iter()
                .map(|(name, value)| (*name, std::slice::from_ref(value))),
        );
        let binding = Binding::named(view.parameters(), &values).expect("declared names");
        assert_eq!(view.check(&binding), Ok(None));
        Self { view, binding }
    }

    fn temperature(&self, ohm: f64) -> f64 {
        let mut value = [f64::NAN];
        self.view
            .evaluate(&self.binding, &[ohm], &mut value)
            .expect("in range");
        value[0]
    }

    /// Largest distance from the table between two temperatures, both included.
    fn largest_error(&self, table: &[(f64, f64)], from: f64, to: f64) -> f64 {
        let rows = table
            .iter()
            .filter(|(celsius, _)| (from..=to).contains(celsius));
        rows.map(|(celsius, ohm)| (self.temperature(*ohm) - celsius).abs())
            .fold(0.0, f64::max)
    }
}

/// Data rows of a file: comments and the heading left out.
fn rows(text: &str) -> impl Iterator<Item = Vec<&str>> {
    let data = text
        .lines()
        .filter(|line| !line.starts_with('#') && !line.is_empty());
    data.skip(1).map(|line| line.split(',').collect())
}

fn number(text: &str) -> f64 {
    text.parse().expect("a number")
}

/// Degrees Celsius and ohm of a resistance table.
fn table(name: &str) -> Vec<(f64, f64)> {
    let (text, unit) = match name {
        "ntc_10k_b3950_rt.csv" => (include_str!("published/ntc_10k_b3950_rt.csv"), 1000.0),
        "ntc_100k_wf104_rt.csv" => (include_str!("published/ntc_100k_wf104_rt.csv"), 1.0),
        "ntc_10k_vishay_3977_rt.csv" => (include_str!("published/ntc_10k_vishay_3977_rt.csv"), 1.0),
        other => panic!("no table {other}"),
    };
    rows(text)
        .map(|row| (number(row[0]), number(row[1]) * unit))
        .collect()
}

fn resistance(table: &[(f64, f64)], celsius: f64) -> f64 {
    table
        .iter()
        .find(|row| row.0 == celsius)
        .expect("a row of the table")
        .1
}

fn expected() -> Table {
    include_str!("published/ntc_expected.toml")
        .parse()
        .expect("a TOML file")
}

fn float(entry: &Table, key: &str) -> Option<f64> {
    let value = entry.get(key)?;
    value
        .as_float()
        .or_else(|| value.as_integer().map(|whole| whole as f64))
}

fn floats(entry: &Table, key: &str) -> Vec<f64> {
    let values = entry[key].as_array().expect("an array");
    values
        .iter()
        .map(|one| {
            one.as_float()
                .unwrap_or_else(|| one.as_integer().expect("a number") as f64)
        })
        .collect()
}

fn entries(kind: &str) -> Vec<Table> {
    let expected = expected();
    let list = expected[kind].as_array().expect("an array");
    list.iter()
        .map(|one| one.as_table().expect("a table").clone())
        .collect()
}

fn steinhart_hart(a: f64, b: f64, c: f64) -> Probe {
    Probe::new(STEINHART_HART, &[("a", a), ("b", b), ("c", c)])
}

fn fitted(entry: &Table) -> Probe {
    let [a, b, c] = ["A", "B", "C"].map(|key| float(entry, key).expect("a coefficient"));
    steinhart_hart(a, b, c)
}

fn assert_near(got: f64, wanted: f64, tolerance: f64, where_: &str) {
    assert!(
        (got - wanted).abs() <= tolerance,
        "{where_}: {got}, not {wanted} within {tolerance}"
    );
}

/// Temperatures of a fitted curve at rows of the table it was fitted to.
fn check_rows(probe: &Probe, entry: &Table) {
    let name = entry["table"].as_str().expect("a name");
    let table = table(name);
    let wanted = floats(entry, "check_t_table_degC")
        .into_iter()
        .zip(floats(entry, "check_t_fit_degC"));
    for (celsius, fit) in wanted {
        let got = probe.temperature(resistance(&table, celsius));
        assert_near(got, fit, 1e-4, &format!("{name} at {celsius}"));
    }
}

/// Source: `steinhart_hart_examples.csv` (coefficients as printed by makers), 1e-6 K.
#[test]
fn printed_coefficient_sets_give_the_printed_temperatures() {
    for row in rows(include_str!("published/steinhart_hart_examples.csv")) {
        let probe = steinhart_hart(number(row[1]), number(row[2]), number(row[3]));
        assert_near(
            probe.temperature(number(row[4])),
            number(row[5]),
            1e-6,
            &row.join(","),
        );
    }
}

/// Source: `ntc_expected.toml`, `steinhart_hart_3pt`, 1e-4 K.
#[test]
fn three_point_fits_give_the_expected_temperatures() {
    for entry in entries("steinhart_hart_3pt") {
        check_rows(&fitted(&entry), &entry);
    }
}

/// Source: `ntc_expected.toml`, `max_error_*`, 5e-4 K: properties of the makers' tables.
#[test]
fn three_point_fits_miss_their_tables_by_as_much_as_expected() {
    let spans = [
        ("max_error_0_50_K", 0.0, 50.0),
        ("max_error_m20_70_K", -20.0, 70.0),
        ("max_error_m40_125_K", -40.0, 125.0),
    ];
    let mut seen = 0;
    for entry in entries("steinhart_hart_3pt") {
        let name = entry["table"].as_str().expect("a name");
        for (key, from, to) in spans {
            let Some(wanted) = float(&entry, key) else {
                continue;
            };
            let got = fitted(&entry).largest_error(&table(name), from, to);
            assert_near(got, wanted, 5e-4, &format!("{name}: {key}"));
            seen += 1;
        }
    }
    assert_eq!(seen, 8);
}

/// Source: `ntc_expected.toml`, `beta_2pt`, 1e-4 K.
#[test]
fn two_point_betas_give_the_expected_temperatures() {
    for entry in entries("beta_2pt") {
        let t0 = floats(&entry, "points_degC")[0];
        let r0 = resistance(&table(entry["table"].as_str().expect("a name")), t0);
        let beta = float(&entry, "beta_K").expect("a constant");
        check_rows(
            &Probe::new(BETA, &[("r0", r0), ("t0", t0), ("beta", beta)]),
            &entry,
        );
    }
}

/// Source: Vishay data sheet 29049, `ntc_10k_vishay_3977_rt.csv`, 1e-4 K.
#[test]
fn the_four_term_form_follows_its_data_sheet() {
    let expected = expected();
    let sheet = expected["vishay_ntcle100e3_10k_3977"]
        .as_table()
        .expect("a table");
    let keys = [
        ("r25", "R25_ohm"),
        ("a1", "A1"),
        ("b1", "B1"),
        ("c1", "C1"),
        ("d1", "D1"),
    ];
    let given = keys.map(|(name, key)| (name, float(sheet, key).expect("a coefficient")));
    let probe = Probe::new(FOUR_TERM, &given);
    for row in rows(include_str!("published/ntc_10k_vishay_3977_rt.csv")) {
        assert_near(
            probe.temperature(number(row[1])),
            number(row[3]),
            1e-4,
            &row.join(","),
        );
    }
}

/// Source: `ntc_10k_curve3_rt.csv` (Veris Industries 2009) against the 10K3A1 coefficients: the two
/// publications agree within 0.02 K from 0 to 70 °C.
#[test]
fn two_publications_of_one_curve_agree() {
    let probe = steinhart_hart(1.129241e-3, 2.341077e-4, 8.775468e-8);
    for row in rows(include_str!("published/ntc_10k_curve3_rt.csv")) {
        let (celsius, got) = (number(row[0]), probe.temperature(number(row[1])));
        assert_near(got, number(row[2]), 1e-4, &row.join(","));
        if (0.0..=70.0).contains(&celsius) {
            assert_near(got, celsius, 0.02, &row.join(","));
        }
    }
}
