//! Whether values go the way that their driver promises, with the parameters that it was given.
//!
//! A coarse look over the range, in one call: `driver check` looks closer. What is no number is not
//! judged here.

use super::examine::short;
use super::{DriverError, Model};
use nightbench_driver::Monotonic;

/// Inputs that are looked at.
const LOOKS: usize = 64;
/// Of the span of the values: less is rounding.
const NOISE: f64 = 1e-10;
/// A range with ends above 0 that are further apart than this is looked at in even ratios.
const WIDE: f64 = 10.0;

impl Model {
    /// Fine, or where the values go the other way.
    pub(super) fn keeps_its_direction(&self) -> Result<(), DriverError> {
        let promised = self.driver().monotonic();
        if promised == Monotonic::Unknown {
            return Ok(());
        }
        let inputs = looks(self.range());
        let mut values = [f64::NAN; LOOKS];
        let answer = self
            .engine()
            .evaluate(self.bound(&[]), &inputs, &mut values);
        // Inputs without a value are told of when they are met; no other answer tells of a process.
        if let Err(super::engine::Failure::Host(why)) = answer {
            return Err(DriverError::Host(why));
        }
        let curve = || inputs.iter().copied().zip(values);
        broken(promised, curve()).map_or(Ok(()), |text| Err(DriverError::Parameters(text)))
    }
}

/// What breaks a promise among inputs and values by rising input, for a person.
pub(super) fn broken(
    promised: Monotonic,
    curve: impl Iterator<Item = (f64, f64)> + Clone,
) -> Option<String> {
    let finite = curve.clone().map(|(_, value)| value);
    let finite = finite.filter(|value| value.is_finite());
    let ends = finite.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
        (low.min(value), high.max(value))
    });
    let noise = NOISE * (ends.1 - ends.0);
    let mut pairs = curve.clone().zip(curve.skip(1));
    let (before, after) = pairs.find(|(before, after)| {
        promised.forbids(before.1, after.1) && (after.1 - before.1).abs() > noise
    })?;
    let (says, does) = match promised {
        Monotonic::Falling => ("fall", "rise"),
        _ => ("rise", "fall"),
    };
    let numbers = [before.0, after.0, before.1, after.1].map(short);
    let [from, to, first, last] = numbers;
    Some(format!(
        "the driver says that its values {says} with the input, but with these parameters they \
         {does} between {from} and {to}, from {first} to {last}; correct the parameters, or tell \
         its maker"
    ))
}

fn looks((low, high): (f64, f64)) -> [f64; LOOKS] {
    let is_wide = low > 0.0 && high / low > WIDE;
    let mut inputs = std::array::from_fn(|index| {
        let part = index as f64 / (LOOKS - 1) as f64;
        match is_wide {
            true => (low * (high / low).powf(part)).clamp(low, high),
            false => (low + part * (high - low)).clamp(low, high),
        }
    });
    inputs[LOOKS - 1] = high;
    inputs
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::driver::Driver;
    use insta::assert_snapshot;
    use nightbench_driver::{Electrical, Parameter, Values, driver_table};

    /// Says that it rises; whether it does lies with its parameter. Invented.
    struct Boastful;

    impl nightbench_driver::Driver for Boastful {
        const NAME: &'static str = "boastful";
        const SUMMARY: &'static str = "a line that is said to rise";
        const INPUTS: &'static [Electrical] = &[Electrical::Ohm];
        const QUANTITY: Option<&'static str> = None;
        const UNIT: Option<&'static str> = None;
        const PARAMETERS: &'static [Parameter] = &[Parameter::number("gain", "slope", "1")
            .or(1.0)
            .within(-9.0, 9.0)];
        const MONOTONIC: Monotonic = Monotonic::Rising;

        fn range(_: Values<'_>) -> Option<(f64, f64)> {
            Some((0.0, 63.0))
        }

        fn evaluate(values: Values<'_>, input: f64) -> Option<f64> {
            (0.0..=63.0)
                .contains(&input)
                .then(|| values.number("gain") * input)
        }
    }

    driver_table!(Boastful);

    #[test]
    fn parameters_with_which_values_go_the_other_way_are_refused() {
        let driver = Driver::new(&TABLE).unwrap();
        let model = driver.bind(vec![vec![2.0]]).unwrap();
        assert!(driver.bind(vec![vec![0.0]]).is_ok(), "level is not down");
        let refused = driver.bind(vec![vec![-2.0]]).unwrap_err();
        assert!(matches!(refused, DriverError::Parameters(_)));
        assert_snapshot!(refused.to_string(), @"the driver says that its values rise with the input, but with these parameters they fall between 0 and 1, from 0 to -2; correct the parameters, or tell its maker");
        assert_eq!(model.with(&[(0, -2.0)]), Err(refused));
    }

    #[test]
    fn the_shipped_laws_promise_what_the_physics_does() {
        let promised = |name: &str| crate::driver::find(name).unwrap().monotonic();
        assert_eq!(promised("thermistor"), Monotonic::Falling);
        assert_eq!(promised("photoresistor"), Monotonic::Falling);
        assert_eq!(promised("divider"), Monotonic::Unknown);
    }

    #[test]
    fn the_looks_rise_from_end_to_end() {
        for range in [(1.0, 1e8), (-5.0, 3.0), (0.0, 1.0), (2.0, 3.0)] {
            let looks = looks(range);
            assert_eq!((looks[0], looks[LOOKS - 1]), range);
            assert!(looks.is_sorted_by(|one, next| one < next), "{range:?}");
        }
    }

    #[test]
    fn a_broken_promise_is_told_with_its_place_and_a_level_stretch_breaks_none() {
        let curve = [
            (0.0, 1.0),
            (1.0, 1.0),
            (2.0, f64::NAN),
            (3.0, 4.0),
            (5.0, 2.5),
        ];
        let told = |promised| broken(promised, curve.into_iter());
        assert_eq!(told(Monotonic::Unknown), None);
        assert_snapshot!(told(Monotonic::Rising).unwrap_or_default(), @"the driver says that its values rise with the input, but with these parameters they fall between 3 and 5, from 4 to 2.5; correct the parameters, or tell its maker");
        assert_eq!(broken(Monotonic::Falling, curve.into_iter().take(3)), None);
    }
}
