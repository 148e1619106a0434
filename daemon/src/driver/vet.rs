//! What a loaded driver's declaration must satisfy, beyond what the table's reader has checked, to
//! stand in configurations, topics and messages.
//!
//! A declaration comes out of somebody else's process: every text and number of it is looked at.

use super::frames::Declaration;
use super::{Output, Parameter, ParameterKind};
use std::collections::BTreeSet;

/// Longest name, bytes.
const LONGEST_NAME: usize = 64;
/// Longest line for a person, bytes.
const LONGEST_LINE: usize = 300;
/// Longest UCUM code, bytes; as the configuration takes it.
const LONGEST_UNIT: usize = 32;
/// Most outputs: a probe takes one of them.
const MOST_OUTPUTS: usize = 16;
/// Most numbers that a list may hold: a call carries them each time.
const LONGEST_LIST: usize = 4096;

/// Fine, or what is wrong, in words for the maker.
pub(super) fn check(declaration: &Declaration) -> Result<(), String> {
    is_name("name", declaration.name)?;
    is_line("summary", declaration.summary)?;
    declaration
        .quantity
        .map_or(Ok(()), |one| is_name("quantity", one))?;
    declaration
        .unit
        .map_or(Ok(()), |one| is_unit("unit", one))?;
    let inputs: BTreeSet<u32> = declaration.inputs.iter().map(|one| *one as u32).collect();
    if inputs.is_empty() || inputs.len() < declaration.inputs.len() {
        return Err("it names no electrical quantity as its input, or one twice".to_owned());
    }
    let mut names = BTreeSet::new();
    for parameter in &declaration.parameters {
        check_parameter(parameter)?;
        if !names.insert(parameter.name) {
            return Err(format!("it declares two parameters `{}`", parameter.name));
        }
    }
    check_ranks(&declaration.parameters)?;
    check_outputs(declaration)
}

/// Several, the first of them the driver's own value.
fn check_outputs(declaration: &Declaration) -> Result<(), String> {
    let outputs = &declaration.outputs;
    let Some(first) = outputs.first() else {
        return Ok(());
    };
    if outputs.len() > MOST_OUTPUTS {
        let count = outputs.len();
        return Err(format!(
            "it gives {count} outputs; {MOST_OUTPUTS} at most are taken"
        ));
    }
    if (first.quantity, first.unit) != (declaration.quantity, declaration.unit) {
        return Err(format!(
            "its first output `{}` has another quantity or unit than the driver itself, whose value \
             it is",
            shown(first.name)
        ));
    }
    let mut names = BTreeSet::new();
    for output in outputs {
        check_output(output)?;
        if !names.insert(output.name) {
            return Err(format!("it gives two outputs `{}`", output.name));
        }
    }
    Ok(())
}

fn check_output(output: &Output) -> Result<(), String> {
    let name = output.name;
    is_name("name of an output", name)?;
    let of = |what: &str| format!("{what} of `{name}`");
    let quantity = output.quantity;
    quantity.map_or(Ok(()), |one| is_name(&of("quantity"), one))?;
    output.unit.map_or(Ok(()), |one| is_unit(&of("unit"), one))
}

fn check_parameter(parameter: &Parameter) -> Result<(), String> {
    let name = parameter.name;
    is_name("name of a parameter", name)?;
    is_line(&format!("summary of `{name}`"), parameter.summary)?;
    let unit_of = || format!("unit of `{name}`");
    match &parameter.kind {
        ParameterKind::Number {
            unit,
            default,
            bounds,
        } => {
            is_unit(&unit_of(), unit)?;
            check_bounds(name, *default, *bounds)
        }
        ParameterKind::List { unit, most } => {
            is_unit(&unit_of(), unit)?;
            if (1..=LONGEST_LIST).contains(most) {
                return Ok(());
            }
            Err(format!(
                "its list `{name}` holds {most} numbers; it must be 1 to {LONGEST_LIST}"
            ))
        }
        ParameterKind::Choice { words, default } => check_words(name, words, *default),
    }
}

