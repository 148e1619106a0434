//! Shares against hand-made numbers and against drawing by chance (JCGM 101:2008).

use super::*;
use crate::calibrate::{
    Captured, Compared, Point, Reference, Role, Shape, Source, Term, coverage::interval_95,
};
use crate::driver::find;
use crate::measure::chain::Chain;
use crate::measure::decode::Slot;
use crate::measure::front_end::{Electrical, FrontEnd, Side};
use crate::measure::testing::{gaussian, near};
use std::time::Duration;
use three_points::calibrate;

#[path = "../../../tests/coverage/three_points.rs"]
mod three_points;

mod chance;

fn channel(name: &str, resistor: f64) -> Channel {
    Channel {
        board: "bench".to_owned(),
        channel: name.to_owned(),
        resistor: Some(resistor),
        scale_uncertainty: 0.01 / 3.0_f64.sqrt(),
    }
}

/// Points on a common 10 kOhm curve: `classic_10k` of the published Steinhart-Hart examples beside the
/// thermistor driver; the uncertainties are invented.
fn points() -> Vec<Point> {
    let instrument = || Reference::Instrument {
        name: "kitchen".to_owned(),
    };
    let point = |ohm: f64, value: f64, (reference, own, common)| Point {
        role: Role::Fit,
        compared: Compared {
            reference,
            value,
            own,
            common,
            common_shape: Shape::Rectangular,
        },
        captured: Captured {
            from_ms: 0,
            until_ms: 60_000,
            raw: Vec::new(),
            electrical: Vec::new(),
            mean: ohm,
            uncertainty: 1e-4 * ohm,
            effective: 60.0,
            drift: (0.0, 0.0),
            evidence: String::new(),
        },
    };
    vec![
        point(32_650.0, 0.000_224_8, (Reference::Ice, 0.05, 0.0)),
        point(10_000.0, 24.999_668_2, (instrument(), 0.03, 0.15)),
        point(3_602.0, 49.992_955_6, (instrument(), 0.03, 0.15)),
    ]
}

fn calibrated(here: &Channel) -> Stated {
    let made = calibrate(&points(), &channel("a0", 10_000.0));
    Stated::calibrated(&made, find("thermistor").unwrap(), here).unwrap()
}

fn beta_model() -> Model {
    let mut values = vec![Vec::new(); 12];
    (values[1], values[3]) = (vec![10_000.0], vec![3950.0]);
    find("thermistor").unwrap().bind(values).unwrap()
}

fn nominal(tolerance: Tolerance) -> Stated {
    Stated::nominal(beta_model(), tolerance, &channel("a0", 10_000.0))
}

fn named<'s>(shares: &'s [Share], name: &str) -> Option<&'s Share> {
    shares.iter().find(|share| share.name.contains(name))
}

#[test]
fn at_a_point_its_own_reference_is_what_is_known() {
    let stated = calibrated(&channel("a0", 10_000.0));
    near(stated.evaluate(10_000.0).unwrap(), 24.999_668_2, 1e-9);
    // The curve goes through the point, so its uncertainty is the point's: reference, and 10^-4 of
    // the resistance at 4.4 %/K.
    let electrical = 1e-4 * 10_000.0 * stated.slope(10_000.0).unwrap();
    let expected = 0.15_f64.hypot(0.03).hypot(electrical);
    near(stated.uncertainty(10_000.0, 0.0).unwrap(), expected, 1e-4);
    near(stated.uncertainty(32_650.0, 0.0).unwrap(), 0.05, 0.01);
}

#[test]
fn shares_are_the_uncertainty_cause_by_cause() {
    let stated = calibrated(&channel("a1", 10_000.0)).heated(Some(heating()));
    let converter = Converter {
        step: 3.0,
        noise: 5.0,
        supply: 2.0,
    };
    for ohm in [2_000.0, 8_000.0, 40_000.0] {
        let shares = stated.shares(ohm, converter).unwrap();
        let sum = shares
            .iter()
            .fold(0.0, |sum: f64, s| sum.hypot(s.uncertainty));
        let whole = stated.uncertainty(ohm, converter.total()).unwrap();
        near(whole, sum, 1e-12);
        assert!(
            shares.iter().all(|share| !share.remedy.is_empty()),
            "{shares:#?}"
        );
    }
}

