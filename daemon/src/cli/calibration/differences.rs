//! What the running service has configured otherwise than the file that a command was given.
//!
//! A step says what it means by the names of the service; a calibration by another file would be of
//! another probe.

use crate::control::ProbeFacts;

/// What differs, each in words; what a step does not depend on is not looked at.
#[must_use]
pub fn differences(file: &ProbeFacts, service: &ProbeFacts) -> Vec<String> {
    let words = [
        ("board", &file.board, &service.board),
        ("channel", &file.channel, &service.channel),
        ("driver", &file.driver, &service.driver),
        ("quantity", &file.quantity, &service.quantity),
        ("unit", &file.unit, &service.unit),
        ("input", &file.input, &service.input),
    ];
    let differ = words.into_iter().filter(|(_, ours, its)| ours != its);
    let mut told: Vec<String> = differ
        .map(|(what, ours, its)| {
            format!("its {what} is `{its}` in the service, `{ours}` in the file")
        })
        .collect();
    if told.is_empty() && file.parameters != service.parameters {
        let changed = file.parameters.iter().zip(&service.parameters);
        let names = changed.filter(|(ours, its)| ours != its);
        let names: Vec<&str> = names.map(|((name, _), _)| name.as_str()).collect();
        told.push(format!(
            "its parameters are others in the service than in the file: `{}`",
            names.join("`, `")
        ));
    }
    told
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::control::testing::facts;

    #[test]
    fn what_differs_is_named_from_both_sides() {
        let service = facts();
        assert!(differences(&facts(), &service).is_empty());
        let moved = ProbeFacts {
            channel: "a1".to_owned(),
            every_ms: Some(1000),
            ..facts()
        };
        assert_eq!(
            differences(&moved, &service),
            ["its channel is `a0` in the service, `a1` in the file"]
        );
    }

    #[test]
    fn other_parameters_are_named() {
        let with = |r0: f64| ProbeFacts {
            parameters: vec![("form".to_owned(), vec![0.0]), ("r0".to_owned(), vec![r0])],
            ..facts()
        };
        assert_eq!(
            differences(&with(1e4), &with(1e5)),
            ["its parameters are others in the service than in the file: `r0`"]
        );
    }
}
