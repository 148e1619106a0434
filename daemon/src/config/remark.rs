//! Puts what somebody else found out about a configuration beside its own problems: where the key
//! stands that it is about.
//!
//! Judges nothing, and looks at nothing but the text.

use super::problem::{Fault, Problem, Report};
use std::ops::Range;
use toml::de::{DeTable, DeValue};

/// Something that will work badly, though the text is right.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Remark {
    /// The keys that lead to what it is about: `board`, `bench`, `port`.
    pub keys: Vec<String>,
    /// What is wrong.
    pub what: String,
    /// What would be right.
    pub right: String,
}

/// The remarks as warnings with line and column; the beginning of the text where a key is not found.
#[must_use]
pub fn remarks(text: &str, remarks: Vec<Remark>) -> Vec<Problem> {
    let (document, _) = DeTable::parse_recoverable(text);
    let report = Report::new(text);
    for remark in remarks {
        let span = span(document.get_ref(), &remark.keys).unwrap_or(0..0);
        let fault = Fault::new(remark.what, remark.right);
        report.warning(&place(&remark.keys), &span, fault);
    }
    report.into_problems()
}

fn span(table: &DeTable<'_>, keys: &[String]) -> Option<Range<usize>> {
    let (first, rest) = keys.split_first()?;
    let value = table.get(first.as_str())?;
    match (rest, value.get_ref()) {
        ([], _) => Some(value.span()),
        (rest, DeValue::Table(inner)) => span(inner, rest),
        _ => None,
    }
}

fn place(keys: &[String]) -> String {
    match keys {
        [kind, name, _, ..] => format!("{kind} `{name}`"),
        [table, _] => table.clone(),
        _ => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_remark_stands_where_its_value_stands() {
        let text = "[log]\npath = \"x\"\n[board.bench]\nport = \"/dev/none\"\n";
        let about = |keys: &[&str]| Remark {
            keys: keys.iter().map(|key| (*key).to_owned()).collect(),
            what: "this is odd".to_owned(),
            right: "do that".to_owned(),
        };
        let found = [
            about(&["board", "bench", "port"]),
            about(&["log", "path"]),
            about(&["log", "none"]),
        ];
        let shown: Vec<String> = remarks(text, found.to_vec())
            .iter()
            .map(ToString::to_string)
            .collect();
        insta::assert_snapshot!(shown.join("\n"), @"
    1:1: warning: log: this is odd; do that
    2:8: warning: log: this is odd; do that
    4:8: warning: board `bench`: this is odd; do that
    ");
    }
}
