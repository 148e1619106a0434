//! What holds for any points: their order and their units change nothing, and nothing panics.

use super::*;
use crate::measure::chain::Transfer;
use proptest::prelude::*;

/// Ohms of invented points of a 10 kohm probe, from cold to hot.
const OHMS: [f64; 5] = [31_000.0, 16_000.0, 9_500.0, 5_000.0, 2_400.0];

/// Points on a typical curve, each off by so many uncertainties of 0.1 K.
fn points(off: [f64; 5]) -> Points {
    let family = steinhart_hart();
    let truth = family.at(&family.start()).unwrap();
    let value = |at: usize| truth.evaluate(OHMS[at]).unwrap() + 0.1 * off[at];
    let values: Vec<f64> = (0..5).map(value).collect();
    let mut points = Points::new(&OHMS, &values, 0.1);
    points.input_uncertainties = OHMS.iter().map(|ohms| 1e-3 * ohms).collect();
    // The first two by one thermometer.
    points.covariance[(0, 1)] = 0.005;
    points.covariance[(1, 0)] = 0.005;
    points
}

fn permuted(points: &Points, order: &[usize]) -> Points {
    let pick = |list: &[f64]| order.iter().map(|at| list[*at]).collect();
    let count = order.len();
    Points {
        inputs: pick(&points.inputs),
        input_uncertainties: pick(&points.input_uncertainties),
        values: pick(&points.values),
        covariance: DMatrix::from_fn(count, count, |i, j| points.covariance[(order[i], order[j])]),
    }
}

fn offs() -> impl Strategy<Value = [f64; 5]> {
    proptest::array::uniform5(-3.0..3.0_f64)
}

/// Any number, and more often than by chance one that hurts.
fn hostile() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<f64>(),
        proptest::sample::select(vec![
            0.0,
            -0.0,
            1.0,
            -1.0,
            f64::NAN,
            f64::INFINITY,
            f64::MIN_POSITIVE,
            f64::MAX,
            f64::MIN,
            1e-300,
            1e300,
            25.0,
            1e4,
        ]),
        -50.0..150.0_f64,
        1.0..1e6_f64,
    ]
}

