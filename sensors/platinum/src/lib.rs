//! Temperature from the resistance of a platinum resistance thermometer: ohm to °C.
//!
//! The driver that shows the way: read it from here to the end, then `curve.rs` (the equations) and
//! `fit.rs` (what a calibration asks). It is not linked into the program; it is built as a shared
//! library, as yours will be (`examples/shared.rs`, and the README beside it).
//!
//! Lead resistance, self-heating and the converter are not here: the front end and the host's
//! uncertainty know them.

mod curve;
mod fit;

use curve::Curve;
use nightbench_driver::{
    Check, Driver, Electrical, Guess, Misfit, Monotonic, Parameter, Slope, Values, driver_table,
};

/// Where the equations hold, °C. Source: IEC 60751, clause 4.2.
const COLDEST: f64 = -200.0;
const HOTTEST: f64 = 850.0;

/// The driver: a type without content, as it keeps nothing.
pub struct Platinum;

impl Driver for Platinum {
    // What stands in the configuration, and what people are shown.
    const NAME: &'static str = "platinum";
    const SUMMARY: &'static str = "temperature from a platinum resistance thermometer";
    const INPUTS: &'static [Electrical] = &[Electrical::Ohm];
    const QUANTITY: Option<&'static str> = Some("temperature");
    const UNIT: Option<&'static str> = Some("Cel");

    // Bounds keep out what is no platinum: within them the curve rises and stays above 0 ohm, so
    // nothing below has to fear a division by 0 or a root of a negative number.
    const PARAMETERS: &'static [Parameter] = &[
        Parameter::number("r0", "resistance at 0 °C", "Ohm")
            .or(100.0)
            .within(1.0, 1e5)
            .fitted(1),
        Parameter::number("a", "coefficient of t", "Cel-1")
            .or(3.9083e-3)
            .within(3.5e-3, 4.5e-3)
            .fitted(2),
        Parameter::number("b", "coefficient of t squared", "Cel-2")
            .or(-5.775e-7)
            .within(-1e-6, 0.0),
        Parameter::number("c", "coefficient of (t - 100) t cubed, below 0 °C", "Cel-4")
            .or(-4.183e-12)
            .within(-1e-11, 0.0),
    ];

    // What a driver may add. Without them the host takes differences, starts a fit from the present
    // parameters, and takes the model for right.
    const SLOPE: Option<Slope> = Some(slope);
    const GUESS: Option<Guess> = Some(fit::guess);
    const MISFIT: Option<Misfit> = Some(fit::misfit);
    const MONOTONIC: Monotonic = Monotonic::Rising;

    // The resistances at both ends of the temperatures. The host asks for no value beyond them.
    fn range(values: Values<'_>) -> Option<(f64, f64)> {
        let (curve, r0) = (curve_of(values), values.number("r0"));
        let (low, high) = (r0 * curve.ratio(COLDEST), r0 * curve.ratio(HOTTEST));
        (low > 0.0 && low < high && high.is_finite()).then_some((low, high))
    }

    // All that matters. `None` for everything outside the range, and for what is no number.
    fn evaluate(values: Values<'_>, ohm: f64) -> Option<f64> {
        let (low, high) = Self::range(values)?;
        // `contains` is false for NaN.
        if !(low..=high).contains(&ohm) {
            return None;
        }
        Some(curve_of(values).temperature(ohm / values.number("r0")))
    }

    // What bounds alone cannot say; the words are for the person who wrote the configuration.
    fn check(values: Values<'_>) -> Check {
        Self::range(values)
            .map(|_| ())
            .ok_or("`r0`, `a`, `b` and `c` give no resistance that rises from -200 °C to 850 °C")
    }
}

// The C table that hosts read, made from the above.
driver_table!(Platinum);

/// dt/dR, by the rule for inverse functions.
fn slope(values: Values<'_>, ohm: f64) -> Option<f64> {
    let t = Platinum::evaluate(values, ohm)?;
    Some(1.0 / (values.number("r0") * curve_of(values).steepness(t)))
}

fn curve_of(values: Values<'_>) -> Curve {
    Curve {
        a: values.number("a"),
        b: values.number("b"),
        c: values.number("c"),
    }
}
