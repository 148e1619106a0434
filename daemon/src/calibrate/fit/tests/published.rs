//! The fit against certified and published results; each file under `published/` names its source.

use super::*;
use crate::measure::chain::Transfer;

/// Columns of numbers in a file; remarks and the line of names left out.
fn columns(text: &str) -> Vec<Vec<f64>> {
    let rows = text
        .lines()
        .filter(|line| !line.starts_with('#') && !line.is_empty());
    let rows = rows
        .skip(1)
        .map(|row| row.split(',').map(|cell| cell.parse().unwrap()));
    let rows: Vec<Vec<f64>> = rows.map(Iterator::collect).collect();
    (0..rows[0].len())
        .map(|at| rows.iter().map(|row| row[at]).collect())
        .collect()
}

fn toml(text: &str) -> toml::Table {
    text.parse().unwrap()
}

fn numbers(table: &toml::Table, key: &str) -> Vec<f64> {
    let list = table[key].as_array().unwrap();
    list.iter().map(number).collect()
}

fn number(value: &toml::Value) -> f64 {
    value
        .as_float()
        .unwrap_or_else(|| value.as_integer().unwrap() as f64)
}

/// Parameters, standard deviations and the sum of squares within the file's tolerances.
fn certified(fitted: &Fitted, text: &str) {
    let file = toml(text);
    let (certified, tolerance) = (file["certified"].as_table().unwrap(), &file["tolerance"]);
    let deviations = fitted.scaled_covariance().diagonal().map(f64::sqrt);
    for (at, wanted) in numbers(certified, "b").into_iter().enumerate() {
        assert_near(fitted.theta[at], wanted, number(&tolerance["b_relative"]));
    }
    for (at, wanted) in numbers(certified, "b_std_dev").into_iter().enumerate() {
        assert_near(
            deviations[at],
            wanted,
            number(&tolerance["b_std_dev_relative"]),
        );
    }
    // 11 and 15 digits are printed; Norris' file gives no tolerance for the sum.
    let sum = number(&certified["residual_sum_of_squares"]);
    assert_near(fitted.chi_square, sum, 1e-8);
    let freedom = file["degrees_of_freedom"].as_integer().unwrap();
    assert_eq!(fitted.degrees_of_freedom as i64, freedom);
}

/// From both published starts.
fn certified_nonlinear(driver: Driver, names: &[&str], data: &str, results: &str) {
    let columns = columns(data);
    let points = Points::new(&columns[0], &columns[1], 1.0);
    for start in ["start1", "start2"] {
        let start = numbers(&toml(results), start);
        let family = family(driver, &[], names);
        certified(&points.fit_from(&family, start).unwrap(), results);
    }
}

#[test]
fn meyers_thermistor_is_fitted_to_its_certified_values_from_both_starts() {
    // Source: NIST StRD MGH10, tests/published/mgh10.toml.
    certified_nonlinear(
        makers::meyer(),
        &["b1", "b2", "b3"],
        include_str!("../../../../tests/published/mgh10.csv"),
        include_str!("../../../../tests/published/mgh10.toml"),
    );
}

#[test]
fn misras_step_is_fitted_to_its_certified_values_from_both_starts() {
    // Source: NIST StRD Misra1a, tests/published/misra1a.toml.
    certified_nonlinear(
        makers::misra(),
        &["b1", "b2"],
        include_str!("../../../../tests/published/misra1a.csv"),
        include_str!("../../../../tests/published/misra1a.toml"),
    );
}

#[test]
fn a_straight_line_calibration_is_fitted_to_its_certified_values() {
    // Source: NIST StRD Norris, tests/published/norris.toml.
    let columns = columns(include_str!("../../../../tests/published/norris.csv"));
    let line = family(find("divider").unwrap(), &[], &["offset", "gain"]);
    let fitted = Points::new(&columns[0], &columns[1], 1.0)
        .fit(&line)
        .unwrap();
    certified(
        &fitted,
        include_str!("../../../../tests/published/norris.toml"),
    );
}

