//! Drivers of tests: published models behind a driver's table, so that they are fitted as probes are.

use crate::driver::Driver;
use nightbench_driver::{Driver as Maker, Electrical, Parameter, Table, Values};
use std::sync::LazyLock;

/// y = b1 exp(b2 / (x + b3)): NIST StRD MGH10, Meyer's thermistor (1970).
struct Meyer;

impl Maker for Meyer {
    const NAME: &'static str = "meyer";
    const SUMMARY: &'static str = "resistance of a thermistor from its temperature";
    const INPUTS: &'static [Electrical] = &[Electrical::Number];
    const QUANTITY: Option<&'static str> = None;
    const UNIT: Option<&'static str> = None;
    const PARAMETERS: &'static [Parameter] = &[
        Parameter::number("b1", "factor", "1"),
        Parameter::number("b2", "material constant", "1"),
        Parameter::number("b3", "shift of the temperature", "1"),
    ];

    fn range(_: Values<'_>) -> Option<(f64, f64)> {
        Some((0.0, 200.0))
    }

    fn evaluate(values: Values<'_>, x: f64) -> Option<f64> {
        let number = |name| values.number(name);
        let value = number("b1") * (number("b2") / (x + number("b3"))).exp();
        value.is_finite().then_some(value)
    }
}

/// y = b1 (1 - exp(-b2 x)): NIST StRD Misra1a (1978), a first-order step's algebra.
struct Misra;

impl Maker for Misra {
    const NAME: &'static str = "misra";
    const SUMMARY: &'static str = "volume that is adsorbed at a pressure";
    const INPUTS: &'static [Electrical] = &[Electrical::Number];
    const QUANTITY: Option<&'static str> = None;
    const UNIT: Option<&'static str> = None;
    const PARAMETERS: &'static [Parameter] = &[
        Parameter::number("b1", "final value", "1"),
        Parameter::number("b2", "rate", "1"),
    ];

    fn range(_: Values<'_>) -> Option<(f64, f64)> {
        Some((0.0, 1000.0))
    }

    fn evaluate(values: Values<'_>, x: f64) -> Option<f64> {
        let value = values.number("b1") * (1.0 - (-values.number("b2") * x).exp());
        value.is_finite().then_some(value)
    }
}

static MEYER: Table = Table::of::<Meyer>();
static MISRA: Table = Table::of::<Misra>();

pub(super) fn meyer() -> Driver {
    static DRIVER: LazyLock<Driver> = LazyLock::new(|| Driver::new(&MEYER).unwrap());
    *DRIVER
}

pub(super) fn misra() -> Driver {
    static DRIVER: LazyLock<Driver> = LazyLock::new(|| Driver::new(&MISRA).unwrap());
    *DRIVER
}
