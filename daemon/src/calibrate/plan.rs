//! Which terms are free: decided by the number of points and what is known, and said in words.
//!
//! The driver says in which order its parameters become free, and where a fit starts; a driver whose
//! form has none that are fitted (a table, a polynomial) gets a line on top of its curve. Fits nothing.

use super::Term;
use crate::driver::{Driver, ParameterKind};

/// Where a fit starts, as the driver says for these points.
#[derive(Clone, Debug, PartialEq)]
pub struct Start {
    /// Every parameter, as for [`Driver::bind`]; its form is the one to be fitted.
    pub parameters: Vec<Vec<f64>>,
    /// Indices of the parameters that this form has and a fit may change, in the order in which they
    /// become free.
    pub fitted: Vec<usize>,
}

/// What is to be fitted.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Every parameter where the fit starts.
    pub parameters: Vec<Vec<f64>>,
    /// What is free, in order.
    pub terms: Vec<Term>,
    /// Why, in words: "three points: `a`, `b` and `c` are fitted".
    pub decision: String,
}

/// Plans a fit to so many points, which lie at so many places that differ by more than their
/// uncertainty. `nominal` are the parameters as configured.
#[must_use]
pub fn plan(
    driver: Driver,
    nominal: &[Vec<f64>],
    start: Start,
    points: usize,
    places: usize,
) -> Plan {
    let terms = terms(&start.fitted, places);
    let decision = format!(
        "{}: {}{}",
        counted(points, places),
        form(driver, nominal, &start.parameters),
        fitted(driver, &start.fitted, &terms)
    );
    Plan {
        parameters: start.parameters,
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
fn form(driver: Driver, nominal: &[Vec<f64>], start: &[Vec<f64>]) -> String {
    let mut said = String::new();
    for (index, parameter) in driver.parameters().iter().enumerate() {
        let ParameterKind::Choice { words, default } = parameter.kind else {
            continue;
        };
        let chosen = |values: &[Vec<f64>]| {
            let given = values.get(index).and_then(|one| one.first());
            words
                .get(given.map_or(default, |one| *one as usize))
                .copied()
        };
        if let (Some(old), Some(new)) = (chosen(nominal), chosen(start))
            && old != new
        {
            said += &format!("the {} `{new}` instead of `{old}`; ", parameter.name);
        }
    }
    said
}

fn fitted(driver: Driver, may_be: &[usize], terms: &[Term]) -> String {
    let declared = driver.parameters();
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

    fn planned(name: &str, form: [f64; 2], fitted: &[&str], points: usize, places: usize) -> Plan {
        let driver = find(name).unwrap();
        let at = |name: &&str| driver.parameters().iter().position(|one| one.name == *name);
        let parameters = |form| {
            let mut parameters = vec![vec![]; driver.parameters().len()];
            parameters[0] = vec![form];
            parameters
        };
        let start = Start {
            parameters: parameters(form[1]),
            fitted: fitted.iter().map(|name| at(name).unwrap()).collect(),
        };
        plan(driver, &parameters(form[0]), start, points, places)
    }

    #[test]
    fn the_number_of_points_decides_and_says_so() {
        let maker = ["a", "b", "c"];
        let said = |name, forms, fitted: &[&str], points| {
            planned(name, forms, fitted, points, points).decision
        };
        assert_eq!(
            said("thermistor", [0.0; 2], &["r0", "beta"], 1),
            "one point: `r0` is fitted, an offset on the curve as configured; `beta` stays as configured"
        );
        assert_eq!(
            said("thermistor", [0.0; 2], &["r0", "beta"], 2),
            "two points: `r0` and `beta` are fitted"
        );
        assert_eq!(
            said("thermistor", [1.0; 2], &maker, 1),
            "one point: `a` is fitted, an offset on the curve as configured; `b` and `c` stay as configured"
        );
        assert_eq!(
            said("thermistor", [1.0; 2], &maker, 2),
            "two points: `a` and `b` are fitted, offset and slope on the curve as configured; `c` stays as configured"
        );
        assert_eq!(
            said("thermistor", [0.0, 1.0], &maker, 4),
            "four points: the form `steinhart-hart` instead of `beta`; `a`, `b` and `c` are fitted"
        );
        assert_eq!(
            said("divider", [2.0; 2], &[], 1),
            "one point: an offset on the driver's curve"
        );
        assert_eq!(
            said("divider", [2.0; 2], &[], 12),
            "12 points: offset and slope on the driver's curve"
        );
    }

    #[test]
    fn points_at_one_place_free_one_term() {
        let plan = planned("thermistor", [0.0; 2], &["r0", "beta"], 3, 1);
        assert_eq!(plan.terms, [Term::Parameter(1)]);
        assert_eq!(
            plan.decision,
            "three points at one place: `r0` is fitted, an offset on the curve as configured; `beta` stays as configured"
        );
        assert_eq!(
            planned("divider", [2.0; 2], &[], 3, 1).terms,
            [Term::Offset]
        );
    }
}
