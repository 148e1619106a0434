//! Faults of the TOML itself, worded for people, and what else they explain.
//!
//! The parser says where it stumbled; what the person did is seen in the line. One fault is told for
//! a line: the others follow from it.

mod line;
mod outline;

use super::problem::{Fault, Problem, Report};
use line::Kind;
use outline::Outline;
use std::borrow::Cow;
use std::collections::BTreeSet;
use std::ops::Range;
use toml::de::{DeTable, Error};

/// The lines that the parser could not read.
#[derive(Default)]
pub(super) struct Broken<'t> {
    outline: Outline<'t>,
    lines: BTreeSet<usize>,
    /// Keys whose values could not be read, with their lines.
    keys: Vec<(usize, String)>,
    /// From here on it is not known in which table a line stands.
    astray_from: Option<usize>,
}

impl Broken<'_> {
    /// Whether a problem of what was read only follows from one of the text.
    pub(super) fn explains(&self, problem: &Problem) -> bool {
        // What stands in a broken line was guessed by the parser.
        if self.lines.contains(&problem.line) {
            return true;
        }
        if let Some(from) = self.astray_from {
            return problem.missing.is_some() || !problem.is_error() || problem.line >= from;
        }
        problem.missing.is_some_and(|missing| {
            self.keys.iter().any(|(line, key)| {
                key == missing && self.outline.is_in_table_at(*line, problem.line)
            })
        })
    }
}

/// The text with blanks in the place of lines at which the parser would give up, and all errors.
///
/// Every byte stands where it stood.
pub(super) fn readable(text: &str) -> (Cow<'_, str>, Vec<Error>) {
    let (_, mut errors) = DeTable::parse_recoverable(text);
    let mut lost: Vec<Range<usize>> = Vec::new();
    for error in &errors {
        let at = error.span().map_or(0, |span| span.start);
        // A line of megabytes is measured once.
        if !lost.last().is_some_and(|line| line.contains(&at)) {
            lost.extend(lost_line(text, error));
        }
    }
    if lost.is_empty() {
        return (Cow::Borrowed(text), errors);
    }
    let mut bytes = text.as_bytes().to_vec();
    for line in lost {
        bytes[line].fill(b' ');
    }
    let readable = String::from_utf8(bytes).unwrap_or_default();
    errors.extend(DeTable::parse_recoverable(&readable).1);
    (Cow::Owned(readable), errors)
}

/// The line of an error after which the parser keeps nothing.
fn lost_line(text: &str, error: &Error) -> Option<Range<usize>> {
    let message = error.message();
    if ![
        "key with no value",
        "invalid unquoted key",
        "unquoted keys",
        "invalid key-value",
    ]
    .iter()
    .any(|fatal| message.starts_with(fatal))
    {
        return None;
    }
    let at = error.span()?.start.min(text.len());
    let start = text.get(..at)?.rfind('\n').map_or(0, |newline| newline + 1);
    let end = text
        .get(at..)?
        .find('\n')
        .map_or(text.len(), |length| at + length);
    Some(start..end)
}

/// Reports what the parser could not read.
pub(super) fn report<'t>(report: &Report<'t>, text: &'t str, errors: &[Error]) -> Broken<'t> {
    if errors.is_empty() {
        return Broken::default();
    }
    if text.trim_start().starts_with('{') {
        return braces(report, text);
    }
    let mut broken = Broken {
        outline: Outline::of(text),
        ..Broken::default()
    };
    for error in errors {
        one(report, error, text, &mut broken);
    }
    broken
}

/// A whole text of another kind is told once.
fn braces<'t>(report: &Report<'t>, text: &'t str) -> Broken<'t> {
    let at = text.len() - text.trim_start().len();
    let fault = Fault::new(
        "this is no TOML, but looks like JSON",
        "write lines such as `site = \"cellar\"` under headings such as `[log]`, without braces",
    );
    report.error("", &(at..at), fault);
    Broken {
        astray_from: Some(1),
        ..Broken::default()
    }
}

fn one(report: &Report<'_>, error: &Error, text: &str, broken: &mut Broken<'_>) {
    let span = error.span().unwrap_or(0..0);
    let span = span.start.min(text.len())..span.end.min(text.len());
    let (number, _) = report.position(span.start);
    let line = report.line(number).trim();
    if !broken.lines.insert(number) {
        return;
    }
    if error.message() == "duplicate key" {
        let written = text.get(span.clone()).unwrap_or("");
        if let Some(fault) = twice(&broken.outline, number, written) {
            report.error("", &span, fault);
        }
        return;
    }
    let judged = line::judge(line, error.message());
    match judged.kind {
        Kind::Value { key } => broken.keys.push((number, key)),
        Kind::Beyond if broken.astray_from.is_some() => return,
        Kind::Astray | Kind::Beyond => {
            broken.astray_from.get_or_insert(number);
        }
    }
    if holds_secret(line) {
        let right = "write `key = \"text\"` or `key = 5`";
        let fault = Fault::new("the value is missing, or not in quotes", right);
        report.secret_error("", &span, fault);
    } else {
        report.error("", &span, judged.fault);
    }
}

/// Whether a line could hold what no message must show.
fn holds_secret(line: &str) -> bool {
    let line = line.to_ascii_lowercase();
    ["password", "token", "secret"]
        .iter()
        .any(|word| line.contains(word))
}

/// The fault of a second definition; none where it only follows from a second heading.
fn twice(outline: &Outline<'_>, line: usize, written: &str) -> Option<Fault> {
    if let Some((heading, first)) = outline.same_heading_before(line) {
        let right = format!("remove one, or give one another name; the first is on line {first}");
        return Some(Fault::new(format!("`{heading}` is defined twice"), right));
    }
    let what = format!("`{written}` is defined twice");
    match outline.same_key_before(line) {
        Some(first) => Some(Fault::new(
            what,
            format!("remove one; the first is on line {first}"),
        )),
        None if outline.is_under_second_heading(line) => None,
        None => Some(Fault::new(what, "remove one")),
    }
}
