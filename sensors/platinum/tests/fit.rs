//! Where a fit starts, and how wrong the fitted curve can be; the probe of these tests is invented.

use nightbench_driver::Status;
use nightbench_driver::host::{Binding, View};

fn view() -> View {
    View::new(&nightbench_platinum::TABLE).expect("a sound table")
}

fn named(given: &[(&str, &[f64])]) -> Binding {
    Binding::named(view().parameters(), given).expect("declared names")
}

/// Resistances of an invented probe at temperatures.
fn points(temperatures: &[f64]) -> Vec<f64> {
    let (r0, a, b, c) = (100.04, 3.912e-3, -5.775e-7, -4.183e-12);
    let below = |t: f64| {
        if t < 0.0 {
            c * (t - 100.0) * t * t * t
        } else {
            0.0
        }
    };
    let ohm = |t: &f64| r0 * (1.0 + a * t + b * t * t + below(*t));
    temperatures.iter().map(ohm).collect()
}

#[test]
fn two_points_or_more_give_back_the_probe_they_are_of() {
    for temperatures in [&[0.0, 100.0][..], &[-40.0, 0.0, 30.0, 180.0]] {
        let start = view().guess(&named(&[]), &points(temperatures), temperatures);
        let start = start.expect("a start").concat();
        assert!((start[0] - 100.04).abs() < 1e-9, "{start:?}");
        assert!((start[1] - 3.912e-3).abs() < 1e-12, "{start:?}");
        assert_eq!(start[2..], [-5.775e-7, -4.183e-12]);
    }
}

#[test]
fn one_point_gives_r0_alone() {
    let start = view().guess(&named(&[]), &points(&[0.0]), &[0.0]);
    assert_eq!(start.expect("a start").concat()[..2], [100.04, 3.9083e-3]);
}

#[test]
fn points_that_tell_nothing_give_no_start() {
    let hopeless: [(&[f64], &[f64]); 4] = [
        (&[], &[]),
        (&[100.0, 100.0], &[0.0, 0.0]),
        (&[-3.0, 138.5], &[0.0, 100.0]),
        (&[100.0, f64::NAN], &[0.0, 100.0]),
    ];
    for (ohms, temperatures) in hopeless {
        let start = view().guess(&named(&[]), ohms, temperatures);
        assert_eq!(start, Err(Status::OUT_OF_RANGE), "{ohms:?}");
    }
}

#[test]
fn the_misfit_is_nothing_at_the_points_and_grows_away_from_them() {
    let misfits = |nodes: &[f64], free: usize, ohms: &[f64]| {
        let mut misfits = vec![f64::NAN; ohms.len()];
        let answer = view().misfit(&named(&[]), (nodes, free), ohms, &mut misfits);
        answer.expect("in range");
        misfits
    };
    let (ice, boiling) = (100.0, 138.5055);
    // Class B's slope over 100 °C, as a standard uncertainty: 0.5 °C / sqrt(3).
    let one = misfits(&[ice], 1, &[ice, boiling]);
    assert!(
        one[0] < 1e-9 && (one[1] - 0.5 / 3_f64.sqrt()).abs() < 1e-6,
        "{one:?}"
    );
    let two = misfits(&[ice, boiling], 2, &[ice, 119.397_125, boiling, 175.856]);
    assert!(two[0] < 1e-9 && two[2] < 1e-9, "{two:?}");
    assert!(
        two[1] > 0.001 && two[1] < 0.01 && two[3] > two[1],
        "{two:?}"
    );
}
