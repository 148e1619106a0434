//! What this driver measures, from which electrical quantity, by which equation, and its source.
//!
//! As it stands: the angle of a potentiometer's shaft from the ratio of its divider,
//! angle = zero + turn * ratio. Change everything that is marked with (1) to (7), in this order.

use nightbench_driver::{
    Check, Driver, Electrical, Guess, Parameter, Points, Slope, Start, Values, driver_table,
    export_driver,
};

/// The driver: a type without content. It keeps nothing, opens nothing and asks for no time, so that
/// the same parameters and input always give the same number.
pub struct Model;

impl Driver for Model {
    // (1) Its name, and one line for a person.
    const NAME: &'static str = "my_driver";
    const SUMMARY: &'static str = "angle of a potentiometer's shaft";

    // (2) What it takes: `Ohm`, `Volt`, `Ratio` (0 to 1 of the converter's full scale) or `Number`
    // (the board's number as it is). The front end makes it from the board's counts.
    const INPUTS: &'static [Electrical] = &[Electrical::Ratio];

    // (3) What it gives: a quantity, and the UCUM code of its unit (`Cel`, `kPa`, `%`, `deg`). `None`
    // where the configuration is to say.
    const QUANTITY: Option<&'static str> = Some("angle");
    const UNIT: Option<&'static str> = Some("deg");

    // (4) Its parameters: name, meaning, unit. `or` is the default; without one it must be given.
    // `within` are the bounds. `fitted(1)` is the number that a calibration to one point changes,
    // `fitted(2)` joins it from two points on.
    const PARAMETERS: &'static [Parameter] = &[
        Parameter::number("zero", "angle at a ratio of 0", "deg")
            .or(0.0)
            .within(-3600.0, 3600.0)
            .fitted(1),
        Parameter::number("turn", "angle from end to end", "deg")
            .or(270.0)
            .within(-3600.0, 3600.0)
            .fitted(2),
    ];

    // (7) What may be left out. `SLOPE`: value over input; without, the host takes differences.
    // `GUESS`: where a calibration starts; without, from the present parameters. And `MISFIT`: how
    // wrong the model itself can be; without, the host takes it for right.
    const SLOPE: Option<Slope> = Some(slope);
    const GUESS: Option<Guess> = Some(guess);

    // (5) The lowest and the highest input that has a value; the host asks for no other.
    fn range(_values: Values<'_>) -> Option<(f64, f64)> {
        Some((0.0, 1.0))
    }

    // (6) The model. A finite number for every input in the range, `None` for everything else; NaN is
    // in no range. Do not panic: it is caught, but the reading is lost.
    fn evaluate(values: Values<'_>, ratio: f64) -> Option<f64> {
        if !(0.0..=1.0).contains(&ratio) {
            return None;
        }
        Some(values.number("zero") + values.number("turn") * ratio)
    }

    // What bounds alone cannot say about the parameters, for whoever wrote the configuration.
    fn check(values: Values<'_>) -> Check {
        if values.number("turn") == 0.0 {
            return Err("a `turn` of 0 gives the same angle for every ratio");
        }
        Ok(())
    }
}

// The C table that nightbench reads, and the one symbol by which it finds it.
driver_table!(Model);
export_driver!(TABLE);

fn slope(values: Values<'_>, ratio: f64) -> Option<f64> {
    Model::evaluate(values, ratio).map(|_| values.number("turn"))
}

/// One point moves the line, two or more also turn it.
fn guess(values: Values<'_>, points: Points<'_>, start: &mut Start<'_>) -> Option<()> {
    if let Some((ratio, angle)) = points.one() {
        start.set("zero", angle - values.number("turn") * ratio);
        return Some(());
    }
    // From the first to the last; the fit itself is the host's.
    let (first, last) = (points.iter().next()?, points.iter().last()?);
    let turn = (last.1 - first.1) / (last.0 - first.0);
    if !turn.is_finite() || turn == 0.0 {
        return None;
    }
    start.set("turn", turn);
    start.set("zero", first.1 - turn * first.0);
    Some(())
}