fn check_bounds(name: &str, default: Option<f64>, bounds: (f64, f64)) -> Result<(), String> {
    let ordered = bounds.0.is_finite() && bounds.1.is_finite() && bounds.0 <= bounds.1;
    let within = default.is_none_or(|one| (bounds.0..=bounds.1).contains(&one));
    if ordered && within {
        return Ok(());
    }
    Err(format!(
        "the bounds of `{name}` are {} to {}; they must be finite and hold its default",
        bounds.0, bounds.1
    ))
}

fn check_words(name: &str, words: &[&str], default: usize) -> Result<(), String> {
    let distinct: BTreeSet<&str> = words.iter().copied().collect();
    if words.is_empty() || default >= words.len() || distinct.len() < words.len() {
        return Err(format!(
            "the choice `{name}` has no words, one twice, or no default among them"
        ));
    }
    words
        .iter()
        .try_for_each(|word| is_name(&format!("word of `{name}`"), word))
}

/// There are no more ranks than parameters; two forms may each have one of a rank.
fn check_ranks(parameters: &[Parameter]) -> Result<(), String> {
    let beyond = |one: &&Parameter| one.fitted as usize > parameters.len();
    match parameters.iter().find(beyond) {
        None => Ok(()),
        Some(one) => Err(format!(
            "its parameter `{}` has the rank {} in fits, but it has {} parameters",
            one.name,
            one.fitted,
            parameters.len()
        )),
    }
}

fn is_name(what: &str, text: &str) -> Result<(), String> {
    let allowed = |c: char| c.is_ascii_alphanumeric() || matches!(c, '_' | '-' | '.');
    if !text.is_empty() && text.len() <= LONGEST_NAME && text.chars().all(allowed) {
        return Ok(());
    }
    Err(format!(
        "the {what} is `{}`; it must be made of letters A to Z and a to z, digits, `_`, `.` and \
         `-`, {LONGEST_NAME} at most",
        shown(text)
    ))
}

fn is_unit(what: &str, text: &str) -> Result<(), String> {
    let allowed = |c: char| c.is_ascii_graphic() && !matches!(c, '"' | '\\' | ',' | '=' | '`');
    if !text.is_empty() && text.len() <= LONGEST_UNIT && text.chars().all(allowed) {
        return Ok(());
    }
    Err(format!(
        "the {what} is `{}`, which is no UCUM code",
        shown(text)
    ))
}

fn is_line(what: &str, text: &str) -> Result<(), String> {
    if !text.is_empty() && text.len() <= LONGEST_LINE && !text.contains(char::is_control) {
        return Ok(());
    }
    Err(format!(
        "the {what} is no line of at most {LONGEST_LINE} bytes: `{}`",
        shown(text)
    ))
}

/// A stranger's text in a message: short, and on one line.
pub(super) fn shown(text: &str) -> String {
    const SHOWN: usize = 60;
    let mut shown = on_one_line(text.chars().take(SHOWN));
    if text.chars().nth(SHOWN).is_some() {
        shown.push('…');
    }
    shown
}

/// Characters with those escaped that are none to look at.
pub(super) fn on_one_line(characters: impl Iterator<Item = char>) -> String {
    characters.fold(String::new(), |mut line, character| {
        if character.is_control() {
            line.extend(character.escape_debug());
        } else {
            line.push(character);
        }
        line
    })
}

