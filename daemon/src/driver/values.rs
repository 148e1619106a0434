//! Parameter values before they reach a driver: defaults filled in, bounds and choices checked.
//!
//! What belongs together is the driver's own knowledge; it is asked afterwards.

use super::{Parameter, ParameterKind};

/// The values as the driver gets them, or what is wrong in words for a person.
pub(super) fn complete(
    declared: &[Parameter],
    values: Vec<Vec<f64>>,
) -> Result<Vec<Vec<f64>>, String> {
    if values.len() != declared.len() {
        let (wanted, got) = (declared.len(), values.len());
        return Err(format!(
            "the driver has {wanted} parameters, but {got} were handed over"
        ));
    }
    declared
        .iter()
        .zip(values)
        .map(|(parameter, given)| one(parameter, given))
        .collect()
}

/// Whether a number may take the place of the one that this parameter has; a choice's is its index.
pub(super) fn admit(parameter: &Parameter, number: f64) -> Result<(), String> {
    let name = parameter.name;
    match parameter.kind {
        ParameterKind::Number { unit, bounds, .. } => {
            within(name, number, unit, bounds).map(|_| ())
        }
        ParameterKind::Choice { words, .. } => choice(name, number, words),
        ParameterKind::List { .. } => Err(format!("`{name}` is a list, not a number")),
    }
}

fn one(parameter: &Parameter, given: Vec<f64>) -> Result<Vec<f64>, String> {
    let name = parameter.name;
    match parameter.kind {
        ParameterKind::Number {
            unit,
            default,
            bounds,
        } => match single(name, &given)? {
            Some(number) => within(name, number, unit, bounds),
            None => Ok(default.unwrap_or(f64::NAN)),
        }
        .map(|number| vec![number]),
        ParameterKind::List { most, .. } => list(name, given, most),
        ParameterKind::Choice { words, default } => {
            let index = single(name, &given)?.unwrap_or(default as f64);
            choice(name, index, words).map(|()| vec![index])
        }
    }
}

/// The one number of a parameter; `None` where it was not given.
fn single(name: &str, given: &[f64]) -> Result<Option<f64>, String> {
    match given {
        [] => Ok(None),
        [number] => Ok((!number.is_nan()).then_some(*number)),
        _ => Err(format!(
            "`{name}` is one number, but {} were given",
            given.len()
        )),
    }
}

fn within(name: &str, number: f64, unit: &str, bounds: (f64, f64)) -> Result<f64, String> {
    if (bounds.0..=bounds.1).contains(&number) {
        return Ok(number);
    }
    if !number.is_finite() {
        return Err(format!("`{name}` must be a finite number"));
    }
    let said = quantity(number, unit);
    let (least, most) = (quantity(bounds.0, unit), quantity(bounds.1, unit));
    Err(format!(
        "`{name}` is {said}; it must be from {least} to {most}"
    ))
}

fn list(name: &str, given: Vec<f64>, most: usize) -> Result<Vec<f64>, String> {
    if given.len() > most {
        return Err(format!(
            "`{name}` has {} numbers; at most {most} are taken",
            given.len()
        ));
    }
    match given.iter().position(|number| !number.is_finite()) {
        Some(index) => Err(format!("number {} of `{name}` is not finite", index + 1)),
        None => Ok(given),
    }
}

fn choice(name: &str, index: f64, words: &[&str]) -> Result<(), String> {
    let known = (0..words.len()).any(|one| one as f64 == index);
    if known {
        return Ok(());
    }
    let words: Vec<_> = words.iter().map(|word| format!("`{word}`")).collect();
    Err(format!("`{name}` must be one of {}", words.join(", ")))
}

/// A number with its unit; powers of ten where plain digits would be a long row of zeros.
fn quantity(number: f64, unit: &str) -> String {
    let plain = number == 0.0 || (1e-4..1e6).contains(&number.abs());
    let number = if plain {
        number.to_string()
    } else {
        format!("{number:e}")
    };
    if unit == "1" {
        number
    } else {
        format!("{number} {unit}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn declared() -> Vec<Parameter> {
        let number = |name, default| Parameter {
            name,
            summary: "a number",
            kind: ParameterKind::Number {
                unit: "Ohm",
                default,
                bounds: (0.1, 1e8),
            },
            fitted: 0,
        };
        vec![
            Parameter {
                name: "form",
                summary: "a choice",
                kind: ParameterKind::Choice {
                    words: &["left", "right"],
                    default: 1,
                },
                fitted: 0,
            },
            number("r0", None),
            number("lead", Some(0.5)),
            Parameter {
                name: "rows",
                summary: "a list",
                kind: ParameterKind::List { unit: "1", most: 2 },
                fitted: 0,
            },
        ]
    }

    fn refused(values: Vec<Vec<f64>>) -> String {
        complete(&declared(), values).expect_err("refused")
    }

    #[test]
    fn what_was_not_given_takes_its_default_or_stays_not_given() {
        for silent in [vec![vec![f64::NAN]; 3], vec![vec![]; 3]] {
            let values = [silent, vec![vec![]]].concat();
            let complete = complete(&declared(), values).expect("nothing is wrong");
            assert_eq!(complete[0], [1.0]);
            assert!(complete[1][0].is_nan());
            assert_eq!(complete[2], [0.5]);
            assert!(complete[3].is_empty());
        }
    }

    #[test]
    fn what_is_wrong_is_said_with_name_value_and_limits() {
        let mut values = vec![vec![0.0], vec![10.0], vec![1.0], vec![]];
        let mut check = |index: usize, given: &[f64], text: &str| {
            let before = std::mem::replace(&mut values[index], given.to_vec());
            assert_eq!(refused(values.clone()), text);
            values[index] = before;
        };
        check(0, &[2.0], "`form` must be one of `left`, `right`");
        check(0, &[0.5], "`form` must be one of `left`, `right`");
        check(0, &[-1.0], "`form` must be one of `left`, `right`");
        check(
            1,
            &[0.0],
            "`r0` is 0 Ohm; it must be from 0.1 Ohm to 1e8 Ohm",
        );
        check(1, &[f64::INFINITY], "`r0` must be a finite number");
        check(1, &[1.0, 2.0], "`r0` is one number, but 2 were given");
        check(3, &[1.0, f64::NAN], "number 2 of `rows` is not finite");
        check(
            3,
            &[1.0, 2.0, 3.0],
            "`rows` has 3 numbers; at most 2 are taken",
        );
    }

    #[test]
    fn another_count_of_values_is_refused() {
        assert_eq!(
            refused(vec![]),
            "the driver has 4 parameters, but 0 were handed over"
        );
    }
}