#[test]
fn the_gums_thermometer_has_its_published_correction_and_uncertainty() {
    // Source: JCGM 100:2008, H.3, tests/published/gum_h3.toml.
    let file = toml(include_str!("../../../../tests/published/gum_h3.toml"));
    let columns = columns(include_str!("../../../../tests/published/gum_h3.csv"));
    let from_20: Vec<f64> = columns[1].iter().map(|t| t - 20.0).collect();
    let line = family(find("divider").unwrap(), &[], &["offset", "gain"]);
    let fitted = Points::new(&from_20, &columns[2], 1.0).fit(&line).unwrap();
    let covariance = fitted.scaled_covariance();
    let (s1, s2) = (covariance[(0, 0)].sqrt(), covariance[(1, 1)].sqrt());
    let at_30 = line.at(&fitted.theta).unwrap().evaluate(10.0).unwrap();
    let results = [
        ("y1_degC", fitted.theta[0], 1e-4),
        ("s_y1_degC", s1, 1e-4),
        ("y2", fitted.theta[1], 1e-5),
        ("s_y2", s2, 1e-5),
        ("r_y1_y2", covariance[(0, 1)] / s1 / s2, 1e-3),
        ("s_residual_degC", fitted.birge_ratio(), 1e-4),
        ("b_at_30_degC", at_30, 1e-4),
        (
            "u_b_at_30_degC",
            uncertainty_at(&line, &fitted.theta, &covariance, 10.0),
            1e-4,
        ),
    ];
    for (name, got, last_digit) in results {
        let printed = number(&file["published"][name]);
        assert!((got - printed).abs() <= last_digit / 2.0, "{name}: {got}");
        assert_near(got, number(&file["computed"][name]), 1e-9);
    }
}

fn sheet(name: &str) -> Vec<Vec<f64>> {
    let (text, ohms) = match name {
        "ntc_10k_b3950_rt.csv" => (
            include_str!("../../../../../sensors/thermistor/tests/published/ntc_10k_b3950_rt.csv"),
            1000.0,
        ),
        "ntc_100k_wf104_rt.csv" => (
            include_str!("../../../../../sensors/thermistor/tests/published/ntc_100k_wf104_rt.csv"),
            1.0,
        ),
        _ => (
            include_str!(
                "../../../../../sensors/thermistor/tests/published/ntc_10k_vishay_3977_rt.csv"
            ),
            1.0,
        ),
    };
    let mut sheet = columns(text);
    let resistances = sheet[1].iter().map(|one| one * ohms).collect();
    vec![sheet.swap_remove(0), resistances]
}

fn ohms(sheet: &[Vec<f64>], celsius: f64) -> f64 {
    sheet[1][sheet[0].iter().position(|one| *one == celsius).unwrap()]
}

/// Temperatures of the fitted curve at the sheet's resistances, within 1e-4 K.
fn checked(case: &toml::Table, family: &Family, fitted: &Fitted) {
    let sheet = sheet(case["table"].as_str().unwrap());
    let curve = family.at(&fitted.theta).unwrap();
    let pairs = numbers(case, "check_t_table_degC")
        .into_iter()
        .zip(numbers(case, "check_t_fit_degC"));
    for (celsius, wanted) in pairs {
        let got = curve.evaluate(ohms(&sheet, celsius)).unwrap();
        assert!(
            (got - wanted).abs() <= 1e-4,
            "{celsius}: {got}, not {wanted}"
        );
    }
}

const NTC: &str =
    include_str!("../../../../../sensors/thermistor/tests/published/ntc_expected.toml");

#[test]
fn three_points_give_the_published_steinhart_hart_coefficients() {
    // Source: sensors/thermistor/tests/published/ntc_expected.toml, steinhart_hart_3pt.
    for case in toml(NTC)["steinhart_hart_3pt"].as_array().unwrap() {
        let case = case.as_table().unwrap();
        let celsius = numbers(case, "calibration_points_degC");
        let points = Points::new(&numbers(case, "calibration_R_ohm"), &celsius, 0.05);
        let fitted = points.fit(&steinhart_hart()).unwrap();
        for (at, name) in ["A", "B", "C"].into_iter().enumerate() {
            assert_near(fitted.theta[at], number(&case[name]), 1e-8);
        }
        checked(case, &steinhart_hart(), &fitted);
    }
}

