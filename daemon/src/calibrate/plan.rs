//! Which terms are free: decided by the number of points and what is known, and said in words.
//!
//! The driver says in which order its parameters become free, and where a fit starts; a driver whose
//! form has none that are fitted (a table, a polynomial) gets a line on top of its curve. Fits nothing.

use super::Term;
use crate::driver::{Model, ParameterKind};

/// What is to be fitted.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Where the fit starts; its form is the one to be fitted.
    pub start: Model,
    /// What is free, in order.
    pub terms: Vec<Term>,
    /// Why, in words: "three points: `a`, `b` and `c` are fitted".
    pub decision: String,
}

/// Plans a fit to so many points, which lie at these places (input and value) that differ by more
/// than their uncertainty. `nominal` is the probe as configured.
#[must_use]
pub fn plan(nominal: &Model, points: usize, places: &[(f64, f64)]) -> Plan {
    // Where the driver has no start for these points, the probe as configured is one.
    let start = nominal.guess(places).unwrap_or_else(|_| nominal.clone());
    let free: Vec<usize> = start.fitted().into_iter().map(|(index, _)| index).collect();
    let terms = terms(&free, places.len());
    let decision = format!(
        "{}: {}{}",
        counted(points, places.len()),
        form(nominal, &start),
        fitted(nominal, &free, &terms)
    );
    Plan {
        start,
        terms,
        decision,
    }
}

fn terms(fitted: &[usize], places: usize) -> Vec<Term> {
    let own = fitted.iter().map(|index| Term::Parameter(*index));
    let line = [Term::Offset, Term::Slope];
    if fitted.is_empty() {
        line.into_iter().take(places).collect()
    } else {
        own.take(places).collect()
    }
}

fn counted(points: usize, places: usize) -> String {
    let noun = |count, noun: &str| match count {
        1 => format!("one {noun}"),
        more => format!("{} {noun}s", word(more)),
    };
    match points == places {
        true => noun(points, "point"),
        false => format!("{} at {}", noun(points, "point"), noun(places, "place")),
    }
}

/// Small counts as words.
fn word(count: usize) -> String {
    const WORDS: [&str; 9] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight",
    ];
    WORDS
        .get(count)
        .map_or_else(|| count.to_string(), |word| (*word).to_owned())
}

/// "the form `steinhart-hart` instead of `beta`; " where the driver changed it.
fn form(nominal: &Model, start: &Model) -> String {
    let declared = nominal.driver().parameters();
    let both = nominal.parameters().into_iter().zip(start.parameters());
    let changed = declared
        .iter()
        .zip(both)
        .filter_map(|(parameter, (old, new))| {
            let ParameterKind::Choice { words, .. } = parameter.kind else {
                return None;
            };
            let word = |values: Vec<f64>| words.get(*values.first()? as usize);
            let (old, new) = (word(old.1)?, word(new.1)?);
            let name = parameter.name;
            (old != new).then(|| format!("the {name} `{new}` instead of `{old}`; "))
        });
    changed.collect()
}

fn fitted(nominal: &Model, may_be: &[usize], terms: &[Term]) -> String {
    let declared = nominal.driver().parameters();
    let name = |index: &usize| declared.get(*index).map_or("", |one| one.name);
    if may_be.is_empty() {
        return match terms.len() {
            1 => "an offset on the driver's curve".to_owned(),
            _ => "offset and slope on the driver's curve".to_owned(),
        };
    }
    let (free, rest) = may_be.split_at(terms.len().min(may_be.len()));
    let free: Vec<&str> = free.iter().map(name).collect();
    let rest: Vec<&str> = rest.iter().map(name).collect();
    let are = if free.len() == 1 { "is" } else { "are" };
    let said = format!("{} {are} fitted", listed(&free));
    match (free.len(), rest.is_empty()) {
        (_, true) => said,
        (1, false) => format!(
            "{said}, an offset on the curve as configured; {} as configured",
            stay(&rest)
        ),
        (_, false) => format!(
            "{said}, offset and slope on the curve as configured; {} as configured",
            stay(&rest)
        ),
    }
}

