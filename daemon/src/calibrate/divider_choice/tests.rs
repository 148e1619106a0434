//! Tests of the choice: worked examples, exact arithmetic, and every value of a series by itself.

use super::*;
use crate::driver::find;
use proptest::prelude::*;

fn model(name: &str, given: &[(&str, f64)]) -> Model {
    let driver = find(name).expect("a shipped driver");
    let value = |parameter: &crate::driver::Parameter| {
        let given = given.iter().find(|(name, _)| *name == parameter.name);
        given.map_or_else(Vec::new, |(_, value)| vec![*value])
    };
    let values = driver.parameters().iter().map(value).collect();
    driver.bind(values).expect("sound parameters")
}

/// The most widely reprinted 10 kohm set of coefficients (from memory).
fn classic_10k() -> Model {
    let given = [
        ("form", 1.0),
        ("a", 0.001129148),
        ("b", 0.000234125),
        ("c", 8.76741e-8),
    ];
    model("thermistor", &given)
}

fn question(model: Model, range: (f64, f64)) -> Question {
    Question {
        model,
        range,
        full_scale: 1023.0,
        side: Side::Low,
        supply_volt: None,
        relative: false,
        series: Series::E24,
    }
}

/// Worked example: 10 kohm thermistor, largest swing 13.2 kohm for 0 to 40 Cel, 4.7 kohm for 0 to 100.
#[test]
fn the_largest_swing_is_at_the_geometric_mean() {
    for (range, kilohm) in [((0.0, 40.0), 13.2), ((0.0, 100.0), 4.7)] {
        let choice = choose(&question(classic_10k(), range)).expect("an answer");
        assert!(
            (choice.swing.resistor_ohm / 1e3 - kilohm).abs() < 0.05,
            "{range:?}"
        );
    }
}

/// Worked example: steps of 10 bits at 0, 50 and 100 Cel, with 10 and with 4.7 kohm.
#[test]
fn steps_are_those_of_the_worked_example() {
    for (resistor, wanted) in [(1e4, [0.11, 0.13, 0.56]), (4.7e3, [0.17, 0.11, 0.30])] {
        let places = question(classic_10k(), (0.0, 100.0))
            .places(resistor, 3)
            .expect("an answer");
        for (place, wanted) in places.iter().zip(wanted) {
            let step = place.step.expect("between the rails");
            assert!(
                (step - wanted).abs() < 0.006,
                "{resistor} at {}: {step}",
                place.value
            );
        }
    }
}

/// Worked example: 10 kohm at 25 Cel beside 10 kohm, 0.62 mW at 5 V.
#[test]
fn self_heating_is_that_of_the_worked_example() {
    let question = Question {
        supply_volt: Some(5.0),
        ..question(classic_10k(), (0.0, 50.0))
    };
    let places = question.places(1e4, 3).expect("an answer");
    let power = places[1].power_watt.expect("a supply was given");
    assert!((power - 0.625e-3).abs() < 1e-6, "{power}");
    let worst = question.with_resistor(1e4).expect("an answer").power_watt;
    assert!(worst.is_some_and(|worst| (worst - 0.625e-3).abs() < 1e-6));
}

/// Source: `divider_adc.csv`, exact rational arithmetic; printed to 6 digits. A model that hands the
/// ohms on, so that a step of the value is one of resistance.
#[test]
fn a_step_is_the_exact_one() {
    let ohms = model("divider", &[]);
    let mut seen = 0;
    for line in include_str!("../../../tests/published/divider_adc.csv").lines() {
        let cells: Vec<&str> = line.split(',').collect();
        let numbers: Vec<f64> = cells[1..]
            .iter()
            .filter_map(|one| one.parse().ok())
            .collect();
        let [resistor, full_scale, _, _, ohm, step] = numbers[..] else {
            continue;
        };
        let question = Question {
            full_scale,
            side: if cells[0] == "low" {
                Side::Low
            } else {
                Side::High
            },
            ..question(ohms.clone(), (ohm, ohm * 1.1))
        };
        let got = question.places(resistor, 2).expect("an answer")[0].step;
        assert!(
            got.is_some_and(|got| (got / step - 1.0).abs() < 1e-5),
            "{line}: {got:?}"
        );
        seen += 1;
    }
    assert_eq!(seen, 27);
}

