//! What a person is told of the points, word for word.

use super::*;
use insta::assert_snapshot;

fn remarks(parameters: &[Vec<f64>], points: Vec<Told>) -> String {
    made(parameters, points).unwrap().remarks.join("\n")
}

#[test]
fn good_points_need_no_remark() {
    let points = vec![ice(0.02), at(20.0, -0.03), at(40.0, 0.05), at(60.0, 0.0)];
    let calibration = made(&label(), points).unwrap();
    assert_eq!(calibration.remarks, [""; 0]);
    assert_eq!(calibration.degrees_of_freedom, 1);
}

#[test]
fn a_point_that_contradicts_the_others_is_left_out_and_named() {
    let points = vec![ice(0.0), at(40.0, 0.0), boiling(25.0)];
    let calibration = made(&steinhart_hart(), points).unwrap();
    assert_eq!(calibration.points, [1, 2]);
    assert_snapshot!(calibration.remarks.join("\n"), @"point 3 (boiling water, 124.6 Cel) contradicts the other two by 25 Cel; left out of the fit; check that the tip was under water, and the pressure that of the place");
    assert_snapshot!(calibration.decision, @"two points: `a` and `b` are fitted, offset and slope on the curve as configured; `c` stays as configured");
}

#[test]
fn a_probe_that_is_off_by_the_same_at_all_points_contradicts_nothing() {
    let points = vec![ice(4.0), at(40.0, 4.0), boiling(4.0)];
    assert_eq!(remarks(&steinhart_hart(), points), "");
}

#[test]
fn the_point_that_disagrees_is_named_and_the_uncertainty_widened() {
    let points = |error| {
        vec![
            ice(0.0),
            at(20.0, 0.0),
            at(40.0, error),
            at(60.0, 0.0),
            at(80.0, 0.0),
        ]
    };
    let (good, bad) = (
        made(&label(), points(0.0)).unwrap(),
        made(&label(), points(0.8)).unwrap(),
    );
    assert_snapshot!(bad.remarks.join("\n"), @"point 3 (reference `kitchen`, 40.8 Cel) disagrees with the others by 0.8 Cel, 4.9 times its uncertainty (chi-square 24 with 2 degrees of freedom; chance gives that in less than 0.01 % of fits); it is in the fit, and the stated uncertainty is 3.4 times as wide for it; check that both were in the same place, and read together, then take it again or withdraw it");
    let ratio = (bad.chi_square / 2.0).sqrt();
    for term in 0..3 {
        let widened = (bad.covariance[term][term] / good.covariance[term][term]).sqrt();
        assert!(
            (widened / ratio - 1.0).abs() < 0.02,
            "{widened}, not {ratio}"
        );
    }
    assert!(
        bad.sources
            .iter()
            .any(|one| one.name == "the points disagree")
    );
}

#[test]
fn what_points_of_one_instrument_share_is_not_counted_between_them() {
    // The middle one is 0.6 Cel off: a multiple of what each has of its own and of what the model
    // cannot follow, but hardly one of the 0.4 Cel that all five share.
    let shared = |celsius, error| Told {
        own: 0.02,
        common: 0.4,
        input_uncertainty: 1e-6 * ohms(celsius),
        ..at(celsius, error)
    };
    let celsius = [0.0, 20.0, 40.0, 60.0, 80.0];
    let points = celsius.map(|at| shared(at, if at == 40.0 { 0.6 } else { 0.0 }));
    assert_snapshot!(remarks(&label(), points.into()), @"point 3 (reference `kitchen`, 40.6 Cel) disagrees with the others by 0.6 Cel, 6.6 times its uncertainty (chi-square 45 with 2 degrees of freedom; chance gives that in less than 0.01 % of fits); it is in the fit, and the stated uncertainty is 4.7 times as wide for it; check that both were in the same place, and read together, then take it again or withdraw it");
}

#[test]
fn with_one_degree_of_freedom_none_is_named() {
    let points = vec![ice(0.0), at(20.0, 0.9), at(40.0, 0.0), at(60.0, 0.0)];
    assert_snapshot!(remarks(&label(), points), @"the points contradict each other by more than their uncertainties (chi-square 33 with 1 degree of freedom; chance gives that in less than 0.01 % of fits); which is wrong cannot be told from so few; the stated uncertainty is 5.7 times as wide for it; one more point would tell");
}

