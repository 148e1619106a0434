//! Readings by another calibration, against Steinhart-Hart written out here.

use super::testing::calibration;
use super::{Conversion, Recomputed, recompute};
use crate::calibrate::{Calibration, Term};
use crate::log::testing::reading;
use crate::reading::{Estimate, Outcome, Quality, Reading, Series};
use std::sync::Arc;

const A: f64 = 1.282_926_065_694e-3;
const B: f64 = 2.078_532_276_332e-4;
const C: f64 = 2.005_478_946_611e-7;

/// 1/T = A + B ln R + C (ln R)^3, in kelvin.
fn steinhart_hart(shift_of_a: f64, ohm: f64) -> f64 {
    let x = ohm.ln();
    1.0 / (A + shift_of_a + B * x + C * x.powi(3)) - 273.15
}

/// Kelvin per ohm: -T^2 (B + 3 C (ln R)^2) / R.
fn slope(shift_of_a: f64, ohm: f64) -> f64 {
    let kelvin = steinhart_hart(shift_of_a, ohm) + 273.15;
    -kelvin.powi(2) * (B + 3.0 * C * ohm.ln().powi(2)) / ohm
}

fn by(number: u32, calibration: &Calibration) -> Conversion {
    Conversion::by(number, calibration).unwrap()
}

fn logged(by: u32, ohm: f64, uncertainty: f64) -> Reading {
    let mut reading = reading(1, 1);
    let estimate = Estimate::new(steinhart_hart(0.0, ohm), uncertainty).unwrap();
    reading.electrical = Some(ohm);
    reading.outcome = Outcome::Value(estimate);
    reading.series = Arc::new(Series {
        calibration: by,
        ..(*reading.series).clone()
    });
    reading
}

fn anew(wanted: &Conversion, made: &[Conversion], reading: Reading) -> Reading {
    match recompute(wanted, made)(reading) {
        Recomputed::Anew(reading) => reading,
        Recomputed::AsLogged(reading) => panic!("as it was logged: {reading:?}"),
    }
}

fn close(got: f64, expected: f64) {
    assert!(
        (got - expected).abs() <= 1e-9 * expected.abs().max(1.0),
        "{got} is not {expected}"
    );
}

#[test]
fn the_value_is_the_other_curves_and_the_uncertainty_goes_through_its_slope() {
    let (one, two) = (calibration(&[], 0.0), calibration(&[], 2.0));
    let shift = -2.0 / 273.15_f64.powi(2);
    let ohm = 20_000.0;
    // 50 ohm of noise, and 0.05 of the calibration's own offset.
    let stored = (slope(0.0, ohm) * 50.0).hypot(0.05);
    let made = [by(1, &one)];
    let reading = anew(&by(2, &two), &made, logged(1, ohm, stored));
    let estimate = reading.outcome.estimate().unwrap();
    close(estimate.value(), steinhart_hart(shift, ohm));
    close(
        estimate.uncertainty(),
        (slope(shift, ohm) * 50.0).hypot(0.05),
    );
    assert_eq!((reading.series.calibration, reading.series.id), (2, 0));
}

#[test]
fn without_the_curve_that_made_it_the_stored_uncertainty_is_kept_beside_the_calibrations_own() {
    let reading = anew(
        &by(1, &calibration(&[], 0.0)),
        &[],
        logged(0, 10_000.0, 0.12),
    );
    let estimate = reading.outcome.estimate().unwrap();
    close(estimate.uncertainty(), 0.12_f64.hypot(0.05));
}

#[test]
fn what_the_calibration_made_itself_keeps_every_bit() {
    let kept = logged(1, 10_000.0, 0.0712);
    let reading = anew(&by(1, &calibration(&[], 0.0)), &[], kept.clone());
    assert_eq!(reading.outcome, kept.outcome);
}

