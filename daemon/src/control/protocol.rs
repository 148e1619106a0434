//! What is said on the socket, line by line. Version 1: fields and requests are only added.
//!
//! Server, first line: `{"nightbench":"control 1","version":"0.1.0","process":1234}`. Then for each
//! request one answer, but for `watch`, whose readings go on until the client's next line or end.

use super::facts::{ProbeFacts, Status, WatchedReading};
use crate::calibrate::Step;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// What this version speaks.
pub const SPOKEN: &str = "control 1";

/// What may be asked.
pub const ASKED: [&str; 4] = ["watch", "step", "probe", "status"];

/// Longest piece of a stranger's text that is repeated to it, characters.
const SHOWN: usize = 60;

/// The server's first line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Hello {
    /// [`SPOKEN`].
    pub nightbench: String,
    /// Of the program.
    pub version: String,
    /// Of the service.
    pub process: u32,
}

impl Hello {
    /// This program's.
    #[must_use]
    pub fn ours() -> Self {
        Self {
            nightbench: SPOKEN.to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            process: std::process::id(),
        }
    }
}

/// What a client asks.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "ask", rename_all = "snake_case")]
pub enum Request {
    /// Every reading of a probe from now on, as it is made.
    Watch {
        /// The probe's label.
        probe: String,
    },
    /// A step in a probe's calibration, answered once it is committed.
    Step {
        /// The probe's label.
        probe: String,
        /// The step.
        step: Box<Step>,
    },
    /// What is configured for a probe.
    Probe {
        /// The probe's label.
        probe: String,
    },
    /// How everything stands.
    Status,
}

/// What the server answers.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Answer {
    /// The probe is watched: its readings follow.
    Watching(Box<ProbeFacts>),
    /// A reading of the watched probe.
    Reading(Box<WatchedReading>),
    /// The step is committed.
    Done {
        /// Its number in the log.
        number: u64,
        /// What a person should know all the same.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        remark: Option<String>,
    },
    /// Why not, for a person.
    Refused(String),
    /// What is configured for a probe.
    Probe(Box<ProbeFacts>),
    /// How everything stands.
    Status(Box<Status>),
}

/// Reads a request from its line.
///
/// # Errors
/// What is wrong with it and what may be asked, for a person.
pub fn parse(line: &[u8]) -> Result<Request, String> {
    let value: Value = serde_json::from_slice(line)
        .map_err(|error| with_choice(&format!("the line is no JSON ({error})")))?;
    let Some(ask) = value.get("ask").and_then(Value::as_str) else {
        return Err(with_choice("the line has no `ask`"));
    };
    if !ASKED.contains(&ask) {
        let ask = shortened(ask);
        return Err(with_choice(&format!("`{ask}` cannot be asked")));
    }
    let ask = ask.to_owned();
    serde_json::from_value(value).map_err(|error| {
        let why = shortened(&error.to_string());
        format!("`{ask}` is not understood: {why}")
    })
}

/// A line of JSON with its end.
#[must_use]
pub fn line<T: Serialize>(said: &T) -> Vec<u8> {
    // Names are texts and numbers are finite or null: there is nothing that JSON cannot hold.
    let mut line = serde_json::to_vec(said).unwrap_or_default();
    line.push(b'\n');
    line
}

/// A stranger's text, as long as it may be repeated.
#[must_use]
pub fn shortened(text: &str) -> String {
    let mut shown: String = printable(text).chars().take(SHOWN).collect();
    if text.chars().nth(SHOWN).is_some() {
        shown.push('…');
    }
    shown
}

/// A stranger's text that goes into journal and terminals: nothing in it moves a cursor, colours, or
/// turns the direction of writing.
#[must_use]
pub fn printable(text: &str) -> String {
    let turns = |c| matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let clean = |c: char| if c.is_control() || turns(c) { '?' } else { c };
    text.chars().map(clean).collect()
}

fn with_choice(what: &str) -> String {
    format!("{what}; what may be asked: `{}`", ASKED.join("`, `"))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::control::testing::point;
    use proptest::prelude::*;

    #[test]
    fn a_request_is_one_line_and_comes_back_bit_for_bit() {
        let step = Box::new(Step::Point {
            point: Box::new(point(0.1 + 0.2, 31_412.345_678_901_234)),
        });
        let probe = "mash".to_owned();
        let requests = [
            Request::Watch {
                probe: probe.clone(),
            },
            Request::Step {
                probe: probe.clone(),
                step,
            },
            Request::Probe { probe },
            Request::Status,
        ];
        for request in requests {
            let line = line(&request);
            assert_eq!(line.iter().filter(|byte| **byte == b'\n').count(), 1);
            assert_eq!(parse(&line).unwrap(), request);
        }
    }

    #[test]
    fn the_words_on_the_wire_stay() {
        let done = Answer::Done {
            number: 17,
            remark: None,
        };
        let said = [
            line(&Request::Status),
            line(&done),
            line(&Answer::Refused("no".to_owned())),
        ]
        .concat();
        insta::assert_snapshot!(String::from_utf8(said).unwrap(), @r#"
        {"ask":"status"}
        {"done":{"number":17}}
        {"refused":"no"}
        "#);
    }

    #[test]
    fn what_is_not_understood_is_refused_with_what_may_be_asked() {
        let long = format!(r#"{{"ask":"{}"}}"#, "x".repeat(1000));
        let lines = [
            "",
            "hello",
            "[1]",
            r#"{"probe":"mash"}"#,
            r#"{"ask":"stop"}"#,
            &long,
            r#"{"ask":"watch"}"#,
            r#"{"ask":"step","probe":"mash","step":{"step":"fly"}}"#,
        ];
        let told = lines.map(|line| parse(line.as_bytes()).unwrap_err());
        insta::assert_snapshot!(told.join("\n"), @r"
        the line is no JSON (EOF while parsing a value at line 1 column 0); what may be asked: `watch`, `step`, `probe`, `status`
        the line is no JSON (expected value at line 1 column 1); what may be asked: `watch`, `step`, `probe`, `status`
        the line has no `ask`; what may be asked: `watch`, `step`, `probe`, `status`
        the line has no `ask`; what may be asked: `watch`, `step`, `probe`, `status`
        `stop` cannot be asked; what may be asked: `watch`, `step`, `probe`, `status`
        `xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx…` cannot be asked; what may be asked: `watch`, `step`, `probe`, `status`
        `watch` is not understood: missing field `probe`
        `step` is not understood: unknown variant `fly`, expected one of `point`, `withdrawn`,…
        ");
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_fail_otherwise_than_in_words(
            bytes in prop::collection::vec(any::<u8>(), 0..300),
            cut in 0usize..60,
        ) {
            let _ = parse(&bytes).map_err(|why| assert!(why.len() < 500));
            let whole = line(&Request::Probe { probe: String::from_utf8_lossy(&bytes).into_owned() });
            let _ = parse(&whole[..cut.min(whole.len())]);
            prop_assert!(parse(&whole).is_ok());
        }
    }
}
