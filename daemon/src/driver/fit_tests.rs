//! Tests of `fit.rs`: the shipped drivers, and drivers that misbehave.

use nightbench_driver::{
    Driver as Maker, Electrical, Guess, Misfit, Parameter, Points, Start, Table, Values,
};
use proptest::prelude::*;

use super::*;
use crate::driver::{Driver, find};

/// A driver whose first parameter says how it misbehaves in a fit.
struct Unfit;

const PANICS: f64 = 1.0;
const NOT_A_NUMBER: f64 = 2.0;
const OUT_OF_BOUNDS: f64 = 3.0;
const NEGATIVE: f64 = 4.0;

fn start(values: Values<'_>, _: Points<'_>, start: &mut Start<'_>) -> Option<()> {
    match values.number("how") {
        PANICS => panic!("invented: the guess fails"),
        NOT_A_NUMBER => start.set("gain", f64::INFINITY),
        OUT_OF_BOUNDS => start.set("gain", -1.0),
        _ => return None,
    }
    Some(())
}

impl Maker for Unfit {
    const NAME: &'static str = "unfit";
    const SUMMARY: &'static str = "misbehaves in a fit as told";
    const INPUTS: &'static [Electrical] = &[Electrical::Number];
    const QUANTITY: Option<&'static str> = None;
    const UNIT: Option<&'static str> = None;
    const PARAMETERS: &'static [Parameter] = &[
        Parameter::number("how", "how it misbehaves", "1"),
        Parameter::number("gain", "factor", "1")
            .or(1.0)
            .within(0.0, 10.0)
            .fitted(2),
        Parameter::number("unread", "read by nobody", "1")
            .or(1.0)
            .fitted(1),
        Parameter::number("shift", "added", "1").or(0.0).fitted(1),
    ];
    const GUESS: Option<Guess> = Some(start);
    const MISFIT: Option<Misfit> = Some(|values, _, _| match values.number("how") {
        PANICS => panic!("invented: the misfit fails"),
        NOT_A_NUMBER => Some(f64::NAN),
        NEGATIVE => Some(-1.0),
        _ => None,
    });

    fn range(_: Values<'_>) -> Option<(f64, f64)> {
        Some((0.0, 10.0))
    }

    fn evaluate(values: Values<'_>, input: f64) -> Option<f64> {
        Some(values.number("shift") + values.number("gain") * input * input)
    }
}

static UNFIT: Table = Table::of::<Unfit>();

fn unfit(how: f64) -> Model {
    let driver = Driver::new(&UNFIT).expect("a sound table");
    let values = vec![vec![how], vec![], vec![], vec![]];
    driver.bind(values).expect("binds")
}

/// A shipped driver with these parameters; the others as the configuration leaves them.
fn model(name: &str, given: &[(&str, f64)]) -> Model {
    let driver = find(name).expect("a shipped driver");
    let value = |parameter: &crate::driver::Parameter| {
        let given = given.iter().find(|(name, _)| *name == parameter.name);
        given.map_or_else(Vec::new, |(_, value)| vec![*value])
    };
    let values = driver.parameters().iter().map(value).collect();
    driver.bind(values).expect("sound parameters")
}

fn thermistor() -> Model {
    model("thermistor", &[("r0", 1e4), ("beta", 3950.0)])
}

/// Names of what is fitted, in order.
fn fitted(model: &Model) -> Vec<&'static str> {
    let parameters = model.driver().parameters();
    let name = |(index, _): (usize, u32)| parameters[index].name;
    model.fitted().into_iter().map(name).collect()
}

fn index(model: &Model, name: &str) -> usize {
    let parameters = model.driver().parameters();
    parameters
        .iter()
        .position(|one| one.name == name)
        .expect("declared")
}

