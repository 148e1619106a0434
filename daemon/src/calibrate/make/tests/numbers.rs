//! What a calibration holds adds up, and gives back the curve.

use super::*;
use crate::calibrate::Shape;
use crate::measure::chain::Transfer;
use nalgebra::{DMatrix, DVector};

fn with_shared_error() -> Vec<Told> {
    let shared = |celsius| Told {
        common: 0.2,
        ..at(celsius, 0.0)
    };
    vec![
        ice(0.02),
        shared(20.0),
        shared(40.0),
        shared(60.0),
        boiling(-0.05),
    ]
}

#[test]
fn the_sources_add_up_to_what_references_and_inputs_do_to_the_terms() {
    let calibration = made(&label(), with_shared_error()).unwrap();
    let points: Vec<(u64, Point)> = (1..)
        .zip(with_shared_error().into_iter().map(point))
        .collect();
    let taken = to_fit(&points);
    let places: Vec<(f64, f64)> = taken.iter().map(|one| (one.input(), one.value())).collect();
    let nominal = find("thermistor").unwrap().bind(label()).unwrap();
    let start = nominal.guess(&places).unwrap();
    let family = Family::new(start, calibration.pivot, calibration.terms.clone());
    let fitted = judge::fit_to(&taken, &family, family.start()).unwrap();
    let inputs = taken.iter().map(|one| one.input_uncertainty().powi(2));
    let inputs = DMatrix::from_diagonal(&DVector::from_iterator(taken.len(), inputs));
    let references = &fitted.gain * judge::covariance(&taken) * fitted.gain.transpose();
    let wanted = references + &fitted.input_gain * inputs * fitted.input_gain.transpose();
    for row in 0..3 {
        for column in 0..3 {
            let got = calibration.covariance[row][column];
            let wanted = wanted[(row, column)];
            assert!(
                (got / wanted - 1.0).abs() < 1e-8,
                "{row}, {column}: {got}, not {wanted}"
            );
        }
    }
}

#[test]
fn an_instruments_error_is_one_source_and_moves_all_of_its_points() {
    // One term, an offset by four points of one thermometer: its error stays in full, theirs halve.
    let table = ("table_x", "table_y");
    let declared = find("divider").unwrap().parameters();
    let value = |name: &str| match name {
        "form" => vec![2.0],
        name if name == table.0 => vec![1e3, 1e5],
        name if name == table.1 => vec![100.0, 0.0],
        _ => vec![],
    };
    let parameters: Vec<Vec<f64>> = declared.iter().map(|one| value(one.name)).collect();
    let told = Told {
        value: 50.0,
        input: 50_000.0,
        own: 0.1,
        common: 0.3,
        ..Told::default()
    };
    let calibration = made_by("divider", &parameters, vec![told; 4]).unwrap();
    assert_eq!(
        calibration.decision,
        "four points at one place: an offset on the driver's curve"
    );
    let kitchen = calibration
        .sources
        .iter()
        .find(|one| one.name == "reference `kitchen`")
        .unwrap();
    assert!((kitchen.loading[0] - 0.3).abs() < 1e-9);
    assert_eq!(kitchen.shape, Shape::Rectangular);
    let expected = 0.3_f64.powi(2) + 0.1_f64.powi(2) / 4.0;
    assert!((calibration.covariance[0][0] / expected - 1.0).abs() < 1e-3);
}

#[test]
fn boiling_points_share_the_barometer_whatever_the_pressure_and_instruments_by_their_name() {
    let boiling = |celsius: f64, pressure| Told {
        reference: Reference::Boiling {
            pressure,
            pressure_uncertainty: 300.0,
            altitude: None,
        },
        common: 0.1,
        ..at(celsius, 0.0)
    };
    let by = |name: &str, celsius| Told {
        reference: Reference::Instrument {
            name: name.to_owned(),
        },
        common: 0.2,
        ..at(celsius, 0.0)
    };
    // Boiling at 1013.25 hPa, and in the mountains at 845.6 hPa (95 Cel).
    let told = vec![
        boiling(99.97, 101_325.0),
        boiling(95.0, 84_560.0),
        by("kitchen", 20.0),
        by("cellar", 30.0),
        by("kitchen", 40.0),
    ];
    let calibration = made(&label(), told).unwrap();
    let shared = calibration
        .sources
        .iter()
        .filter(|one| !one.name.starts_with("point"));
    let names: Vec<_> = shared.map(|one| one.name.as_str()).collect();
    assert_eq!(
        names,
        [
            "air pressure at the boiling point",
            "reference `kitchen`",
            "reference `cellar`"
        ]
    );
}

