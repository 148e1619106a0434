//! Tests of `verify.rs`: the three outcomes, at their edges, and in words.

use super::*;
use crate::calibrate::make::testing::{Told, point};
use crate::driver::find;
use insta::assert_snapshot;

/// A curve that reads 0.5 Cel at 0.5 of its input, against a reference of 0 Cel.
fn at(error: f64, tolerance: f64, uncertainty: f64) -> Verification {
    let divider = find("divider").unwrap();
    let curve = Curve::plain(divider.bind(vec![vec![]; 8]).unwrap());
    let check = point(Told {
        value: 0.0,
        own: uncertainty,
        input: error,
        input_uncertainty: 0.0,
        ..Told::default()
    });
    verify(&curve, (7, &check), tolerance, "Cel").unwrap()
}

#[test]
fn the_outcome_is_decided_by_error_tolerance_and_guard_band() {
    // Tolerance 0.5, expanded uncertainty 0.2: at most 0.3 passes, more than 0.7 fails.
    for (error, verdict) in [
        (0.0, Verdict::Pass),
        (-0.299, Verdict::Pass),
        (0.301, Verdict::Undecided),
        (-0.5, Verdict::Undecided),
        (0.699, Verdict::Undecided),
        (0.701, Verdict::Fail),
        (-5.0, Verdict::Fail),
    ] {
        let verification = at(error, 0.5, 0.1);
        assert_eq!(verification.verdict(), verdict, "{error}");
        assert_eq!(verification.pass, verdict == Verdict::Pass);
    }
    // A reference that is no better than the tolerance lets nothing pass.
    assert_eq!(at(0.0, 0.1, 0.1).verdict(), Verdict::Undecided);
    assert_eq!(at(0.0, f64::NAN, 0.1).verdict(), Verdict::Undecided);
}

#[test]
fn the_uncertainty_is_that_of_reference_and_reading() {
    let divider = find("divider").unwrap();
    let mut parameters = vec![vec![]; 8];
    parameters[2] = vec![10.0];
    let curve = Curve::plain(divider.bind(parameters).unwrap());
    // 10 Cel per unit: 0.3, 0.4 and 10 x 0.12 Cel make 1.3 Cel.
    let check = point(Told {
        value: 20.0,
        own: 0.3,
        common: 0.4,
        input: 2.0,
        input_uncertainty: 0.12,
        ..Told::default()
    });
    let verification = verify(&curve, (7, &check), 5.0, "Cel").unwrap();
    assert!((verification.expanded - 2.6).abs() < 1e-12);
    assert_eq!(verification.point, 7);
}

#[test]
fn the_outcome_is_told_in_words() {
    assert_snapshot!(at(0.12, 0.5, 0.1).words("Cel"), @"pass: error 0.12 Cel, known to 0.20 Cel (k = 2), tolerance 0.5 Cel");
    assert_snapshot!(at(0.4, 0.5, 0.1).words("Cel"), @"cannot be decided at this uncertainty: error 0.40 Cel, known to 0.20 Cel (k = 2), tolerance 0.5 Cel; take the point again with a reference that is known better");
    assert_snapshot!(at(0.1, 0.1, 0.1).words("Cel"), @"cannot be decided at this uncertainty: error 0.10 Cel, known to 0.20 Cel (k = 2), tolerance 0.1 Cel; take a reference that is known better, or a wider tolerance");
    assert_snapshot!(at(-0.9, 0.5, 0.1).words("Cel"), @"fail: error -0.90 Cel, known to 0.20 Cel (k = 2), tolerance 0.5 Cel; take new points and calibrate again");
    assert_snapshot!(at(0.0, 0.5, 0.1).rule, @"tolerance 0.5 Cel less a guard band of the expanded uncertainty (k = 2), 0.20 Cel: pass where the error is at most 0.30 Cel; fail where it is more than 0.70 Cel; between, it cannot be decided");
    assert_snapshot!(at(0.0, 0.1, 0.1).rule, @"tolerance 0.1 Cel less a guard band of the expanded uncertainty (k = 2), 0.20 Cel: no error can pass; fail where it is more than 0.30 Cel; between, it cannot be decided");
}
