//! A driver that panics at the input 13, for the tests of loaded drivers. Invented.

use nightbench_driver::{Driver, Electrical, Parameter, Values, driver_table, export_driver};

/// Doubles its input.
struct Panicking;

impl Driver for Panicking {
    const NAME: &'static str = "panicking";
    const SUMMARY: &'static str = "doubles its input, and panics at 13";
    const INPUTS: &'static [Electrical] = &[Electrical::Number];
    const QUANTITY: Option<&'static str> = Some("count");
    const UNIT: Option<&'static str> = Some("1");
    const PARAMETERS: &'static [Parameter] = &[];

    fn range(_: Values<'_>) -> Option<(f64, f64)> {
        Some((0.0, 1e6))
    }

    fn evaluate(_: Values<'_>, input: f64) -> Option<f64> {
        assert!((input - 13.0).abs() > 1e-9, "13 was not expected");
        Some(2.0 * input)
    }
}

driver_table!(Panicking);
export_driver!(TABLE);