#[test]
fn outside_the_points_it_is_extrapolated_and_outside_the_driver_a_fault() {
    let wanted = by(1, &calibration(&[], 0.0));
    for (ohm, quality) in [
        (3_592.0, Quality::Good),
        (3_591.0, Quality::Extrapolated),
        (31_771.0, Quality::Extrapolated),
        (1e-2, Quality::OutOfRange),
    ] {
        let mut reading = logged(0, 10_000.0, 0.1);
        reading.electrical = Some(ohm);
        let reading = anew(&wanted, &[], reading);
        assert_eq!(reading.outcome.quality(), quality, "{ohm}");
    }
}

#[test]
fn a_fault_stays_a_fault_and_what_it_cannot_take_stays_as_it_was() {
    let wanted = by(1, &calibration(&[], 0.0));
    let mut fault = logged(0, 10_000.0, 0.1);
    fault.outcome = Outcome::Fault(Quality::OutOfRange);
    let again = anew(&wanted, &[], fault.clone());
    assert_eq!(again.outcome, fault.outcome);
    let mut without = logged(0, 10_000.0, 0.1);
    without.electrical = None;
    let mut volts = logged(0, 1.0, 0.1);
    volts.series = Arc::new(Series {
        electrical_unit: "V".to_owned(),
        ..(*volts.series).clone()
    });
    for kept in [without, volts] {
        let given = recompute(&wanted, &[])(kept.clone());
        assert_eq!(given, Recomputed::AsLogged(kept));
    }
}

#[test]
fn correlated_terms_bring_no_more_than_they_do_together() {
    // Fully correlated: what both bring is 0.1 - 0.01 (f(x) - pivot), not the root of squares.
    let mut line = calibration(&[], 0.0);
    line.terms = vec![Term::Offset, Term::Slope];
    line.pivot = 20.0;
    line.covariance = vec![vec![0.01, -0.001], vec![-0.001, 0.0001]];
    let conversion = by(1, &line);
    for ohm in [5_000.0, 10_000.0, 25_000.0] {
        let away = steinhart_hart(0.0, ohm) - 20.0;
        let own = conversion.own(ohm).unwrap();
        assert!(
            (own - (0.1 - 0.01 * away).abs()).abs() < 1e-8,
            "{ohm}: {own}"
        );
    }
}

#[test]
fn a_parameters_share_is_its_slope_times_its_deviation() {
    let mut fitted = calibration(&[], 0.0);
    // `a` is the driver's fifth parameter: 1/T = a + ..., so dT = -T^2 da.
    let deviation = 1e-6;
    fitted.terms = vec![Term::Parameter(4)];
    fitted.covariance = vec![vec![deviation * deviation]];
    let kelvin = steinhart_hart(0.0, 10_000.0) + 273.15;
    let own = by(1, &fitted).own(10_000.0).unwrap();
    assert!((own - kelvin.powi(2) * deviation).abs() < 1e-6, "{own}");
}

#[test]
fn what_this_version_cannot_compute_says_why() {
    let refused = |change: fn(&mut Calibration)| {
        let mut calibration = calibration(&[], 0.0);
        change(&mut calibration);
        Conversion::by(1, &calibration).map(|_| ()).unwrap_err()
    };
    let texts = [
        refused(|c| c.driver = "bolometer".to_owned()),
        refused(|c| c.input = "henry".to_owned()),
        refused(|c| c.parameters.push(("z".to_owned(), vec![1.0]))),
        refused(|c| c.parameters.retain(|(name, _)| name != "c")),
        refused(|c| c.terms = vec![Term::Parameter(99)]),
    ];
    insta::assert_snapshot!(texts.join("\n"), @r"
    needs the driver `bolometer`, which this nightbench does not have
    takes `henry`, which this version of nightbench does not know
    has a parameter `z`, which the driver `thermistor` does not know
    has parameters that do not fit: the form `steinhart-hart` needs `a`, `b` and `c`
    has a fitted term that is no number of its driver
    ");
}