#[test]
fn a_barometer_and_an_altitude_share_no_error() {
    let at_altitude = Told {
        reference: Reference::Boiling {
            pressure: 84_560.0,
            pressure_uncertainty: 1_208.0,
            altitude: Some(1_500.0),
        },
        common: 0.4,
        ..at(95.0, 0.0)
    };
    let barometer = Told {
        common: 0.05,
        ..boiling(0.0)
    };
    let told = vec![ice(0.0), barometer, at_altitude];
    let calibration = made(&label(), told).unwrap();
    let name = "air pressure at the boiling point";
    let pressures = calibration.sources.iter().filter(|one| one.name == name);
    assert_eq!(pressures.count(), 2);
}

#[test]
fn the_curve_is_found_again_from_what_is_kept() {
    let driver = find("thermistor").unwrap();
    for (parameters, told) in [
        (label(), with_shared_error()),
        (label(), vec![ice(0.0), at(40.0, 0.1)]),
        (steinhart_hart(), vec![ice(0.3)]),
    ] {
        let calibration = made(&parameters, told).unwrap();
        let text = serde_json::to_string(&calibration).unwrap();
        let kept: Calibration = serde_json::from_str(&text).unwrap();
        assert_eq!(kept, calibration);
        let curve = Curve::of(&kept, driver).unwrap();
        let (family, theta) = kept.family(driver).unwrap();
        assert_eq!(family.at(&theta).unwrap(), curve);
    }
}

#[test]
fn a_line_on_top_is_found_again_as_well() {
    let driver = find("divider").unwrap();
    let declared = driver.parameters();
    let value = |name: &str| match name {
        "form" => vec![1.0],
        "coefficients" => vec![-245.0, 2.35, 1e-3],
        _ => vec![],
    };
    let parameters: Vec<Vec<f64>> = declared.iter().map(|one| value(one.name)).collect();
    let told = |input, value| Told {
        input,
        value,
        input_uncertainty: 0.01,
        ..Told::default()
    };
    let points = vec![told(100.0, 0.3), told(138.5, 100.2)];
    let calibration = made_by("divider", &parameters, points).unwrap();
    assert_eq!(calibration.terms, [Term::Offset, Term::Slope]);
    let curve = Curve::of(&calibration, driver).unwrap();
    assert!((curve.evaluate(100.0).unwrap() - 0.3).abs() < 1e-9);
    assert!((curve.evaluate(138.5).unwrap() - 100.2).abs() < 1e-9);
}

#[test]
fn another_driver_does_not_take_a_calibration() {
    let calibration = made(&label(), vec![ice(0.0)]).unwrap();
    let refused = Curve::of(&calibration, find("divider").unwrap()).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "the calibration is for the driver `thermistor`, not for `divider`"
    );
}

#[test]
fn points_kept_out_and_known_resistors_are_not_fitted() {
    let check = Told {
        role: Role::Check,
        ..at(60.0, 5.0)
    };
    let resistor = Told {
        reference: Reference::Resistor {
            what: "10k 0.1 %".to_owned(),
        },
        ..at(25.0, 0.0)
    };
    let told = vec![ice(0.0), check.clone(), at(40.0, 0.0), resistor];
    let calibration = made(&label(), told).unwrap();
    assert_eq!(calibration.points, [1, 3]);
    assert_eq!(calibration.range, (ohms(40.0), ohms(0.0)));
    assert_eq!(made(&label(), vec![check]), Err(Refusal::NoPoints));
}
