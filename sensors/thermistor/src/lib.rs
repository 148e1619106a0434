//! Temperature from the resistance of an NTC thermistor: ohm to degrees Celsius.
//!
//! Three published forms, all of them 1/T = c0 + c1 x + c2 x² + c3 x³ with x = ln(R / reference),
//! T in kelvin, so one curve serves all. Not for PTC or platinum probes: their resistance
//! grows with temperature (a table in the divider driver does those).

mod curve;
mod guess;
mod misfit;

use curve::Curve;
use nightbench_driver::{
    Check, Driver, Electrical, Guess, Misfit, Monotonic, Parameter, Slope, Text, Values,
    driver_table,
};

/// 0 °C in kelvin (SI Brochure, 9th edition, 2.3.1).
pub const ICE_POINT_K: f64 = 273.15;

/// Material constants that exist, kelvin; most are 2500 to 5000 K (common practice).
const LIKELY_BETA_K: std::ops::RangeInclusive<f64> = 500.0..=20_000.0;

const FORMS: &[Text] = &Text::all(["beta", "steinhart-hart", "four-term"]);
const BETA_FORM: usize = 0;
const STEINHART_HART: usize = 1;
const FOUR_TERM: usize = 2;

/// The driver; see the README beside it for equations and sources.
pub struct Thermistor;

impl Driver for Thermistor {
    const NAME: &'static str = "thermistor";
    const SUMMARY: &'static str = "temperature from the resistance of an NTC thermistor";
    const INPUTS: &'static [Electrical] = &[Electrical::Ohm];
    const QUANTITY: Option<&'static str> = Some("temperature");
    const UNIT: Option<&'static str> = Some("Cel");
    const PARAMETERS: &'static [Parameter] = &[
        Parameter::choice(
            "form",
            "equation that the other parameters belong to",
            FORMS,
            0,
        ),
        Parameter::number("r0", "beta: resistance at t0", "Ohm")
            .within(0.1, 1e8)
            .fitted(1),
        Parameter::number("t0", "beta: temperature of r0", "Cel")
            .or(25.0)
            .within(-100.0, 300.0),
        Parameter::number("beta", "beta: material constant", "K")
            .within(*LIKELY_BETA_K.start(), *LIKELY_BETA_K.end())
            .fitted(2),
        Parameter::number("a", "steinhart-hart: A", "K-1")
            .within(-1.0, 1.0)
            .fitted(1),
        Parameter::number("b", "steinhart-hart: B, of ln R", "K-1")
            .within(-1.0, 1.0)
            .fitted(2),
        Parameter::number("c", "steinhart-hart: C, of (ln R)^3", "K-1")
            .within(-1.0, 1.0)
            .fitted(3),
        Parameter::number("r25", "four-term: resistance at 25 Cel", "Ohm").within(0.1, 1e8),
        Parameter::number("a1", "four-term: constant term", "K-1")
            .within(-1.0, 1.0)
            .fitted(1),
        Parameter::number("b1", "four-term: of ln(R/R25)", "K-1")
            .within(-1.0, 1.0)
            .fitted(2),
        Parameter::number("c1", "four-term: of its square", "K-1")
            .within(-1.0, 1.0)
            .fitted(3),
        Parameter::number("d1", "four-term: of its cube", "K-1").within(-1.0, 1.0),
    ];
    const SLOPE: Option<Slope> = Some(|values, ohm| curve(values).slope(ohm));
    const GUESS: Option<Guess> = Some(guess::guess);
    const MISFIT: Option<Misfit> = Some(misfit::misfit);
    const MONOTONIC: Monotonic = Monotonic::Falling;

    fn range(values: Values<'_>) -> Option<(f64, f64)> {
        curve(values).range()
    }

    fn evaluate(values: Values<'_>, ohm: f64) -> Option<f64> {
        curve(values).temperature(ohm)
    }

    fn prepared(values: Values<'_>) -> impl Fn(f64) -> Option<f64> {
        let curve = curve(values);
        move |ohm| curve.temperature(ohm)
    }

    fn check(values: Values<'_>) -> Check {
        complete(values)?;
        let beta = curve(values).beta().ok_or(
            "with these parameters no resistance falls steadily between -100 and 300 Cel; \
             check their order, signs and powers of ten",
        )?;
        if LIKELY_BETA_K.contains(&beta) {
            Ok(())
        } else {
            Err(
                "these parameters make a probe with a material constant outside 500 to 20000 K, \
                 which no thermistor has; check their order and powers of ten",
            )
        }
    }
}

driver_table!(Thermistor);

fn curve(values: Values<'_>) -> Curve {
    let (reference_ohm, coefficients) = terms(values);
    Curve::new(reference_ohm, coefficients)
}

/// The reference resistance, and the coefficients of 1/T in powers of ln(R / reference).
fn terms(values: Values<'_>) -> (f64, [f64; 4]) {
    let number = |name| values.number(name);
    match values.choice("form") {
        FOUR_TERM => (
            number("r25"),
            [number("a1"), number("b1"), number("c1"), number("d1")],
        ),
        STEINHART_HART => (1.0, [number("a"), number("b"), 0.0, number("c")]),
        _ => {
            let t0_k = number("t0") + ICE_POINT_K;
            (number("r0"), [1.0 / t0_k, 1.0 / number("beta"), 0.0, 0.0])
        }
    }
}

/// Whether the chosen form has what it needs.
fn complete(values: Values<'_>) -> Check {
    let (needed, wrong): (&[&str], _) = match values.choice("form") {
        FOUR_TERM => (
            &["r25", "a1", "b1", "c1", "d1"],
            "the form `four-term` needs `r25`, `a1`, `b1`, `c1` and `d1`",
        ),
        STEINHART_HART => (
            &["a", "b", "c"],
            "the form `steinhart-hart` needs `a`, `b` and `c`",
        ),
        _ => (
            &["r0", "t0", "beta"],
            "the form `beta` needs `r0` and `beta`",
        ),
    };
    let all = needed.iter().all(|name| values.has(name));
    if all { Ok(()) } else { Err(wrong) }
}
