//! Tests of `model.rs`: the shipped drivers there and back, and drivers that misbehave.

use nightbench_driver::{Check, Driver as Maker, Electrical, Parameter, Slope, Table, Values};
use proptest::prelude::*;

use super::*;
use crate::driver::find;

/// A driver whose first parameter says how it misbehaves.
struct Hostile;

const HEALTHY: f64 = 0.0;
const NOT_A_NUMBER: f64 = 1.0;
const INFINITE: f64 = 2.0;
const PANICS: f64 = 3.0;
const REFUSES: f64 = 4.0;
const CHECK_PANICS: f64 = 5.0;
const CHECK_REFUSES: f64 = 6.0;
const RANGE_REVERSED: f64 = 7.0;
const RANGE_INFINITE: f64 = 8.0;
const NO_RANGE: f64 = 9.0;
const RANGE_PANICS: f64 = 10.0;

impl Maker for Hostile {
    const NAME: &'static str = "hostile";
    const SUMMARY: &'static str = "misbehaves as told";
    const INPUTS: &'static [Electrical] = &[Electrical::Number];
    const QUANTITY: Option<&'static str> = None;
    const UNIT: Option<&'static str> = None;
    const PARAMETERS: &'static [Parameter] = &[Parameter::number("how", "how it misbehaves", "1")];

    fn range(values: Values<'_>) -> Option<(f64, f64)> {
        match values.number("how") {
            RANGE_REVERSED => Some((1.0, 0.0)),
            RANGE_INFINITE => Some((0.0, f64::INFINITY)),
            NO_RANGE => None,
            RANGE_PANICS => panic!("invented: the range fails"),
            _ => Some((0.0, 10.0)),
        }
    }

    fn evaluate(values: Values<'_>, input: f64) -> Option<f64> {
        match values.number("how") {
            NOT_A_NUMBER => Some(f64::NAN),
            INFINITE => Some(f64::INFINITY),
            PANICS => panic!("invented: the driver fails"),
            REFUSES => None,
            _ => Some(input * input),
        }
    }

    fn check(values: Values<'_>) -> Check {
        match values.number("how") {
            CHECK_PANICS => panic!("invented: the check fails"),
            CHECK_REFUSES => Err("`how` is not to the driver's liking"),
            _ => Ok(()),
        }
    }
}

static HOSTILE: Table = Table::of::<Hostile>();

/// As [`Hostile`], with a formula for the slope that gives no number.
struct Steep;

impl Maker for Steep {
    const NAME: &'static str = "steep";
    const SUMMARY: &'static str = "has a slope that is no number";
    const INPUTS: &'static [Electrical] = &[Electrical::Number];
    const QUANTITY: Option<&'static str> = None;
    const UNIT: Option<&'static str> = None;
    const PARAMETERS: &'static [Parameter] = &[];
    const SLOPE: Option<Slope> = Some(|_, _| Some(f64::INFINITY));

    fn range(_: Values<'_>) -> Option<(f64, f64)> {
        Some((0.0, 1.0))
    }

    fn evaluate(_: Values<'_>, input: f64) -> Option<f64> {
        Some(input)
    }
}

static STEEP: Table = Table::of::<Steep>();

fn hostile(how: f64) -> Result<Model, DriverError> {
    Driver::new(&HOSTILE)
        .expect("a sound table")
        .bind(vec![vec![how]])
}

/// A shipped driver with these parameters; the others as the configuration leaves them.
fn model(name: &str, given: &[(&str, &[f64])]) -> Model {
    let driver = find(name).expect("a shipped driver");
    let value = |parameter: &crate::driver::Parameter| {
        let given = given.iter().find(|(name, _)| *name == parameter.name);
        given.map_or_else(Vec::new, |(_, values)| values.to_vec())
    };
    driver
        .bind(driver.parameters().iter().map(value).collect())
        .expect("sound parameters")
}

fn thermistor() -> Model {
    model("thermistor", &[("r0", &[1e4]), ("beta", &[3950.0])])
}

#[test]
fn what_is_no_number_never_gets_through() {
    let broken = |how, code| {
        let model = hostile(how).expect("binds");
        assert_eq!(model.evaluate(1.0), Err(DriverError::Broken(code)));
        assert_eq!(model.slope(1.0), Err(DriverError::Broken(code)));
        assert_eq!(model.invert(1.0), Err(DriverError::Broken(code)));
    };
    broken(NOT_A_NUMBER, Status::DONE.code());
    broken(INFINITE, Status::DONE.code());
    broken(PANICS, Status::PANICKED.code());
    assert_eq!(
        hostile(REFUSES).expect("binds").evaluate(1.0),
        Err(DriverError::OutOfRange)
    );
    let steep = Driver::new(&STEEP)
        .expect("a sound table")
        .bind(vec![])
        .expect("binds");
    assert_eq!(steep.slope(0.5), Err(DriverError::Broken(0)));
}