#[test]
fn what_is_given_in_the_present_form_is_fitted_in_its_rank() {
    assert_eq!(fitted(&thermistor()), ["r0", "beta"]);
    let both = [("r0", 1e4), ("beta", 3950.0), ("form", 1.0)];
    let curve = [("a", 1.129241e-3), ("b", 2.341077e-4), ("c", 8.775468e-8)];
    let curve = model("thermistor", &[&both[..], &curve].concat());
    assert_eq!(fitted(&curve), ["a", "b", "c"]);
    let cell = model("photoresistor", &[("r10", 1e4), ("gamma", 0.7)]);
    assert_eq!(fitted(&cell), ["r10", "gamma"]);
    assert_eq!(fitted(&model("divider", &[])), ["offset", "gain"]);
    assert_eq!(
        fitted(&model("divider", &[("gain", 1e6)])),
        ["offset", "gain"]
    );
    assert_eq!(fitted(&unfit(0.0)), ["shift", "gain"]);
}

#[test]
fn a_polynomial_and_a_table_have_nothing_to_fit() {
    let divider = find("divider").expect("a shipped driver");
    let table = |form: f64, coefficients: &[f64], x: &[f64]| {
        let lists = [coefficients, x, x].map(<[f64]>::to_vec);
        let values = vec![
            vec![form],
            vec![],
            vec![],
            lists[0].clone(),
            lists[1].clone(),
            lists[2].clone(),
        ];
        divider
            .bind([values, vec![vec![]; 2]].concat())
            .expect("binds")
    };
    assert!(table(1.0, &[1.0, 2.0], &[]).fitted().is_empty());
    assert!(table(2.0, &[], &[1.0, 2.0]).fitted().is_empty());
}

#[test]
fn numbers_and_bounds_are_told_and_lists_have_none() {
    let divider = model("divider", &[("gain", 2.0)]);
    assert_eq!(divider.number(index(&divider, "gain")), Some(2.0));
    for not_a_number in ["form", "table_x", "lowest"] {
        assert_eq!(divider.number(index(&divider, not_a_number)), None);
    }
    assert_eq!(divider.number(99), None);
    assert_eq!(thermistor().bounds(1), Some((0.1, 1e8)));
    assert_eq!(thermistor().bounds(0), None);
}

#[test]
fn parameters_that_are_told_bind_to_the_same_model() {
    let model = thermistor();
    let told = model.parameters();
    assert_eq!(told[1], ("r0", vec![1e4]));
    assert_eq!(told[4], ("a", vec![]));
    let values = told.into_iter().map(|(_, values)| values).collect();
    assert_eq!(model.driver().bind(values), Ok(model));
}

#[test]
fn changes_out_of_bounds_are_refused_with_the_bounds() {
    let model = thermistor();
    let refused = |changes: &[(usize, f64)]| {
        let errors = [
            model.evaluate_with(changes, 1e4).expect_err("refused"),
            model.slope_with(changes, 1e4).expect_err("refused"),
            model.with(changes).expect_err("refused"),
        ];
        assert!(errors.iter().all(|error| *error == errors[0]));
        errors[0].to_string()
    };
    assert_eq!(
        refused(&[(1, 0.0)]),
        "`r0` is 0 Ohm; it must be from 0.1 Ohm to 1e8 Ohm"
    );
    assert_eq!(refused(&[(3, f64::NAN)]), "`beta` must be a finite number");
    assert!(refused(&[(0, 3.0)]).starts_with("`form` must be one of"));
    assert_eq!(
        refused(&[(99, 1.0)]),
        "the driver has no parameter number 100"
    );
    let list = self::model("divider", &[]).with(&[(3, 1.0)]);
    assert!(list.is_err_and(|error| error.to_string() == "`coefficients` is a list, not a number"));
}

#[test]
fn a_start_is_bound_and_checked() {
    let points = [(32_639.0, 0.0), (10_000.0, 25.0), (3_600.0, 50.0)];
    let start = thermistor().guess(&points).expect("a start");
    assert_eq!(fitted(&start), ["a", "b", "c"]);
    for (ohm, celsius) in points {
        assert!((start.evaluate(ohm).expect("in range") - celsius).abs() < 1e-9);
    }
    // Hotter with more ohms: no thermistor does that.
    let reversed = thermistor().guess(&[(10_000.0, 0.0), (20_000.0, 25.0)]);
    assert!(
        matches!(reversed, Err(DriverError::Parameters(_))),
        "{reversed:?}"
    );
    assert_eq!(thermistor().guess(&[]), Err(DriverError::OutOfRange));
}

