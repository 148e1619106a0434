//! The photoresistor driver against published points, through the C table as a host sees it, and
//! against inputs that no probe gives. Each file under `published/` names its source.

use nightbench_driver::Status;
use nightbench_driver::host::{Binding, View};
use proptest::prelude::*;

fn view() -> View {
    View::new(&nightbench_photoresistor::TABLE).expect("a sound table")
}

fn bind(view: &View, r10: f64, gamma: f64) -> Binding {
    Binding::named(view.parameters(), &[("r10", &[r10]), ("gamma", &[gamma])]).expect("declared")
}

fn illuminance(r10: f64, gamma: f64, ohm: f64) -> Option<f64> {
    let view = view();
    let mut value = [f64::NAN];
    view.evaluate(&bind(&view, r10, gamma), &[ohm], &mut value)
        .ok()
        .map(|()| value[0])
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

fn assert_close(got: Option<f64>, wanted: f64, relative: f64, row: &[&str]) {
    let got = got.unwrap_or(f64::NAN);
    assert!(
        (got / wanted - 1.0).abs() <= relative,
        "{}: {got}, not {wanted}",
        row.join(",")
    );
}

/// Source: `ldr_worked_points.csv`, computed columns. The file prints resistances to 1e-6 ohm, so
/// they allow 1e-8 of 79 ohm; everything else follows within 1e-9.
#[test]
fn worked_points_give_their_illuminance() {
    for row in rows(include_str!("published/ldr_worked_points.csv")) {
        let (lux, r10, gamma, ohm) = (
            number(row[1]),
            number(row[2]),
            number(row[3]),
            number(row[7]),
        );
        let printing = 0.5e-6 / ohm / gamma;
        assert_close(illuminance(r10, gamma, ohm), lux, 1e-9 + printing, &row);
    }
}

/// Source: `ldr_two_point.csv`: gamma = ln(R1/R2) / ln(E2/E1) and R10 = R1 (E1/10)^gamma.
#[test]
fn two_point_calibrations_give_their_points_back() {
    for row in rows(include_str!("published/ldr_two_point.csv")) {
        let n = |index: usize| number(row[index]);
        let (e1, r1, e2, r2) = (n(0), n(1), n(2), n(3));
        let gamma = (r1 / r2).ln() / (e2 / e1).ln();
        let r10 = r1 * (e1 / 10.0).powf(gamma);
        // The file prints gamma to ten digits, R10 to eight.
        assert_close(Some(gamma), n(4), 1e-9, &row);
        assert_close(Some(r10), n(5), 5e-8, &row);
        for (lux, ohm) in [(e1, r1), (e2, r2), (n(7), n(6))] {
            assert_close(illuminance(r10, gamma, ohm), lux, 1e-9, &row);
        }
    }
}

#[test]
fn both_parameters_must_be_given() {
    let view = view();
    let only = Binding::named(view.parameters(), &[("r10", &[5e4])]).expect("declared");
    assert_eq!(
        view.check(&only),
        Ok(Some("a photoresistor needs `r10` and `gamma`"))
    );
    assert_eq!(view.check(&bind(&view, 5e4, 0.7)), Ok(None));
}

proptest! {
    #[test]
    fn every_input_in_the_range_has_a_value_and_a_falling_slope(
        r10 in 100.0..1e7_f64, gamma in 0.3..1.2_f64, part in 0.0..=1.0_f64,
    ) {
        let view = view();
        let binding = bind(&view, r10, gamma);
        let (low, high) = view.range(&binding).expect("a range");
        let ohm = (low * (high / low).powf(part)).clamp(low, high);
        let (mut value, mut slope) = ([f64::NAN], [f64::NAN]);
        prop_assert_eq!(view.evaluate(&binding, &[ohm], &mut value), Ok(()));
        prop_assert_eq!(view.slope(&binding, &[ohm], &mut slope), Ok(()));
        let back = r10 * (10.0 / value[0]).powf(gamma);
        prop_assert!((back / ohm - 1.0).abs() < 1e-9);
        // d ln E / d ln R = -1 / gamma.
        prop_assert!((slope[0] * ohm / value[0] * gamma + 1.0).abs() < 1e-9);
    }

    #[test]
    fn no_input_gives_a_number_that_is_none(ohm in any::<f64>(), r10 in any::<f64>(), gamma in any::<f64>()) {
        let view = view();
        let mut value = [f64::NAN];
        let answer = view.evaluate(&bind(&view, r10, gamma), &[ohm], &mut value);
        prop_assert!(matches!(answer, Ok(()) | Err(Status::OUT_OF_RANGE)));
        prop_assert_eq!(answer.is_ok(), value[0].is_finite());
    }
}
