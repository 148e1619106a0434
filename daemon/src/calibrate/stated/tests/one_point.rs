//! A curve that was given, after one point: right there, and less so away from it.

use super::*;
use crate::calibrate::make::testing::{Told, point};

/// Ohms and degrees Celsius of a Pt100. Source: IEC 60751 (from memory).
const PT100: [(f64, f64); 6] = [
    (80.31, -50.0),
    (90.19, -25.0),
    (100.0, 0.0),
    (109.73, 25.0),
    (119.40, 50.0),
    (138.51, 100.0),
];

fn divider(given: &[(&str, Vec<f64>)]) -> Model {
    let driver = find("divider").unwrap();
    let value = |name: &str| given.iter().find(|(own, _)| *own == name);
    let declared = driver.parameters().into_iter();
    let values = declared.map(|one| value(one.name).map_or_else(Vec::new, |g| g.1.clone()));
    driver.bind(values.collect()).unwrap()
}

fn table() -> Model {
    divider(&[
        ("form", vec![2.0]),
        ("table_x", PT100.map(|row| row.0).into()),
        ("table_y", PT100.map(|row| row.1).into()),
    ])
}

/// After points at these values of the curve, by an ice point's uncertainty, of a kind that may be
/// off by 0.5 % of its resistance.
fn after(nominal: &Model, points: &[f64]) -> Stated {
    let told = points.iter().map(|value| {
        point(Told {
            value: *value,
            own: 0.05,
            input: nominal.invert(*value).unwrap(),
            input_uncertainty: 1e-3,
            ..Told::default()
        })
    });
    let here = channel("a0", 10_000.0);
    let subject = Subject {
        nominal,
        unit: "Cel",
        input: Electrical::Ohm,
        channel: &here,
        allowed: &|_| None,
        tolerance: Tolerance::Electrical(0.005),
        made_ms: 0,
        due_ms: None,
    };
    let numbered: Vec<(u64, Point)> = (1..).zip(told).collect();
    let made = make(&numbered, &subject).unwrap();
    Stated::calibrated(&made, nominal.driver(), &here).unwrap()
}

#[test]
fn a_table_after_one_ice_point_is_less_sure_the_further_away() {
    let stated = after(&table(), &[0.0]);
    let at = |ohm| stated.uncertainty(ohm, 0.0).unwrap();
    near(at(100.0), 0.05, 1e-2);
    // A resistance that is 0.5 % off all over is off by so much at 25 Cel after an offset at 0 Cel.
    let left = 0.005 * (109.73 - 100.0) * 25.0 / 9.73;
    let share = (at(109.73).powi(2) - at(100.0).powi(2)).sqrt();
    assert!(share * 3.0_f64.sqrt() > left, "{share} {left}");
    assert!(at(90.19) > 0.08 && at(119.40) > at(109.73) && at(138.51) > 0.35);
    let shares = stated.shares(119.40, Converter::default()).unwrap();
    let share = named(&shares, "away from its point").unwrap();
    assert_eq!(share.shape, Shape::Rectangular);
}

#[test]
fn a_second_point_or_a_drivers_own_word_takes_its_place() {
    let two = after(&table(), &[0.0, 50.0]);
    let straight = after(&divider(&[("gain", vec![1.0])]), &[100.0]);
    let thermistor = after(&beta_model(), &[0.0]);
    for (stated, input, expected) in [
        (two, 119.40, false),
        (straight, 150.0, true),
        (thermistor, 10_000.0, false),
    ] {
        let shares = stated.shares(input, Converter::default()).unwrap();
        assert_eq!(named(&shares, "away from its point").is_some(), expected);
    }
}
