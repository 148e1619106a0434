//! The formats that some lines could be in, each with the fields that it would find.
//!
//! Names are gathered here; values are not: those come from the decoder, in `recognise`.

use super::columns;
use crate::measure::decode::{Format, Separator};
use serde_json::{Map, Value};
use std::collections::BTreeSet;

/// Fields that are looked at, at most: a board has some, garbage has any number.
pub(super) const MAX_FIELDS: usize = 64;

/// Longest name of a field that is taken for one, bytes.
const LONGEST_NAME: usize = 64;

/// Objects within objects, at most.
const DEEPEST: usize = 8;

/// A format, and what to ask its decoder for.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Candidate {
    /// The format.
    pub(super) format: Format,
    /// The fields' names, each once, in the order of the line.
    pub(super) fields: Vec<String>,
}

/// Every format that at least one line could be in; of two that fit equally well the first is
/// meant.
pub(super) fn all(lines: &[&str]) -> Vec<Candidate> {
    let separators = [
        Separator::Comma,
        Separator::Semicolon,
        Separator::Tab,
        Separator::Space,
    ];
    let named = [
        named(Format::Json, lines, json_names),
        named(Format::Pairs, lines, pair_names),
    ];
    let columns = separators.map(|separator| columns::candidate(separator, lines));
    named.into_iter().chain(columns).flatten().collect()
}

fn named(
    format: Format,
    lines: &[&str],
    names: impl Fn(&str, &mut dyn FnMut(&str)),
) -> Option<Candidate> {
    let mut seen = BTreeSet::new();
    let mut fields = Vec::new();
    for line in lines {
        names(line, &mut |name| {
            let fits = !name.trim().is_empty() && name.len() <= LONGEST_NAME;
            if fits && fields.len() < MAX_FIELDS && seen.insert(name.to_owned()) {
                fields.push(name.to_owned());
            }
        });
    }
    (!fields.is_empty()).then_some(Candidate { format, fields })
}

fn pair_names(line: &str, found: &mut dyn FnMut(&str)) {
    for word in line.split([' ', '\t', ',', ';']) {
        if let Some((name, _)) = word.split_once('=') {
            found(name);
        }
    }
}

fn json_names(line: &str, found: &mut dyn FnMut(&str)) {
    if let Ok(Value::Object(object)) = serde_json::from_str(line) {
        leaves(&object, "", DEEPEST, found);
    }
}

fn leaves(object: &Map<String, Value>, before: &str, depth: usize, found: &mut dyn FnMut(&str)) {
    for (key, value) in object {
        let name = format!("{before}{key}");
        match value {
            Value::Object(inner) if depth > 0 => {
                leaves(inner, &format!("{name}."), depth - 1, found);
            }
            Value::Number(_) => found(&name),
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fields(format: &Format, lines: &[&str]) -> Vec<String> {
        let found = all(lines).into_iter().find(|it| it.format == *format);
        found.map(|it| it.fields).unwrap_or_default()
    }

    #[test]
    fn names_are_gathered_over_all_lines_once_each() {
        let lines = ["b=1 a=2", "a=3;c=x", "nothing here"];
        assert_eq!(fields(&Format::Pairs, &lines), ["b", "a", "c"]);
        let lines = [
            r#"{"adc":{"a0":5},"id":"x","t":1}"#,
            r#"{"u":2,"list":[1]}"#,
        ];
        assert_eq!(fields(&Format::Json, &lines), ["adc.a0", "t", "u"]);
    }

    #[test]
    fn a_line_full_of_names_is_bounded() {
        let line: Vec<String> = (0..1000).map(|n| format!("n{n}=1")).collect();
        assert_eq!(fields(&Format::Pairs, &[&line.join(" ")]).len(), MAX_FIELDS);
        let deep = format!("{}1{}", r#"{"a":"#.repeat(60), "}".repeat(60));
        assert!(fields(&Format::Json, &[&deep]).is_empty());
    }
}
