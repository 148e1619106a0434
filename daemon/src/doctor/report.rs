//! The report in words, 80 columns wide, and as JSON. Wording and layout only.

use super::finding::{Finding, Report, Section, Severity};
use crate::listen::readable;
use serde_json::{Value, json};

/// Columns of a terminal that nobody has made wider.
const COLUMNS: usize = 80;

/// Where the text of a finding begins.
const INDENT: usize = 10;

/// The whole report for a person: section by section, then a summary that begins with the worst.
#[must_use]
pub fn text(report: &Report) -> String {
    let mut text = String::new();
    for (section, findings) in report.chapters.iter().filter(|(_, it)| !it.is_empty()) {
        text += &format!("{}\n", section.name());
        for finding in findings {
            text += &head(finding);
            text += &remedy(finding);
        }
        text.push('\n');
    }
    text + &summary(report)
}

/// One JSON object a line for each finding.
#[must_use]
pub fn json(report: &Report) -> String {
    let findings = report.findings();
    let lines = findings.map(|(section, it)| object(section, it).to_string() + "\n");
    lines.collect()
}

fn object(section: Section, finding: &Finding) -> Value {
    json!({
        "severity": finding.severity.name(),
        "section": section.name(),
        "where": finding.place,
        "what": finding.what,
        "do": finding.remedy,
    })
}

fn summary(report: &Report) -> String {
    let counted = |severity: Severity| format!("{} {}", report.count(severity), severity.name());
    let counts = [Severity::Wrong, Severity::Advice, Severity::Ok].map(counted);
    let mut text = format!("summary: {}\n", counts.join(", "));
    for severity in [Severity::Wrong, Severity::Advice] {
        let findings = report.findings().filter(|(_, it)| it.severity == severity);
        text.extend(findings.map(|(_, finding)| head(finding)));
    }
    text + &left_behind(&report.left)
}

fn left_behind(left: &[String]) -> String {
    let mut text = match left {
        [] => return "left behind: nothing\n".to_owned(),
        _ => "left behind:\n".to_owned(),
    };
    text.extend(left.iter().map(|it| filled("  ", 2, it)));
    text
}

fn head(finding: &Finding) -> String {
    let label = format!("  {:<8}", finding.severity.name());
    filled(
        &label,
        INDENT,
        &format!("{}: {}", finding.place, finding.what),
    )
}

fn remedy(finding: &Finding) -> String {
    match &*finding.remedy {
        "" => String::new(),
        remedy => filled(&" ".repeat(INDENT), INDENT + 4, &format!("do: {remedy}")),
    }
}

/// Words in lines of [`COLUMNS`]; a word that is longer, a path mostly, stays whole. What came from
/// a broker or a device does a terminal no harm.
fn filled(first: &str, indent: usize, words: &str) -> String {
    let words = readable(words.as_bytes());
    let (mut text, mut line) = (String::new(), first.to_owned());
    let mut is_empty = true;
    for word in words.split_whitespace() {
        if !is_empty && line.chars().count() + 1 + word.chars().count() > COLUMNS {
            text += &line;
            text.push('\n');
            line = " ".repeat(indent);
            is_empty = true;
        }
        if !is_empty {
            line.push(' ');
        }
        line += word;
        is_empty = false;
    }
    text + &line + "\n"
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn report() -> Report {
        let clock = Finding::advice(
            "host",
            "it has no clock chip: after a power cut its time is wrong until the network answers",
            "fit one",
        );
        let log = Finding::wrong("log `cellar.sqlite`", "the disk is full", "free space");
        let board = Finding::ok("board `\u{1b}[2J`", "simulated");
        Report {
            chapters: vec![
                (Section::Clock, vec![clock]),
                (Section::Log, vec![log]),
                (Section::Boards, vec![board]),
                (Section::Outlets, vec![]),
            ],
            left: vec!["a message on `cellar/doctor`".to_owned()],
        }
    }

    #[test]
    fn the_summary_begins_with_what_is_wrong() {
        insta::assert_snapshot!(text(&report()), @"
    clock
      advice  host: it has no clock chip: after a power cut its time is wrong until
              the network answers
              do: fit one

    log
      wrong   log `cellar.sqlite`: the disk is full
              do: free space

    boards
      ok      board `\\x1b[2J`: simulated

    summary: 1 wrong, 1 advice, 1 ok
      wrong   log `cellar.sqlite`: the disk is full
      advice  host: it has no clock chip: after a power cut its time is wrong until
              the network answers
    left behind:
      a message on `cellar/doctor`
    ");
    }

    #[test]
    fn lines_keep_to_eighty_columns_but_for_long_words() {
        let words = "ab ".repeat(200) + &"b".repeat(100);
        let text = filled("  ok      ", INDENT, &words);
        let widths: Vec<usize> = text.lines().map(|line| line.chars().count()).collect();
        assert!(
            widths
                .iter()
                .filter(|width| **width > COLUMNS)
                .eq([&(INDENT + 100)]),
            "{widths:?}"
        );
        assert!(
            widths[..5].iter().all(|width| *width > COLUMNS - 3),
            "{widths:?}"
        );
    }

    #[test]
    fn each_finding_is_an_object_a_line() {
        let text = json(&report());
        let first: Value = serde_json::from_str(text.lines().next().unwrap()).unwrap();
        assert_eq!(text.lines().count(), 3);
        assert_eq!(first["severity"], "advice");
        assert_eq!(
            (&first["section"], &first["do"]),
            (&json!("clock"), &json!("fit one"))
        );
    }
}