#[test]
fn the_resistor_cancels_where_the_probe_was_calibrated_and_counts_in_full_where_it_was_not() {
    // 1 % of the resistance is 0.23 K at 25 Cel (field practice: 4.4 %/K), over sqrt(3).
    let on = |here: &Channel| {
        let shares = calibrated(here).shares(10_000.0, Converter::default());
        let all = shares.unwrap().into_iter();
        let resistors = all.filter(|share| share.name.starts_with("resistor"));
        resistors.map(|share| share.uncertainty).collect::<Vec<_>>()
    };
    assert_eq!(on(&channel("a0", 10_000.0)), [0.0; 0]);
    for moved in [channel("a1", 10_000.0), channel("a0", 4_700.0)] {
        let [then, here] = on(&moved)[..] else {
            panic!("both resistors count")
        };
        near(then, 0.23 / 3.0_f64.sqrt(), 0.02);
        near(then.hypot(here), 2.0_f64.sqrt() * then, 1e-9);
    }
    let never = nominal(Tolerance::Unknown).shares(10_000.0, Converter::default());
    near(never.unwrap()[0].uncertainty, 0.23 / 3.0_f64.sqrt(), 0.03);
}

#[test]
fn a_kind_is_off_its_nominal_curve_by_its_tolerance() {
    let root = 3.0_f64.sqrt();
    let share = |tolerance| {
        let shares = nominal(tolerance).shares(10_000.0, Converter::default());
        named(&shares.unwrap(), "tolerance").unwrap().uncertainty
    };
    near(share(Tolerance::Value(0.5)), 0.5 / root, 1e-12);
    // 5 % at T² / B = 22.5 K a unit of ln R.
    let expected = 0.05 * 298.15_f64.powi(2) / 3950.0 / root;
    near(share(Tolerance::Electrical(0.05)), expected, 1e-6);
    let usual = Tolerance::usual(&beta_model(), Electrical::Ohm, "Cel");
    assert_eq!(usual, Tolerance::Electrical(0.05));
}

/// 5 V on 10 kOhm, a bead in air.
fn heating() -> SelfHeating {
    SelfHeating {
        supply_volt: 5.0,
        resistor_ohm: 10_000.0,
        dissipation: 1.5e-3,
    }
}

#[test]
fn self_heating_is_corrected_once_and_never_twice() {
    let here = channel("a0", 10_000.0);
    let rise = heating().rise(10_000.0);
    let of = |stated: &Stated| {
        let cold = stated.evaluate(10_000.0).unwrap();
        let warm = stated.clone().heated(Some(heating()));
        let shares = warm.shares(10_000.0, Converter::default()).unwrap();
        let share = named(&shares, "self-heating").unwrap().uncertainty;
        (cold - warm.evaluate(10_000.0).unwrap(), share)
    };
    let root = 3.0_f64.sqrt();
    let (taken, share) = of(&nominal(Tolerance::Unknown));
    near(taken, rise, 1e-9);
    near(share, 0.3 * rise / root, 1e-9);
    let (taken, share) = of(&calibrated(&here));
    assert_eq!(taken, 0.0);
    near(share, rise / root, 1e-9);
}

#[test]
fn outside_the_points_a_reading_says_so_and_its_uncertainty_grows() {
    let stated = calibrated(&channel("a0", 10_000.0));
    let inside = stated.answer(10_000.0, 1.0).unwrap();
    let outside = stated.answer(500.0, 1.0).unwrap();
    assert!(!inside.extrapolated && outside.extrapolated);
    assert!(
        outside.uncertainty > 2.0 * inside.uncertainty,
        "{inside:?} {outside:?}"
    );
    // Noise about the outermost point is no extrapolation.
    assert!(!stated.answer(32_650.0 + 15.0, 10.0).unwrap().extrapolated);
    assert!(stated.answer(32_650.0 + 25.0, 10.0).unwrap().extrapolated);
    assert!(
        !nominal(Tolerance::Unknown)
            .answer(1_000.0, 1.0)
            .unwrap()
            .extrapolated
    );
}

#[test]
fn a_calibration_that_does_not_fit_its_driver_is_told() {
    let made = calibrate(&points(), &channel("a0", 10_000.0));
    let told = |change: &dyn Fn(&mut Calibration), driver: &str| {
        let mut other = made.clone();
        change(&mut other);
        let here = channel("a0", 10_000.0);
        let stated = Stated::calibrated(&other, find(driver).unwrap(), &here);
        stated.unwrap_err().to_string()
    };
    insta::assert_snapshot!(told(&|_| (), "divider"), @"the calibration is for the driver `thermistor`, not for `divider`");
    insta::assert_snapshot!(told(&|made| made.parameters[1].0 = "alpha".to_owned(), "thermistor"), @"the calibration has the parameter `alpha`, which the driver `thermistor` does not have any more");
    insta::assert_snapshot!(told(&|made| made.sources[0].loading.truncate(1), "thermistor"), @"the calibration fitted 3 terms, but `reference` moves 1");
    insta::assert_snapshot!(told(&|made| made.terms[0] = Term::Parameter(99), "thermistor"), @"the calibration fitted parameter 99, which is no number");
    insta::assert_snapshot!(told(&|made| made.terms = vec![Term::Offset; 9], "thermistor"), @"a fit of 9 terms; at most 8");
}