#[test]
fn a_driver_that_misbehaves_in_a_fit_gets_nothing_through() {
    let point = [(1.0, 2.0)];
    let broken = DriverError::Broken(Status::PANICKED.code());
    assert_eq!(unfit(PANICS).guess(&point), Err(broken.clone()));
    assert_eq!(unfit(PANICS).misfit(&[1.0], 1, 1.0), Err(broken));
    for how in [NOT_A_NUMBER, OUT_OF_BOUNDS] {
        let start = unfit(how).guess(&point);
        assert!(
            matches!(start, Err(DriverError::Parameters(_))),
            "{start:?}"
        );
    }
    for how in [NOT_A_NUMBER, NEGATIVE] {
        let misfit = unfit(how).misfit(&[1.0], 1, 1.0);
        assert_eq!(misfit, Err(DriverError::Broken(Status::DONE.code())));
    }
    assert_eq!(unfit(0.0).guess(&point), Err(DriverError::OutOfRange));
    assert_eq!(
        unfit(0.0).misfit(&[1.0], 1, 1.0),
        Err(DriverError::OutOfRange)
    );
    assert_eq!(
        unfit(0.0).misfit(&[1.0], 1, 11.0),
        Err(DriverError::OutOfRange)
    );
}

#[test]
fn where_nothing_was_fitted_or_nothing_is_known_the_misfit_is_0() {
    assert_eq!(thermistor().misfit(&[], 0, 1e4), Ok(0.0));
    assert_eq!(model("divider", &[]).misfit(&[0.5], 1, 0.7), Ok(0.0));
    let beyond = thermistor().misfit(&[1e4], 1, 3e4).expect("stated");
    assert!(beyond > 0.1, "{beyond}");
}

#[test]
fn without_a_formula_the_slope_with_changes_is_a_difference() {
    // The derivative of gain x^2.
    let slope = unfit(0.0).slope_with(&[(1, 3.0)], 2.0).expect("in range");
    assert!((slope - 12.0).abs() < 1e-4, "{slope}");
}

proptest! {
    #[test]
    fn changed_numbers_give_what_the_changed_model_gives(
        r0 in 1e3..1e6_f64, beta in 2500.0..5000.0_f64, decade in 1.0..7.0_f64,
    ) {
        let (model, changes, ohm) = (thermistor(), [(1, r0), (3, beta)], 10_f64.powf(decade));
        let changed = model.with(&changes).expect("sound");
        match changed.evaluate(ohm) {
            Ok(value) => prop_assert_eq!(model.evaluate_with(&changes, ohm), Ok(value)),
            // The driver's own edge is softer by rounding than the host's range.
            Err(error) => prop_assert_eq!(error, DriverError::OutOfRange),
        }
        prop_assert!(changed.slope(ohm).is_err() || changed.slope(ohm) == model.slope_with(&changes, ohm));
    }

    #[test]
    fn a_batch_gives_what_single_calls_give(inputs in proptest::collection::vec(1e2..1e6_f64, 0..20)) {
        let (model, mut values) = (thermistor(), vec![f64::NAN; inputs.len()]);
        let single: Result<Vec<f64>, _> = inputs.iter().map(|one| model.evaluate(*one)).collect();
        let batch = model.evaluate_all(&inputs, &mut values);
        prop_assert_eq!(batch.map(|()| values), single);
    }

    #[test]
    fn whatever_comes_in_a_number_or_a_reason_comes_out(
        changes in proptest::collection::vec((0..13_usize, any::<f64>()), 0..4),
        points in proptest::collection::vec((any::<f64>(), any::<f64>()), 0..5),
        input in any::<f64>(), free in 0..6_usize,
    ) {
        let nodes: Vec<f64> = points.iter().map(|point| point.0).collect();
        let cell = model("photoresistor", &[("r10", 1e4), ("gamma", 0.7)]);
        for model in [thermistor(), cell, model("divider", &[])] {
            for got in [model.evaluate_with(&changes, input), model.slope_with(&changes, input),
                model.misfit(&nodes, free, input)] {
                prop_assert!(got.is_err() || got.is_ok_and(f64::is_finite));
            }
            let _ = model.guess(&points);
        }
    }
}