#[test]
fn one_point_that_was_measured_elsewhere_lets_the_resistor_count() {
    let given = |elsewhere| Told {
        elsewhere,
        ..at(50.0, 0.0)
    };
    let own = made(&label(), vec![at(0.0, 0.0), given(false)]).unwrap();
    assert_eq!((own.channel, own.remarks.len()), (channel(), 0));
    let mixed = made(&label(), vec![at(0.0, 0.0), given(true)]).unwrap();
    assert_eq!(mixed.channel, Channel::elsewhere());
    assert_snapshot!(mixed.remarks.join("\n"), @r#"1 point measured elsewhere, 1 on the probe's channel: its resistor does not cancel; the uncertainty of the resistor of the channel on which the probe is read counts in full (`measured_on = "channel"` in the file of points where its own readings gave the ohms)"#);
    let all = made(&label(), vec![given(true)]).unwrap();
    assert_snapshot!(all.remarks.join("\n"), @r#"the points were measured elsewhere, not on the probe's channel; the uncertainty of the resistor of the channel on which the probe is read counts in full (`measured_on = "channel"` in the file of points where its own readings gave the ohms)"#);
    // As for a reading on the channel where the probe hangs: 0.58 % of the ohms, and more.
    let driver = find("thermistor").unwrap();
    let stated = crate::calibrate::Stated::calibrated(&all, driver, &channel()).unwrap();
    let slope = crate::measure::chain::Transfer::slope(&stated, all.nodes[0]).unwrap();
    let resistor = 0.0058 * slope.abs() * all.nodes[0];
    assert!(stated.uncertainty(all.nodes[0], 0.0).unwrap() > resistor);
}

#[test]
fn points_the_wrong_way_round_are_refused() {
    let (mut cold, mut warm) = (at(0.0, 0.0), at(40.0, 0.0));
    std::mem::swap(&mut cold.input, &mut warm.input);
    assert_snapshot!(made(&label(), vec![cold, warm]).unwrap_err(), @"point 1 (0 Cel at 5332 ohm) and point 2 (40 Cel at 32691 ohm) are out of order: by the probe's curve more ohm means less Cel; look whether two points were taken for each other, or whether the probe is of another kind");
}

#[test]
fn points_close_together_are_told_and_at_one_place_count_as_one() {
    assert_snapshot!(remarks(&label(), vec![at(20.0, 0.0), at(21.0, 0.0)]), @"the points lie from 20 Cel to 21 Cel, and their distance is known to 0.14 Cel: the curve is uncertain beyond them; points further apart would pay");
    let same = made(&label(), vec![at(20.0, 0.0), at(20.1, 0.0)]).unwrap();
    assert_snapshot!(same.decision, @"two points at one place: `r0` is fitted, an offset on the curve as configured; `beta` stays as configured");
    assert_eq!(same.terms.len(), 1);
}

#[test]
fn a_term_at_its_bound_is_told() {
    // Gamma is at most 2 by the driver; these invented lights ask for 3: R10 (10 lx / E)^3.
    let light = |lux: f64| Told {
        value: lux,
        input: 2e4 * (10.0 / lux).powi(3),
        ..Told::default()
    };
    let cell = vec![vec![1e4], vec![0.7]];
    let points = vec![light(5.0), light(20.0)];
    let calibration = made_by("photoresistor", &cell, points).unwrap();
    assert_snapshot!(calibration.remarks.join("\n"), @"`gamma` was stopped at its bound, 2: the points ask for what no probe of this kind has; check them, and the parameters as configured");
}

#[test]
fn whatever_the_points_hold_nothing_panics() {
    let hard = [f64::NAN, f64::INFINITY, -1.0, 0.0, 1e300, f64::MIN_POSITIVE];
    for one in hard {
        for other in hard {
            let wild = Told {
                value: one,
                own: other,
                common: other,
                input: one,
                input_uncertainty: other,
                ..Told::default()
            };
            for count in 1..4 {
                let points = vec![wild.clone(); count];
                let said = made(&label(), points).map_err(|why| why.to_string());
                assert!(said.is_ok() || said.is_err_and(|why| !why.is_empty()));
            }
        }
    }
}