#[test]
fn a_line_on_top_moves_value_and_slope() {
    let mut made = calibrate(&points(), &channel("a0", 10_000.0));
    (made.offset, made.slope, made.pivot) = (0.5, 0.01, 25.0);
    made.terms = vec![Term::Offset, Term::Slope];
    made.sources = vec![Source {
        name: "ice point".to_owned(),
        remedy: String::new(),
        shape: Shape::Normal,
        loading: vec![0.1, 0.02],
    }];
    let driver = find("thermistor").unwrap();
    let stated = Stated::calibrated(&made, driver, &channel("a0", 10_000.0)).unwrap();
    let plain = stated.curve().model.evaluate(3_602.0).unwrap();
    let value = plain + 0.5 + 0.01 * (plain - 25.0);
    near(stated.evaluate(3_602.0).unwrap(), value, 1e-12);
    let expected = 0.1 + 0.02 * (plain - 25.0);
    near(stated.uncertainty(3_602.0, 0.0).unwrap(), expected, 1e-9);
}

#[test]
fn a_budget_of_a_fresh_probe_asks_for_a_calibration() {
    let converter = Converter {
        step: 11.3,
        noise: 20.0,
        supply: 0.0,
    };
    let budget = nominal(Tolerance::Electrical(0.05)).budget(10_000.0, converter, "Cel");
    insta::assert_snapshot!(budget.unwrap(), @r"
    cause                                        shape          standard u. variance
    tolerance of the probe's kind                rectangular      0.650 Cel     96 %
    resistor of channel `bench/a0`               rectangular      0.130 Cel      4 %
    noise                                        normal           0.045 Cel    < 1 %
    step of the converter                        rectangular      0.025 Cel    < 1 %
    standard uncertainty                                          0.665 Cel
    expanded uncertainty (k = 2)                                  1.329 Cel
    half of the interval that holds 95 % (JCGM 101)               1.131 Cel
    tolerance of the probe's kind is 96 % of it: a calibration would pay, ice water
    alone for a beginning
    ");
}

/// Standard uncertainty of means over so many lines of a noisy 10-bit board, and their spread.
fn means_over(lines: u64) -> (f64, f64) {
    const MEANS: u64 = 40;
    let wiring = FrontEnd::Divider {
        probe: Side::Low,
        resistor_ohm: 10_000.0,
        full_scale: 1023.0,
    };
    let every = Some(Duration::from_secs(lines));
    let stated = nominal(Tolerance::Value(0.5));
    let mut chain = Chain::new(wiring, Electrical::Ohm, 1, every, stated);
    let mut random = fastrand::Rng::with_seed(64);
    let (mut values, mut uncertainty) = (Vec::new(), 0.0);
    for second in 0..lines * MEANS {
        let count = (511.3 + 3.0 * gaussian(&mut random)).round();
        let measured = chain.push(second * 1_000_000_000, Slot::Number(count));
        if let Some(estimate) = measured.and_then(|measured| measured.outcome.estimate()) {
            values.push(estimate.value());
            uncertainty = estimate.uncertainty();
        }
    }
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    let squares = values.iter().map(|value| (value - mean).powi(2));
    (uncertainty, (squares.sum::<f64>() / count).sqrt())
}

#[test]
fn a_longer_mean_shrinks_the_noise_and_nothing_that_is_common() {
    let common = nominal(Tolerance::Value(0.5))
        .uncertainty(10_000.0, 0.0)
        .unwrap();
    let [short, middle, long] = [1, 16, 256].map(means_over);
    // The means themselves lie closer together by the root of how many lines went in ...
    near(short.1 / middle.1, 4.0, 0.35);
    near(middle.1 / long.1, 4.0, 0.35);
    // ... but what all of them are off by together stays.
    assert!(
        short.0 > middle.0 && middle.0 > long.0,
        "{short:?} {middle:?} {long:?}"
    );
    assert!(long.0 > common, "{} but {common} is common", long.0);
    near(long.0, common, 0.01);
}
