//! Any value from anything that makes a divider: a line, a polynomial or a table.
//!
//! What is measured, and in which unit, the configuration says. Not for probes with a law of their
//! own (thermistor, photoresistor): a line through a curve is wrong between its points.

mod fit;
mod table;

use nightbench_driver::{
    Check, Driver, Electrical, Guess, Parameter, Slope, Text, Values, driver_table,
};

const FORMS: &[Text] = &Text::all(["linear", "polynomial", "table"]);
const POLYNOMIAL: usize = 1;
const TABLE_FORM: usize = 2;
/// Beyond any ratio, voltage, count or resistance that a board can tell.
const WIDEST: f64 = 1e9;

/// The driver; see the README beside it.
pub struct Divider;

impl Driver for Divider {
    const NAME: &'static str = "divider";
    const SUMMARY: &'static str = "any value from a line, a polynomial or a table";
    const INPUTS: &'static [Electrical] = &[
        Electrical::Ratio,
        Electrical::Ohm,
        Electrical::Volt,
        Electrical::Number,
    ];
    const QUANTITY: Option<&'static str> = None;
    const UNIT: Option<&'static str> = None;
    const PARAMETERS: &'static [Parameter] = &[
        Parameter::choice("form", "how the value is computed from the input", FORMS, 0),
        Parameter::number("offset", "linear: value at input 0", "1")
            .or(0.0)
            .fitted(1),
        Parameter::number("gain", "linear: value for one unit of input", "1")
            .or(1.0)
            .fitted(2),
        Parameter::list(
            "coefficients",
            "polynomial: of input to the power 0, 1, 2 ...",
            "1",
            16,
        ),
        Parameter::list("table_x", "table: inputs, rising or falling", "1", 4096),
        Parameter::list("table_y", "table: the value of each input", "1", 4096),
        Parameter::number("lowest", "smallest input to be trusted", "1"),
        Parameter::number("highest", "largest input to be trusted", "1"),
    ];
    const SLOPE: Option<Slope> = Some(slope);
    const GUESS: Option<Guess> = Some(fit::guess);

    fn range(values: Values<'_>) -> Option<(f64, f64)> {
        let ends = match values.choice("form") {
            TABLE_FORM => table::ends(values.list("table_x"))?,
            _ => (-WIDEST, WIDEST),
        };
        // `max` and `min` ignore a NaN, that is a limit that was not given.
        let (low, high) = (
            ends.0.max(values.number("lowest")),
            ends.1.min(values.number("highest")),
        );
        (low < high).then_some((low, high))
    }

    fn evaluate(values: Values<'_>, input: f64) -> Option<f64> {
        trusted(values, input)?;
        let value = match values.choice("form") {
            TABLE_FORM => {
                table::interpolate(values.list("table_x"), values.list("table_y"), input)?
            }
            POLYNOMIAL => polynomial(values.list("coefficients"), input),
            _ => values.number("offset") + values.number("gain") * input,
        };
        value.is_finite().then_some(value)
    }

    fn check(values: Values<'_>) -> Check {
        match values.choice("form") {
            TABLE_FORM => table::check(values.list("table_x"), values.list("table_y"))?,
            POLYNOMIAL if values.list("coefficients").len() < 2 => {
                return Err("the form `polynomial` needs at least two `coefficients`");
            }
            POLYNOMIAL => {}
            _ if values.number("gain") == 0.0 => {
                return Err("a `gain` of 0 gives the same value for every input");
            }
            _ => {}
        }
        Self::range(values).map(|_| ()).ok_or(
            "`lowest` and `highest` leave no input: `lowest` must be smaller, and a table must \
             reach between them",
        )
    }
}

driver_table!(Divider);

fn slope(values: Values<'_>, input: f64) -> Option<f64> {
    trusted(values, input)?;
    let slope = match values.choice("form") {
        TABLE_FORM => table::slope(values.list("table_x"), values.list("table_y"), input)?,
        POLYNOMIAL => derivative(values.list("coefficients"), input),
        _ => values.number("gain"),
    };
    slope.is_finite().then_some(slope)
}

/// `None` for an input outside the range, and for none at all (NaN).
fn trusted(values: Values<'_>, input: f64) -> Option<()> {
    let (low, high) = Divider::range(values)?;
    (low..=high).contains(&input).then_some(())
}

/// Horner's scheme: c0 + c1 x + c2 x² ...
fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients
        .iter()
        .rev()
        .fold(0.0, |sum, coefficient| sum * x + coefficient)
}

/// c1 + 2 c2 x + 3 c3 x² ...
fn derivative(coefficients: &[f64], x: f64) -> f64 {
    let terms = coefficients.iter().enumerate().skip(1).rev();
    terms.fold(0.0, |sum, (power, coefficient)| {
        sum * x + power as f64 * coefficient
    })
}