fn stay(names: &[&str]) -> String {
    let verb = if names.len() == 1 { "stays" } else { "stay" };
    format!("{} {verb}", listed(names))
}

/// `a`, `b` and `c`.
fn listed(names: &[&str]) -> String {
    let names: Vec<String> = names.iter().map(|name| format!("`{name}`")).collect();
    match names.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => names.concat(),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::driver::find;

    fn model(name: &str, given: &[(&str, &[f64])]) -> Model {
        let driver = find(name).unwrap();
        let value = |name: &str| given.iter().find(|(own, _)| *own == name);
        let declared = driver.parameters();
        let values = declared
            .iter()
            .map(|one| value(one.name).map_or_else(Vec::new, |g| g.1.to_vec()));
        driver.bind(values.collect()).unwrap()
    }

    fn label() -> Model {
        model("thermistor", &[("r0", &[1e4]), ("beta", &[3950.0])])
    }

    fn maker() -> Model {
        let typical: [(&str, &[f64]); 4] = [
            ("form", &[1.0]),
            ("a", &[1.129e-3]),
            ("b", &[2.341e-4]),
            ("c", &[8.775e-8]),
        ];
        model("thermistor", &typical)
    }

    fn table() -> Model {
        model(
            "divider",
            &[
                ("form", &[2.0]),
                ("table_x", &[80.0, 180.0]),
                ("table_y", &[-50.0, 200.0]),
            ],
        )
    }

    /// Places on the model's own curve.
    fn decision(model: &Model, inputs: &[f64]) -> String {
        decision_on(model, model, inputs)
    }

    fn decision_on(curve: &Model, model: &Model, inputs: &[f64]) -> String {
        let place = |input: &f64| (*input, curve.evaluate(*input).unwrap());
        let places: Vec<_> = inputs.iter().map(place).collect();
        plan(model, inputs.len(), &places).decision
    }

    #[test]
    fn the_number_of_points_decides_and_says_so() {
        assert_eq!(
            decision(&label(), &[3e4]),
            "one point: `r0` is fitted, an offset on the curve as configured; `beta` stays as configured"
        );
        assert_eq!(
            decision(&label(), &[3e4, 5e3]),
            "two points: `r0` and `beta` are fitted"
        );
        assert_eq!(
            decision(&maker(), &[3e4]),
            "one point: `a` is fitted, an offset on the curve as configured; `b` and `c` stay as configured"
        );
        assert_eq!(
            decision(&maker(), &[3e4, 5e3]),
            "two points: `a` and `b` are fitted, offset and slope on the curve as configured; `c` stays as configured"
        );
        assert_eq!(
            decision_on(&maker(), &label(), &[3e4, 1e4, 5e3, 3e3]),
            "four points: the form `steinhart-hart` instead of `beta`; `a`, `b` and `c` are fitted"
        );
        assert_eq!(
            decision(&table(), &[100.0]),
            "one point: an offset on the driver's curve"
        );
        assert_eq!(
            decision(&table(), &[100.0, 120.0, 140.0]),
            "three points: offset and slope on the driver's curve"
        );
        let cell = model("photoresistor", &[("r10", &[2e4]), ("gamma", &[0.7])]);
        assert_eq!(
            decision(&cell, &[2e4, 2e3]),
            "two points: `r10` and `gamma` are fitted"
        );
        assert_eq!(
            decision(&model("divider", &[]), &[0.1, 0.9]),
            "two points: `offset` and `gain` are fitted"
        );
    }

    #[test]
    fn points_at_one_place_free_one_term() {
        let label = plan(&label(), 3, &[(1e4, 25.1)]);
        assert_eq!(label.terms, [Term::Parameter(1)]);
        assert_eq!(
            label.decision,
            "three points at one place: `r0` is fitted, an offset on the curve as configured; `beta` stays as configured"
        );
        assert_eq!(plan(&table(), 3, &[(100.0, 0.0)]).terms, [Term::Offset]);
    }
}