fn families() -> Vec<Family> {
    let photoresistor = [("r10", 2e4), ("gamma", 0.7)];
    let divider = find("divider").unwrap();
    vec![
        steinhart_hart(),
        beta(1e4),
        family(
            find("photoresistor").unwrap(),
            &photoresistor,
            &["r10", "gamma"],
        ),
        family(divider, &[], &["offset", "gain"]),
        family(divider, &[], &["+offset", "+slope"]),
        family(divider, &[], &["offset", "+offset"]),
        family(
            makers::meyer(),
            &[("b1", 0.02), ("b2", 4000.0), ("b3", 250.0)],
            &["b1", "b2", "b3"],
        ),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn the_order_of_the_points_changes_nothing(off in offs(), order in Just(vec![0, 1, 2, 3, 4]).prop_shuffle()) {
        let here = points(off).fit(&steinhart_hart()).unwrap();
        let there = permuted(&points(off), &order).fit(&steinhart_hart()).unwrap();
        let deviations = here.covariance.diagonal().map(f64::sqrt);
        for term in 0..3 {
            // The search ends where chi-square moves by rounding only: 1e-14 of it, 1e-7 of the terms.
            prop_assert!((here.theta[term] - there.theta[term]).abs() < 1e-5 * deviations[term]);
        }
        prop_assert!((here.chi_square - there.chi_square).abs() < 1e-6 * (1.0 + here.chi_square));
    }

    #[test]
    fn kiloohms_and_ohms_give_the_same_curve(off in offs(), factor in 1e-2..1e3_f64) {
        let points = points(off);
        let mut scaled = points.clone();
        for list in [&mut scaled.inputs, &mut scaled.input_uncertainties] {
            list.iter_mut().for_each(|one| *one *= factor);
        }
        let (here, there) = (points.fit(&beta(9e3)).unwrap(), scaled.fit(&beta(9e3 * factor)).unwrap());
        assert_near(there.theta[0], here.theta[0] * factor, 1e-8);
        assert_near(there.theta[1], here.theta[1], 1e-8);
        assert_near(there.covariance[(0, 0)], here.covariance[(0, 0)] * factor * factor, 1e-6);
        assert_near(there.chi_square + 1.0, here.chi_square + 1.0, 1e-8);
    }

    #[test]
    fn another_unit_of_the_value_scales_a_lines_terms(off in offs(), factor in 1e-6..1e6_f64) {
        let points = points(off);
        let mut scaled = points.clone();
        scaled.values.iter_mut().for_each(|one| *one *= factor);
        scaled.covariance *= factor * factor;
        let line = family(find("divider").unwrap(), &[], &["offset", "gain"]);
        let (here, there) = (points.fit(&line).unwrap(), scaled.fit(&line).unwrap());
        for term in 0..2 {
            assert_near(there.theta[term], here.theta[term] * factor, 1e-6);
        }
    }

    #[test]
    fn whatever_comes_in_a_fit_or_a_reason_comes_out(
        inputs in proptest::collection::vec(hostile(), 0..5),
        values in proptest::collection::vec(hostile(), 5),
        uncertainties in proptest::collection::vec(hostile(), 5),
        input_uncertainties in proptest::collection::vec(hostile(), 5),
        which in 0..7_usize,
    ) {
        let count = inputs.len();
        let diagonal = DVector::from_column_slice(&uncertainties[..count]);
        let points = Points {
            values: values[..count].to_vec(),
            input_uncertainties: input_uncertainties[..count].to_vec(),
            covariance: DMatrix::from_diagonal(&diagonal),
            inputs,
        };
        if let Ok(fitted) = points.fit(&families()[which]) {
            let numbers = fitted.theta.iter().chain(fitted.covariance.iter()).chain(fitted.gain.iter());
            prop_assert!(numbers.chain(fitted.input_gain.iter()).all(|x| x.is_finite()));
            prop_assert!(fitted.chi_square.is_finite() && fitted.chi_square >= 0.0);
        }
    }
}

#[test]
fn points_that_cannot_be_fitted_say_why() {
    let fit =
        |inputs: &[f64], values: &[f64], u: f64| Points::new(inputs, values, u).fit(&beta(1e4));
    let refused = |inputs: &[f64], values: &[f64], u: f64| fit(inputs, values, u).unwrap_err();
    let (near, apart) = ([1e4, 1e4], [1e4, 3e4]);
    assert_eq!(
        refused(&[1e4], &[25.0], 0.1),
        Unfit::Points {
            points: 1,
            terms: 2
        }
    );
    assert_eq!(refused(&near, &[25.0, 25.1], 0.1), Unfit::Undetermined);
    assert_eq!(refused(&apart, &[25.0, f64::NAN], 0.1), Unfit::NoNumber);
    assert_eq!(refused(&apart, &[25.0, 0.0], 0.0), Unfit::Beginning);
    assert_eq!(refused(&[1e4, -1.0], &[25.0, 0.0], 0.1), Unfit::Beginning);
    let line = family(
        find("thermistor").unwrap(),
        &[("r0", 1e4), ("beta", 3950.0)],
        &["a"],
    );
    let unused = Points::new(&apart, &[25.0, 0.0], 0.1).fit(&line);
    assert_eq!(unused, Err(Unfit::NoStart));
    let same = family(find("divider").unwrap(), &[], &["offset", "+offset"]);
    let twice = Points::new(&apart, &[25.0, 0.0], 0.1).fit(&same);
    assert_eq!(twice, Err(Unfit::Undetermined));
}

#[test]
fn a_term_that_the_points_push_over_its_bound_stays_there_and_the_others_go_on() {
    // Gamma is at most 2 by the driver; these invented points ask for 3: R10 (10 lx / E)^3.
    let cell = family(
        find("photoresistor").unwrap(),
        &[("r10", 1e4), ("gamma", 0.7)],
        &["r10", "gamma"],
    );
    let lux = [5.0_f64, 10.0, 20.0];
    let ohms = lux.map(|lux| 2e4 * (10.0 / lux).powi(3));
    let fitted = Points::new(&ohms, &lux, 0.5).fit(&cell).unwrap();
    assert_eq!(fitted.at_bound, [false, true]);
    assert_eq!(fitted.theta[1], 2.0);
    let alone = family(
        find("photoresistor").unwrap(),
        &[("r10", 1e4), ("gamma", 2.0)],
        &["r10"],
    );
    let alone = Points::new(&ohms, &lux, 0.5).fit(&alone).unwrap();
    assert_near(fitted.theta[0], alone.theta[0], 1e-9);
}

#[test]
fn the_gradient_of_a_line_is_one_and_its_input_even_where_it_crosses_zero() {
    let line = family(find("divider").unwrap(), &[], &["offset", "gain"]);
    for (theta, input) in [([0.0, 1.0], 0.0), ([-5.0, 1.0], 5.0), ([1e6, 1e-3], 7.0)] {
        let gradient = line.gradient(&theta, input).unwrap();
        assert!((gradient[0] - 1.0).abs() < 1e-9, "{gradient:?}");
        assert!(
            (gradient[1] - input).abs() < 1e-9 * (1.0 + input),
            "{gradient:?}"
        );
    }
    // Nearly 0 Cel: T² / (beta R0) for R0, by the equation.
    let probe = family(
        find("thermistor").unwrap(),
        &[("r0", 1e4), ("beta", 3950.0), ("t0", 0.0)],
        &["r0"],
    );
    let gradient = probe.gradient(&[1e4], 1e4).unwrap();
    assert_near(gradient[0], 273.15 * 273.15 / (3950.0 * 1e4), 1e-9);
}