#[test]
fn a_driver_that_cannot_be_bound_says_why() {
    let refused = |how| hostile(how).expect_err("refused");
    assert_eq!(
        refused(CHECK_REFUSES).to_string(),
        "`how` is not to the driver's liking"
    );
    assert_eq!(
        refused(NO_RANGE).to_string(),
        "the driver can turn no input into a value with these parameters"
    );
    for panics in [CHECK_PANICS, RANGE_PANICS] {
        assert_eq!(
            refused(panics),
            DriverError::Broken(Status::PANICKED.code())
        );
    }
    for range in [RANGE_REVERSED, RANGE_INFINITE] {
        assert_eq!(refused(range), DriverError::Broken(Status::DONE.code()));
    }
}

#[test]
fn without_a_formula_the_slope_is_a_difference() {
    let square = hostile(HEALTHY).expect("binds");
    // The derivative of x² is 2x; one-sided at the ends of the range.
    for input in [0.0_f64, 1e-3, 1.0, 3.0, 10.0] {
        let slope = square.slope(input).expect("in range");
        assert!((slope - 2.0 * input).abs() < 1e-4, "{input}: {slope}");
    }
}

#[test]
fn models_are_equal_by_driver_and_parameters() {
    assert_eq!(thermistor(), thermistor());
    assert_ne!(
        thermistor(),
        model("thermistor", &[("r0", &[1e4]), ("beta", &[3951.0])])
    );
    assert_ne!(model("divider", &[]), hostile(HEALTHY).expect("binds"));
    let shared: &(dyn Send + Sync) = &thermistor();
    let _ = shared;
}

#[test]
fn what_the_configuration_leaves_out_takes_the_declared_default() {
    let value = thermistor().evaluate(1e4).expect("in range");
    assert!((value - 25.0).abs() < 1e-9, "{value}");
}

#[test]
fn a_value_that_no_input_gives_is_out_of_range() {
    for value in [-101.0, 301.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        assert_eq!(
            thermistor().invert(value),
            Err(DriverError::OutOfRange),
            "{value}"
        );
    }
}

fn there_and_back(model: &Model, value: f64, tolerance: f64) {
    let input = model.invert(value).expect("within the values");
    let again = model.evaluate(input).expect("in range");
    assert!(
        (again - value).abs() <= tolerance * value.abs().max(1.0),
        "{value}: {again}"
    );
}

proptest! {
    #[test]
    fn every_temperature_is_found_again(
        celsius in -99.0..299.0_f64, r0 in 1e3..1e6_f64, beta in 2500.0..5000.0_f64,
    ) {
        there_and_back(&model("thermistor", &[("r0", &[r0]), ("beta", &[beta])]), celsius, 1e-9);
    }

    #[test]
    fn every_illuminance_is_found_again(decade in -2.9..5.2_f64, gamma in 0.4..1.0_f64) {
        let cell = model("photoresistor", &[("r10", &[2e4]), ("gamma", &[gamma])]);
        there_and_back(&cell, 10_f64.powf(decade), 1e-9);
    }

    #[test]
    fn every_value_of_a_line_is_found_again(value in -1e3..1e3_f64, gain in 0.1..100.0_f64, offset in -50.0..50.0_f64) {
        there_and_back(&model("divider", &[("gain", &[gain]), ("offset", &[offset])]), value, 1e-9);
    }

    #[test]
    fn whatever_comes_in_a_number_or_a_reason_comes_out(input in any::<f64>()) {
        let models = [
            thermistor(),
            model("photoresistor", &[("r10", &[2e4]), ("gamma", &[0.7])]),
            model("divider", &[("form", &[1.0]), ("coefficients", &[1.0, -2.0, 1e300])]),
        ];
        let hard = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.0, -0.0, -1.0, f64::MAX, f64::MIN_POSITIVE];
        for model in &models {
            for input in hard.into_iter().chain([input]) {
                for got in [model.evaluate(input), model.slope(input), model.invert(input)] {
                    prop_assert!(got.is_err() || got.is_ok_and(f64::is_finite));
                }
            }
        }
    }
}