/// Source: the condition solved for a beta curve, R (beta - 2T) / (beta + 2T) (common practice).
#[test]
fn the_straightest_divider_is_that_of_the_formula() {
    let beta = model("thermistor", &[("r0", 1e4), ("beta", 3950.0)]);
    let choice = choose(&question(beta, (0.0, 50.0))).expect("an answer");
    let wanted = 1e4 * (3950.0 - 2.0 * 298.15) / (3950.0 + 2.0 * 298.15);
    let linear = choice.linear.expect("a resistor");
    assert!(
        (linear.resistor_ohm / wanted - 1.0).abs() < 1e-4,
        "{linear:?}"
    );
    let line = choose(&question(model("divider", &[]), (100.0, 200.0))).expect("an answer");
    assert_eq!(
        line.linear, None,
        "what is a line already is bent by any divider"
    );
}

#[test]
fn ranges_that_no_probe_has_are_refused() {
    let ask = |range| choose(&question(classic_10k(), range)).expect_err("refused");
    assert_eq!(ask((0.0, 500.0)), NoAnswer::OutOfReach(500.0));
    assert_eq!(ask((20.0, 20.0)), NoAnswer::NoRange);
    assert!(matches!(ask((f64::NAN, 20.0)), NoAnswer::OutOfReach(_)));
    // 8 bits, and five decades of light.
    let cell = model("photoresistor", &[("r10", 1e4), ("gamma", 0.9)]);
    let wide = Question {
        full_scale: 255.0,
        ..question(cell, (0.1, 1e5))
    };
    assert_eq!(choose(&wide), Err(NoAnswer::Rails));
}

#[test]
fn light_is_judged_by_shares() {
    let cell = model("photoresistor", &[("r10", 1e4), ("gamma", 0.7)]);
    let by = |relative| {
        let question = Question {
            relative,
            ..question(cell.clone(), (10.0, 1000.0))
        };
        choose(&question).expect("an answer").best
    };
    // Both ends of a power law are alike on the scale of shares, so the best is in the middle.
    let middle = 1e4 * 10_f64.powf(-0.7);
    assert!((by(true).resistor_ohm / middle).ln().abs() < 0.1);
    assert!(by(false).resistor_ohm < middle / 2.0);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// By hand over the whole series and a grid of values: (R + F)^2 / (F N) times the slope.
    #[test]
    fn no_other_value_of_the_series_is_better(
        r0 in 1e3..2e5_f64, beta in 2800.0..4600.0_f64, low in -20.0..40.0_f64, width in 5.0..60.0_f64,
        bits in 10..16_u32, high_side in any::<bool>(), which in 0..3_usize,
    ) {
        let series = [Series::E12, Series::E24, Series::E96][which];
        let probe = model("thermistor", &[("r0", r0), ("beta", beta)]);
        let question = Question {
            full_scale: f64::from((1_u32 << bits) - 1),
            side: if high_side { Side::High } else { Side::Low },
            series,
            ..question(probe.clone(), (low, low + width))
        };
        let best = choose(&question).expect("an answer").best;
        let places: Vec<(f64, f64)> = (0..=100)
            .map(|part| low + width * f64::from(part) / 100.0)
            .map(|value| probe.invert(value).expect("a value of the probe"))
            .map(|ohm| (ohm, probe.slope(ohm).expect("in range")))
            .collect();
        let step = |resistor: f64, (ohm, slope): (f64, f64)| {
            ((ohm + resistor).powi(2) / resistor / question.full_scale * slope).abs()
        };
        let worst = |resistor: f64| {
            places.iter().map(|place| step(resistor, *place)).fold(0.0, f64::max)
        };
        let stated = best.worst_step.expect("between the rails");
        prop_assert!((stated / worst(best.resistor_ohm) - 1.0).abs() < 1e-3);
        for other in series.values() {
            prop_assert!(worst(other) >= stated * (1.0 - 1e-3), "{} {other}", best.resistor_ohm);
        }
    }
}
