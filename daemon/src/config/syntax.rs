//! Faults of the TOML itself, worded for people.

use super::problem::{Fault, Report};
use toml::de::Error;

/// Reports what the parser could not read.
pub(super) fn report(report: &Report<'_>, text: &str, errors: &[Error]) {
    for error in errors {
        let span = error.span().unwrap_or(0..0);
        let span = span.start.min(text.len())..span.end.min(text.len());
        let (line, _) = report.position(span.start);
        if holds_secret(report.line(line)) {
            report.secret_error("", &span, fault(error.message(), ""));
        } else {
            let written = text.get(span.clone()).unwrap_or("");
            report.error("", &span, fault(error.message(), written));
        }
    }
}

/// Whether a line could hold what no message must show.
fn holds_secret(line: &str) -> bool {
    let line = line.to_ascii_lowercase();
    ["password", "token", "secret"]
        .iter()
        .any(|word| line.contains(word))
}

fn fault(message: &str, written: &str) -> Fault {
    match message {
        "duplicate key" => Fault::new(
            format!("`{written}` is defined twice"),
            "give one of them another name, or put both together",
        ),
        _ if message.starts_with("string values must be quoted") => Fault::new(
            match written {
                "" => "the value is missing, or not in quotes".to_owned(),
                written => format!("`{written}` is not in quotes"),
            },
            match written {
                "" => "write `key = \"text\"` or `key = 5`".to_owned(),
                written => format!("write `\"{written}\"`"),
            },
        ),
        message => Fault::new(format!("this is no TOML: {message}"), ""),
    }
}
