//! The part of `[board.NAME]` that says how its lines are written.

use super::item::{Item, Value};
use super::problem::Fault;
use super::reader::Table;
use super::words;
use crate::measure::decode::{Format, Separator};

#[derive(Clone, Copy)]
enum Kind {
    Pairs,
    Columns,
    Json,
}

const KINDS: &[(&str, Kind)] = &[
    ("pairs", Kind::Pairs),
    ("columns", Kind::Columns),
    ("json", Kind::Json),
];

const SEPARATORS: &[(&str, Separator)] = &[
    ("space", Separator::Space),
    ("tab", Separator::Tab),
    ("comma", Separator::Comma),
    ("semicolon", Separator::Semicolon),
];

/// The column that nobody needs.
const UNUSED: &str = "_";

/// Reads `format`, `columns` and `separator`.
pub(super) fn read(table: &Table<'_>) -> Value<Format> {
    let kind = table.or("format", Kind::Pairs, |item| item.choice(KINDS));
    let Some(kind) = kind else {
        table.know(&["columns", "separator"]);
        return None;
    };
    if !matches!(kind, Kind::Columns) {
        let why = "it goes with `format = \"columns\"`";
        table.foreign(&["columns", "separator"], why);
    }
    match kind {
        Kind::Pairs => Some(Format::Pairs),
        Kind::Json => Some(Format::Json),
        Kind::Columns => columns(table),
    }
}

/// Whether a board's line can hold a field: columns are all named, other formats are not.
pub(super) fn check_field(
    format: &Format,
    item: Option<&Item<'_>>,
    field: &str,
) -> Result<(), Fault> {
    let Format::Columns { names, .. } = format else {
        return Ok(());
    };
    if field != UNUSED && names.iter().any(|name| name == field) {
        return Ok(());
    }
    let names: Vec<&str> = names
        .iter()
        .map(String::as_str)
        .filter(|name| *name != UNUSED)
        .collect();
    let what = format!("none of the board's columns is `{field}`");
    let key = match item {
        Some(item) => format!("`{}`", item.key()),
        None => "the channel".to_owned(),
    };
    Err(Fault::new(
        what,
        format!("name {key} after one of {}", words::list(&names)),
    ))
}

fn columns(table: &Table<'_>) -> Value<Format> {
    let names = table.required("columns", "[\"a0\", \"_\", \"a1\"]", names);
    let separator = table.or("separator", Separator::Comma, |item| {
        item.choice(SEPARATORS)
    });
    Some(Format::Columns {
        separator: separator?,
        names: names?,
    })
}

fn names(item: &Item<'_>) -> Value<Vec<String>> {
    let names = item.texts()?;
    if names.iter().all(|name| name == UNUSED) {
        return item.refuse(Fault::new(
            "no column has a name",
            "name those that are needed",
        ));
    }
    let twice = names
        .iter()
        .enumerate()
        .find(|(at, name)| *name != UNUSED && names[..*at].contains(name));
    match twice {
        None => Some(names),
        Some((_, name)) => item.refuse(Fault::new(
            format!("the column `{name}` is named twice"),
            "each column has a name of its own, or `_`",
        )),
    }
}
