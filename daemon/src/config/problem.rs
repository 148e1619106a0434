//! What is wrong with a configuration: where, what, and what would be right.
//!
//! Collects and words; it does not decide what is wrong.

use std::cell::RefCell;
use std::fmt;
use std::ops::Range;

/// How bad a problem is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Severity {
    /// The configuration is refused.
    Error,
    /// It can be used, but will work badly.
    Warning,
}

/// One problem of a configuration text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Whether the configuration is refused for it.
    pub severity: Severity,
    /// Line, from 1.
    pub line: usize,
    /// Column, from 1, in characters.
    pub column: usize,
    /// The offending text as it stands in the file; empty where it would give away a secret.
    pub text: String,
    /// The table in words: ``probe `mash` ``; empty at the top of the file.
    pub place: String,
    /// What is wrong.
    pub what: String,
    /// What would be right.
    pub right: String,
    /// The key or table that is missing, where that is the problem.
    pub(super) missing: Option<&'static str>,
}

impl Problem {
    /// The problem with the file's name in front, as editors and people expect it.
    #[must_use]
    pub fn in_file<'a>(&'a self, file: &'a str) -> InFile<'a> {
        InFile {
            problem: self,
            file,
        }
    }

    /// Whether the configuration is refused for it.
    #[must_use]
    pub fn is_error(&self) -> bool {
        self.severity == Severity::Error
    }
}

impl fmt::Display for Problem {
    /// `14:1: probe …: what is wrong; what would be right`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}: ", self.line, self.column)?;
        if self.severity == Severity::Warning {
            f.write_str("warning: ")?;
        }
        if !self.place.is_empty() {
            write!(f, "{}: ", self.place)?;
        }
        f.write_str(&self.what)?;
        if !self.right.is_empty() {
            write!(f, "; {}", self.right)?;
        }
        Ok(())
    }
}

/// A problem with its file's name; see [`Problem::in_file`].
#[derive(Clone, Copy, Debug)]
pub struct InFile<'a> {
    problem: &'a Problem,
    file: &'a str,
}

impl fmt::Display for InFile<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.file, self.problem)
    }
}

/// What is wrong and what would be right, before it has a place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Fault {
    /// What is wrong.
    pub(crate) what: String,
    /// What would be right.
    pub(crate) right: String,
}

impl Fault {
    /// A fault in words.
    pub(crate) fn new(what: impl Into<String>, right: impl Into<String>) -> Self {
        Self {
            what: what.into(),
            right: right.into(),
        }
    }
}

/// Collects the problems of one text.
pub(super) struct Report<'t> {
    text: &'t str,
    line_starts: Vec<usize>,
    problems: RefCell<Vec<Problem>>,
}

impl<'t> Report<'t> {
    /// An empty report on this text.
    pub(super) fn new(text: &'t str) -> Self {
        let after_newlines = text.match_indices('\n').map(|(at, _)| at + 1);
        Self {
            text,
            line_starts: std::iter::once(0).chain(after_newlines).collect(),
            problems: RefCell::new(Vec::new()),
        }
    }

    /// Adds an error.
    pub(super) fn error(&self, place: &str, span: &Range<usize>, fault: Fault) {
        self.add(Severity::Error, place, span, fault);
    }

    /// Adds a warning.
    pub(super) fn warning(&self, place: &str, span: &Range<usize>, fault: Fault) {
        self.add(Severity::Warning, place, span, fault);
    }

    /// Line and column, both from 1, of a byte position.
    pub(super) fn position(&self, at: usize) -> (usize, usize) {
        let line = self.line_starts.partition_point(|start| *start <= at);
        let start = self.line_starts.get(line.saturating_sub(1)).copied();
        let before = self.text.get(start.unwrap_or(0)..at).unwrap_or("");
        (line.max(1), before.chars().count() + 1)
    }

    /// The text of a line, counted from 1.
    pub(super) fn line(&self, line: usize) -> &'t str {
        let start = self.line_starts.get(line.saturating_sub(1)).copied();
        let rest = start.and_then(|start| self.text.get(start..));
        rest.unwrap_or("").split('\n').next().unwrap_or("")
    }

    /// All problems, in the order of the text.
    pub(super) fn into_problems(self) -> Vec<Problem> {
        let mut problems = self.problems.into_inner();
        problems.sort_by_key(|problem| (problem.line, problem.column));
        problems
    }

    fn add(&self, severity: Severity, place: &str, span: &Range<usize>, fault: Fault) {
        let (line, column) = self.position(span.start);
        self.problems.borrow_mut().push(Problem {
            severity,
            line,
            column,
            text: self.text.get(span.clone()).unwrap_or("").to_owned(),
            place: place.to_owned(),
            what: printable(&fault.what),
            right: printable(&fault.right),
            missing: None,
        });
    }

    /// Adds the error that a key or a table is missing.
    pub(super) fn missing(
        &self,
        place: &str,
        span: &Range<usize>,
        key: &'static str,
        fault: Fault,
    ) {
        self.error(place, span, fault);
        if let Some(problem) = self.problems.borrow_mut().last_mut() {
            problem.missing = Some(key);
        }
    }

    /// Adds an error whose text would give away a secret.
    pub(super) fn secret_error(&self, place: &str, span: &Range<usize>, fault: Fault) {
        self.add(Severity::Error, place, &(span.start..span.start), fault);
    }
}

/// What a message repeats from the file must not break its line, nor turn a terminal's text round.
fn printable(text: &str) -> String {
    let harmful =
        |c: char| c.is_control() || matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    text.chars().fold(String::new(), |mut shown, c| {
        if harmful(c) {
            shown.extend(c.escape_unicode());
        } else {
            shown.push(c);
        }
        shown
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_counted_in_characters_and_lines_from_one() {
        let text = "a = 1\n\"°C\" = 2\r\nb = 3";
        let report = Report::new(text);
        let position = |needle: &str| report.position(text.find(needle).unwrap_or(usize::MAX));
        assert_eq!(position("a"), (1, 1));
        assert_eq!(position("2"), (2, 8));
        assert_eq!(position("b"), (3, 1));
        assert_eq!(report.position(usize::MAX).0, 3);
    }

    #[test]
    fn a_problem_is_shown_with_file_line_column_place_and_remedy() {
        let report = Report::new("x = 1");
        report.warning("log", &(0..1), Fault::new("this is odd", "do that"));
        let problems = report.into_problems();
        let shown: Vec<String> = problems
            .iter()
            .map(|p| p.in_file("night.toml").to_string())
            .collect();
        assert_eq!(
            shown,
            ["night.toml:1:1: warning: log: this is odd; do that"]
        );
    }

    #[test]
    fn what_is_repeated_from_the_file_stays_on_its_line() {
        assert_eq!(printable("10 °C\n\u{202e}"), "10 °C\\u{a}\\u{202e}");
    }
}
