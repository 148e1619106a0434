//! A board's line to the fields that are asked for.

mod columns;
mod json;
mod pairs;

/// How a board writes its lines.
#[derive(Clone, Debug, PartialEq)]
pub enum Format {
    /// `name=number` pairs, apart by spaces, tabs, commas or semicolons.
    Pairs,
    /// Columns in a fixed order.
    Columns {
        /// What stands between them.
        separator: Separator,
        /// Name of each column, first to last; `_` for one that nobody needs.
        names: Vec<String>,
    },
    /// One JSON object a line; nested objects are reached by dotted names: `adc.a0`.
    Json,
}

/// What stands between columns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Separator {
    /// Any run of spaces and tabs.
    Space,
    /// One tab.
    Tab,
    /// One comma, spaces around it ignored.
    Comma,
    /// One semicolon, spaces around it ignored.
    Semicolon,
}

/// What a line says of one wanted field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Slot {
    /// Not named in this line.
    Absent,
    /// A finite number.
    Number(f64),
    /// Named, but what stands there is no finite number.
    Unreadable,
}

/// What a whole line is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Line {
    /// At least one wanted field is named.
    Fields,
    /// Empty, or a remark that begins with `#`: boards say who they are this way.
    Remark,
    /// Well formed, but names nothing that is wanted.
    Nothing,
    /// Not in the board's format.
    Garbage,
}

/// Decodes lines of one board into slots, one per wanted field, in the order given.
#[derive(Clone, Debug)]
pub struct Decoder {
    format: Format,
    wanted: Vec<String>,
    slots: Vec<Slot>,
}