#[test]
fn two_points_give_the_published_beta() {
    // Source: sensors/thermistor/tests/published/ntc_expected.toml, beta_2pt; 10 digits are printed.
    for case in toml(NTC)["beta_2pt"].as_array().unwrap() {
        let case = case.as_table().unwrap();
        let sheet = sheet(case["table"].as_str().unwrap());
        let celsius = numbers(case, "points_degC");
        let inputs: Vec<f64> = celsius.iter().map(|one| ohms(&sheet, *one)).collect();
        let fitted = Points::new(&inputs, &celsius, 0.05)
            .fit(&beta(9e3))
            .unwrap();
        assert_near(fitted.theta[1], number(&case["beta_K"]), 1e-9);
        checked(case, &beta(9e3), &fitted);
    }
}

#[test]
fn two_lights_give_the_published_r10_and_gamma() {
    // Source: sensors/photoresistor/tests/published/ldr_two_point.csv; tolerance 1e-9.
    let text =
        include_str!("../../../../../sensors/photoresistor/tests/published/ldr_two_point.csv");
    let table = columns(text);
    (0..table[0].len()).for_each(|row| {
        let cell = |column: usize| table[column][row];
        let points = Points::new(&[cell(1), cell(3)], &[cell(0), cell(2)], 0.5);
        let typical = [("r10", 2e4), ("gamma", 0.8)];
        let cell_of_cds = family(find("photoresistor").unwrap(), &typical, &["r10", "gamma"]);
        let fitted = points.fit(&cell_of_cds).unwrap();
        // Ohms are printed to three decimals: half of the last is 3e-8 of the smallest.
        assert_near(fitted.theta[0], cell(5), 3.1e-8);
        assert_near(fitted.theta[1], cell(4), 1e-9);
        let lux = cell_of_cds
            .at(&fitted.theta)
            .unwrap()
            .evaluate(cell(6))
            .unwrap();
        assert_near(lux, cell(7), 1e-8);
    });
}

/// Ohms of a platinum probe, 0 to 200 Cel: R0 (1 + A t + B t²).
fn platinum(r0: f64, celsius: f64) -> f64 {
    // Source: IEC 60751:2008, 4.2, tests/published/iec60751.toml.
    let file = toml(include_str!("../../../../tests/published/iec60751.toml"));
    r0 * (1.0 + number(&file["A"]) * celsius + number(&file["B"]) * celsius * celsius)
}

#[test]
fn a_platinum_probe_is_calibrated_by_offset_and_slope_on_the_standards_table() {
    // Source: IEC 60751:2008, Table 1, tests/published/iec60751_pt100.csv. A probe of 100.04 ohm at
    // 0 Cel (class A; invented) reads 0.1 to 0.2 Cel high by the standard's table, and right after an
    // ice point and a boiling point. What is left at 50 Cel: chords of the table (R'' h² / 8 R', with
    // h = 10 Cel: 0.004 Cel), and the curvature of R0's error (0.001 Cel).
    let table = columns(include_str!(
        "../../../../tests/published/iec60751_pt100.csv"
    ));
    let given = [
        ("form", vec![2.0]),
        ("table_x", table[1].clone()),
        ("table_y", table[0].clone()),
    ];
    let family = family_of_lists(find("divider").unwrap(), &given, &["+offset", "+slope"]);
    let ohms = |celsius| platinum(100.04, celsius);
    let points = Points::new(&[ohms(0.0), ohms(100.0)], &[0.0, 100.0], 0.05);
    let fitted = points.fit(&family).unwrap();
    let (before, after) = (
        family.at(&[0.0, 0.0]).unwrap(),
        family.at(&fitted.theta).unwrap(),
    );
    assert!(before.evaluate(ohms(50.0)).unwrap() - 50.0 > 0.1);
    for celsius in [0.0, 20.0, 50.0, 80.0, 100.0] {
        let got = after.evaluate(ohms(celsius)).unwrap();
        assert!((got - celsius).abs() < 0.006, "{celsius}: {got}");
    }
    // At its points the line's uncertainty is theirs; half way, that of a mean of two.
    let at = |celsius| uncertainty_at(&family, &fitted.theta, &fitted.covariance, ohms(celsius));
    assert!((at(0.0) - 0.05).abs() < 1e-6);
    assert!((at(50.0) - 0.05 / 2.0_f64.sqrt()).abs() < 1e-4);
}
