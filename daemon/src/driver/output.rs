//! Which of a driver's outputs is meant: the first is its own value, which alone is calibrated.
//!
//! An output after the first has no formula for its slope, and no part in a fit.

use super::Driver;
use super::frames::Declaration;
use nightbench_driver::Monotonic;
use nightbench_driver::host::Output;

impl Driver {
    /// All that it gives for an input, its own value first; empty where that is the only one.
    #[must_use]
    pub fn outputs(&self) -> &'static [Output] {
        &self.declaration().outputs
    }

    /// The same driver, meaning the output of this name; `None` where it has none of it.
    #[must_use]
    pub fn with_output(&self, name: &str) -> Option<Self> {
        let output = self.outputs().iter().position(|one| one.name == name)?;
        Some(self.meaning(output))
    }

    /// Name of the output that is meant, where it is not the driver's own value.
    #[must_use]
    pub fn other_output(&self) -> Option<&'static str> {
        self.other().map(|output| output.name)
    }

    /// What it measures (`temperature`); `None` where the configuration says.
    #[must_use]
    pub fn quantity(&self) -> Option<&'static str> {
        self.other()
            .map_or(self.declaration().quantity, |other| other.quantity)
    }

    /// UCUM code of its unit (`Cel`); `None` where the configuration says.
    #[must_use]
    pub fn unit(&self) -> Option<&'static str> {
        self.other()
            .map_or(self.declaration().unit, |other| other.unit)
    }

    /// What it has of what a driver may add: a formula for the slope, a guess, a misfit.
    #[must_use]
    pub fn adds(&self) -> [bool; 3] {
        let Declaration {
            has_slope,
            has_guess,
            has_misfit,
            ..
        } = self.declaration();
        let is_own = self.output == 0;
        [has_slope, has_guess, has_misfit].map(|has| *has && is_own)
    }

    /// Which way it says that its values go, whatever the parameters.
    #[must_use]
    pub fn monotonic(&self) -> Monotonic {
        match self.output {
            0 => self.declaration().monotonic,
            _ => Monotonic::Unknown,
        }
    }

    /// Whether a probe of it can be calibrated.
    ///
    /// # Errors
    /// Why not, in words for a person.
    pub fn check_calibrated(&self) -> Result<(), String> {
        let (Some(other), Some(own)) = (self.other(), self.outputs().first()) else {
            return Ok(());
        };
        Err(format!(
            "it gives the output `{}` of the driver `{}`, of which only the output `{}` is \
             calibrated; calibrate a probe of that one",
            other.name,
            self.name(),
            own.name
        ))
    }

    fn other(&self) -> Option<&'static Output> {
        self.outputs().get(self.output).filter(|_| self.output > 0)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use insta::assert_snapshot;
    use nightbench_driver::{
        Electrical, Guess, Misfit, Output as Row, Outputs, Parameter, Slope, Values, driver_table,
    };

    /// A voltage, and the power that it makes in a resistor. Invented.
    struct Heater;

    impl nightbench_driver::Driver for Heater {
        const NAME: &'static str = "heater";
        const SUMMARY: &'static str = "a voltage and its power";
        const INPUTS: &'static [Electrical] = &[Electrical::Volt];
        const QUANTITY: Option<&'static str> = Some("voltage");
        const UNIT: Option<&'static str> = Some("V");
        const PARAMETERS: &'static [Parameter] =
            &[Parameter::number("ohm", "its resistance", "Ohm")
                .or(2.0)
                .fitted(1)];
        const SLOPE: Option<Slope> = Some(|_, _| Some(1.0));
        const GUESS: Option<Guess> = Some(|_, _, _| Some(()));
        const MISFIT: Option<Misfit> = Some(|_, _, _| Some(0.5));
        const MONOTONIC: Monotonic = Monotonic::Rising;
        const OUTPUTS: Option<Outputs> = Some(Outputs {
            list: &[
                Row::new("volt", "voltage", "V"),
                Row::new("power", "power", "W"),
            ],
            evaluate: |values, _, volt| {
                let inside = (-9.0..=9.0).contains(&volt);
                inside.then(|| volt * volt / values.number("ohm"))
            },
        });

        fn range(_: Values<'_>) -> Option<(f64, f64)> {
            Some((-9.0, 9.0))
        }

        fn evaluate(values: Values<'_>, volt: f64) -> Option<f64> {
            let sane = values.number("ohm") > 0.0 && (-9.0..=9.0).contains(&volt);
            sane.then_some(volt)
        }
    }

    driver_table!(Heater);

    fn power() -> Driver {
        Driver::new(&TABLE).unwrap().with_output("power").unwrap()
    }

    #[test]
    fn an_output_has_its_own_quantity_unit_values_and_a_slope_by_differences() {
        let (own, power) = (Driver::new(&TABLE).unwrap(), power());
        assert_eq!((own.quantity(), own.unit()), (Some("voltage"), Some("V")));
        assert_eq!((power.quantity(), power.unit()), (Some("power"), Some("W")));
        assert_eq!(own.with_output("watt"), None);
        assert_eq!(own.with_output("volt"), Some(own));
        assert_ne!(own, power);
        let model = power.bind(vec![vec![4.0]]).unwrap();
        assert_eq!(model.evaluate(6.0), Ok(9.0));
        let (value, slope) = model.value_and_slope(6.0).unwrap();
        assert!(value == 9.0 && (slope - 3.0).abs() < 1e-8, "{slope}");
        let mut values = [0.0; 2];
        model.evaluate_all(&[2.0, 4.0], &mut values).unwrap();
        assert_eq!(values, [1.0, 4.0]);
        let other = model.with(&[(0, 1.0)]).unwrap();
        assert_eq!(other.evaluate(6.0), Ok(36.0), "it stays that output");
    }

    #[test]
    fn only_the_first_output_has_a_part_in_a_fit() {
        let own = Driver::new(&TABLE).unwrap();
        assert_eq!((own.adds(), own.check_calibrated()), ([true; 3], Ok(())));
        let model = power().bind(vec![Vec::new()]).unwrap();
        assert_eq!((power().adds(), model.fitted()), ([false; 3], Vec::new()));
        assert_eq!(model.misfit(&[1.0], 1, 1.0), Ok(0.0));
        assert_snapshot!(power().check_calibrated().unwrap_err(), @"it gives the output `power` of the driver `heater`, of which only the output `volt` is calibrated; calibrate a probe of that one");
    }
}