/// A stranger's sentence in a message: whole, on one line.
pub(super) fn shown_line(text: &str) -> String {
    text.chars()
        .take(LONGEST_LINE)
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use insta::assert_snapshot;
    use nightbench_driver::host::View;
    use nightbench_driver::{Electrical, Monotonic};

    fn number(
        name: &'static str,
        default: Option<f64>,
        bounds: (f64, f64),
        fitted: u32,
    ) -> Parameter {
        let kind = ParameterKind::Number {
            unit: "Ohm",
            default,
            bounds,
        };
        Parameter {
            name,
            summary: "a number",
            kind,
            fitted,
        }
    }

    fn output(
        name: &'static str,
        quantity: Option<&'static str>,
        unit: Option<&'static str>,
    ) -> Output {
        Output {
            name,
            quantity,
            unit,
        }
    }

    fn sound() -> Declaration {
        Declaration {
            interface: (1, 1),
            name: "sunny",
            summary: "light of day",
            quantity: Some("illuminance"),
            unit: Some("lx"),
            inputs: vec![Electrical::Ohm],
            parameters: vec![number("r10", None, (1.0, 1e8), 1)],
            has_slope: false,
            has_guess: false,
            has_misfit: false,
            outputs: vec![
                output("light", Some("illuminance"), Some("lx")),
                output("power", Some("power"), Some("mW")),
            ],
            monotonic: Monotonic::Falling,
        }
    }

    fn refused(change: impl FnOnce(&mut Declaration)) -> String {
        let mut declaration = sound();
        change(&mut declaration);
        check(&declaration).unwrap_err()
    }

    #[test]
    fn the_shipped_drivers_would_be_taken() {
        assert_eq!(check(&sound()), Ok(()));
        for table in [
            &nightbench_thermistor::TABLE,
            &nightbench_photoresistor::TABLE,
            &nightbench_divider::TABLE,
        ] {
            let declaration = Declaration::of(&View::new(table).unwrap());
            assert_eq!(check(&declaration), Ok(()), "{}", declaration.name);
        }
    }

    #[test]
    fn nonsense_is_refused_in_words() {
        assert_snapshot!(refused(|it| it.name = "a b\n"), @r"the name is `a b\n`; it must be made of letters A to Z and a to z, digits, `_`, `.` and `-`, 64 at most");
        assert_snapshot!(refused(|it| it.summary = "two\nlines"), @r"the summary is no line of at most 300 bytes: `two\nlines`");
        assert_snapshot!(refused(|it| it.unit = Some("deg C")), @"the unit is `deg C`, which is no UCUM code");
        assert_snapshot!(refused(|it| it.inputs = vec![Electrical::Ohm; 2]), @"it names no electrical quantity as its input, or one twice");
        assert_snapshot!(refused(|it| it.parameters.push(number("r10", None, (0.0, 1.0), 0))), @"it declares two parameters `r10`");
        assert_snapshot!(refused(|it| it.parameters = vec![number("a", None, (0.0, f64::INFINITY), 0)]), @"the bounds of `a` are 0 to inf; they must be finite and hold its default");
        assert_snapshot!(refused(|it| it.parameters = vec![number("a", Some(2.0), (0.0, 1.0), 0)]), @"the bounds of `a` are 0 to 1; they must be finite and hold its default");
        assert_snapshot!(refused(|it| it.parameters = vec![number("a", None, (0.0, 1.0), 2)]), @"its parameter `a` has the rank 2 in fits, but it has 1 parameters");
        let list = |most| ParameterKind::List { unit: "1", most };
        assert_snapshot!(refused(|it| it.parameters[0].kind = list(1_000_000)), @"its list `r10` holds 1000000 numbers; it must be 1 to 4096");
        let choice = |words, default| ParameterKind::Choice { words, default };
        assert_snapshot!(refused(|it| it.parameters[0].kind = choice(&["a", "a"], 0)), @"the choice `r10` has no words, one twice, or no default among them");
    }

    #[test]
    fn outputs_that_make_no_sense_are_refused_in_words() {
        assert_snapshot!(refused(|it| it.outputs[0].unit = Some("mW")), @"its first output `light` has another quantity or unit than the driver itself, whose value it is");
        assert_snapshot!(refused(|it| it.outputs[1].name = "light"), @"it gives two outputs `light`");
        assert_snapshot!(refused(|it| it.outputs[1].name = "of the lamp"), @"the name of an output is `of the lamp`; it must be made of letters A to Z and a to z, digits, `_`, `.` and `-`, 64 at most");
        assert_snapshot!(refused(|it| it.outputs[1].unit = Some("m W")), @"the unit of `power` is `m W`, which is no UCUM code");
        assert_snapshot!(refused(|it| it.outputs = vec![it.outputs[0]; 17]), @"it gives 17 outputs; 16 at most are taken");
    }

    #[test]
    fn a_strangers_text_is_shown_in_part_and_on_one_line() {
        assert_eq!(shown("a\u{1b}[0m"), "a\\u{1b}[0m");
        assert_eq!(shown(&"x".repeat(100)).chars().count(), 61);
    }
}
