//! Lines of every format are recognised with their very numbers; no bytes panic.

use super::*;
use crate::listen::{Manner, Origin, draft};
use crate::measure::decode::Separator;
use proptest::prelude::*;

fn heard(lines: &[&str]) -> Vec<Heard> {
    lines
        .iter()
        .map(|line| Heard::recorded(line.as_bytes()))
        .collect()
}

fn found(lines: &[&str]) -> Option<Recognised> {
    recognise(&heard(lines)).ok()
}

fn columns(separator: Separator, names: &[&str]) -> Format {
    let names = names.iter().map(|name| (*name).to_owned()).collect();
    Format::Columns { separator, names }
}

#[test]
fn usual_lines_are_recognised() {
    let table: [(&[&str], Format); 9] = [
        (&["a0=512 a1=3", "a0=513 a1=4"], Format::Pairs),
        (
            &["{\"a0\":512, \"t\":1}", "{\"a0\":513, \"t\":2}"],
            Format::Json,
        ),
        (&["512", "513"], columns(Separator::Comma, &["c1"])),
        (
            &["512, 3", "513, 3"],
            columns(Separator::Comma, &["c1", "c2"]),
        ),
        (
            &["512;3.5", "513;3.5"],
            columns(Separator::Semicolon, &["c1", "c2"]),
        ),
        (
            &["512\t3", "513\t3"],
            columns(Separator::Tab, &["c1", "c2"]),
        ),
        (
            &["light: 512 at 3", "light: 513 at 4"],
            columns(Separator::Space, &["_", "c2", "_", "c4"]),
        ),
        (
            &["t,light", "1,512", "2,513"],
            columns(Separator::Comma, &["t", "light"]),
        ),
        (
            &["12:30:05,512,", "12:30:06,513,"],
            columns(Separator::Comma, &["_", "c2", "_"]),
        ),
    ];
    for (lines, format) in table {
        assert_eq!(found(lines).map(|it| it.format), Some(format), "{lines:?}");
    }
}

#[test]
fn a_greeting_of_any_length_and_some_garbage_are_left_out() {
    let mut lines = vec![
        "ets Jul 29 2019 12:21:46",
        "rst:0x1 (POWERON)",
        "load:0x3fff0030,len:1184",
    ];
    lines.extend(["# board bench", "Hello", "a0=512", "a0=51", "xx", "a0=513"]);
    let found = found(&lines).map(|it| (it.format, it.lines, it.others, it.example));
    assert_eq!(found, Some((Format::Pairs, 3, 5, "a0=513".to_owned())));
}

#[test]
fn single_lines_and_mostly_garbage_are_not_recognised() {
    for lines in [
        &["a0=512"][..],
        &["a0=512", "x", "y", "z", "a0=513"],
        &["x", "y"],
        &[],
    ] {
        assert_eq!(found(lines), None, "{lines:?}");
    }
}

#[test]
fn the_usual_time_between_lines_is_told() {
    let line = |at_ms: f64| Heard {
        at_ms: Some(at_ms),
        bytes: b"a0=5".to_vec(),
    };
    let found = recognise(&[0.0, 1000.0, 2010.0, 3000.0].map(line));
    assert_eq!(found.ok().and_then(|it| it.interval_ms), Some(1000.0));
}

fn written(format: &Format, row: &[f64]) -> String {
    let joined = |apart: &str| {
        let numbers: Vec<String> = row.iter().map(f64::to_string).collect();
        numbers.join(apart)
    };
    let named = |before: &str, after: &str, apart: &str| {
        let fields = row.iter().enumerate();
        let fields: Vec<String> = fields
            .map(|(at, x)| format!("{before}f{at}{after}{x}"))
            .collect();
        fields.join(apart)
    };
    match format {
        Format::Pairs => named("", "=", " "),
        Format::Json => format!("{{{}}}", named("\"", "\":", ",")),
        Format::Columns { separator, .. } => joined(match separator {
            Separator::Space => " ",
            Separator::Tab => "\t",
            Separator::Comma => ",",
            Separator::Semicolon => "; ",
        }),
    }
}

fn any_format() -> impl Strategy<Value = Format> {
    let separators = [
        Separator::Space,
        Separator::Tab,
        Separator::Comma,
        Separator::Semicolon,
    ];
    let formats = separators.map(|separator| columns(separator, &[]));
    proptest::sample::select([&[Format::Pairs, Format::Json], &formats[..]].concat())
}

fn rows() -> impl Strategy<Value = Vec<Vec<f64>>> {
    let number = prop_oneof![(0..65_536_i32).prop_map(f64::from), -1e6..1e6_f64];
    (2..6_usize).prop_flat_map(move |width| {
        let row = proptest::collection::vec(number.clone(), width);
        proptest::collection::vec(row, 2..30)
    })
}

fn same_kind(one: &Format, other: &Format) -> bool {
    match (one, other) {
        (
            Format::Columns { separator: one, .. },
            Format::Columns {
                separator: other, ..
            },
        ) => one == other,
        (one, other) => one == other,
    }
}

/// What a draft says of these lines; the configuration must be accepted.
fn accepted(found: &Recognised) -> Result<(), TestCaseError> {
    if let Ok(text) = draft(found, &Origin::Piped) {
        let (config, problems) = crate::config::parse(&text, std::path::Path::new(""));
        prop_assert!(config.is_some(), "{problems:?}\n{text}");
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn lines_of_each_format_are_recognised_with_their_numbers(format in any_format(), rows in rows()) {
        let lines: Vec<String> = rows.iter().map(|row| written(&format, row)).collect();
        let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
        let found = found(&lines);
        prop_assert!(found.is_some(), "{lines:?}");
        let Some(found) = found else { return Ok(()) };
        prop_assert!(same_kind(&found.format, &format), "{lines:?}");
        for (at, field) in found.fields.iter().enumerate() {
            let numbers: Vec<f64> = field.numbers.iter().map(|(_, number)| *number).collect();
            let sent: Vec<f64> = rows.iter().map(|row| row[at]).collect();
            prop_assert_eq!(numbers, sent);
        }
        prop_assert_eq!(found.fields.len(), rows[0].len());
        accepted(&found)?;
    }

    #[test]
    fn any_bytes_are_judged_without_a_panic(
        lines in proptest::collection::vec(any::<Vec<u8>>(), 0..20),
    ) {
        let heard: Vec<Heard> = lines.iter().map(|line| Heard::recorded(line)).collect();
        if let Ok(found) = recognise(&heard) {
            accepted(&found)?;
        }
    }

    #[test]
    fn near_misses_give_a_configuration_that_is_accepted_or_a_reason(
        lines in proptest::collection::vec("[a01=.,;{}:\"# \\\\\t_\u{7f}é-]{0,24}|\\{\"[a\\\\n.\u{7f}\"é]{1,4}\":[0-9]{1,7}\\}", 0..12),
    ) {
        let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
        match recognise(&heard(&lines)) {
            Ok(found) => accepted(&found)?,
            Err(why) => prop_assert!(!why.to_string().is_empty()),
        }
    }
}

#[test]
fn a_field_that_is_sometimes_no_number_is_kept_and_told() {
    let found = found(&["a0=512", "a0=nan", "a0=514", "b=x a0=515"]);
    let fields = found.map(|it| it.fields).unwrap_or_default();
    let a0 = fields.iter().find(|field| field.name == "a0");
    assert_eq!(
        a0.map(ToString::to_string).as_deref(),
        Some("moves, 512 to 515; once it was no number")
    );
    assert!(
        fields
            .iter()
            .any(|field| field.manner == Manner::Unreadable)
    );
}
