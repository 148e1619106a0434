//! Illuminance from the resistance of a photoconductive cell (CdS): ohm to lux.
//!
//! E = 10 lx (R10 / R)^(1 / gamma), the power law through the two points of the data sheet. It says
//! nothing about memory of earlier light, temperature or colour: see the README beside it. Powers
//! come from `libm`, so that every host computes the same bits.

mod fit;

use nightbench_driver::{
    Check, Driver, Electrical, Guess, Misfit, Monotonic, Parameter, Slope, Values, driver_table,
};

/// Illuminance at which `r10` is stated, lux.
const REFERENCE_LX: f64 = 10.0;
/// Between starlight (0.001 lx) and more than direct sunlight (100 000 lx).
const DARKEST_LX: f64 = 1e-3;
const BRIGHTEST_LX: f64 = 2e5;
/// So much (relative) may rounding carry the end of the range over the limits above.
const HAIR: f64 = 1e-9;

/// The driver.
pub struct Photoresistor;

impl Driver for Photoresistor {
    const NAME: &'static str = "photoresistor";
    const SUMMARY: &'static str = "illuminance from the resistance of a photoconductive cell";
    const INPUTS: &'static [Electrical] = &[Electrical::Ohm];
    const QUANTITY: Option<&'static str> = Some("illuminance");
    const UNIT: Option<&'static str> = Some("lx");
    const PARAMETERS: &'static [Parameter] = &[
        Parameter::number("r10", "resistance at 10 lx", "Ohm")
            .within(1.0, 1e8)
            .fitted(1),
        Parameter::number("gamma", "decades of resistance per decade of light", "1")
            .within(0.1, 2.0)
            .fitted(2),
    ];
    const SLOPE: Option<Slope> =
        Some(|values, ohm| Some(-Self::evaluate(values, ohm)? / (values.number("gamma") * ohm)));
    const GUESS: Option<Guess> = Some(fit::guess);
    const MISFIT: Option<Misfit> = Some(fit::misfit);
    const MONOTONIC: Monotonic = Monotonic::Falling;

    fn range(values: Values<'_>) -> Option<(f64, f64)> {
        let ohm =
            |lux: f64| values.number("r10") * libm::pow(REFERENCE_LX / lux, values.number("gamma"));
        let (low, high) = (ohm(BRIGHTEST_LX), ohm(DARKEST_LX));
        (low > 0.0 && low < high && high.is_finite()).then_some((low, high))
    }

    fn evaluate(values: Values<'_>, ohm: f64) -> Option<f64> {
        if !ohm.is_finite() || ohm <= 0.0 {
            return None;
        }
        let exponent = 1.0 / values.number("gamma");
        let lux = REFERENCE_LX * libm::pow(values.number("r10") / ohm, exponent);
        let limits = DARKEST_LX * (1.0 - HAIR)..=BRIGHTEST_LX * (1.0 + HAIR);
        // `contains` is false for NaN.
        limits.contains(&lux).then_some(lux)
    }

    fn check(values: Values<'_>) -> Check {
        let complete = values.has("r10") && values.has("gamma");
        if complete {
            Ok(())
        } else {
            Err("a photoresistor needs `r10` and `gamma`")
        }
    }
}

driver_table!(Photoresistor);
