//! One line of line protocol, written by the `influxdb-line-protocol` crate behind our own checks.
//!
//! The crate's builder cannot fail: handed a line break, a trailing backslash, an empty tag or a
//! number that is not finite, it writes a line that its own parser refuses, or reads as two lines,
//! or as a comment. So everything is checked here first. What a reading is, is not known here.

use influxdb_line_protocol::LineProtocolBuilder;
use influxdb_line_protocol::builder::FieldValue;
use std::fmt;

/// A value of a field. A field keeps its type for ever: a server refuses a float where it has seen
/// an integer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Field<'a> {
    /// A 64-bit float; left out where it is not finite, because the protocol has no word for it.
    Float(f64),
    /// A 64-bit signed integer.
    Integer(i64),
    /// Text without control characters.
    Text(&'a str),
}

/// What one line says.
#[derive(Clone, Debug, PartialEq)]
pub struct Point<'a> {
    /// The table it goes to.
    pub measurement: &'a str,
    /// Keys and values that name the series. Written sorted by key; empty values are left out.
    pub tags: Vec<(&'a str, &'a str)>,
    /// Keys and values; at least one must remain.
    pub fields: Vec<(&'a str, Field<'a>)>,
    /// Time since 1970-01-01T00:00:00Z, in the precision that the request names.
    pub time: i64,
}

/// A part of a line, as messages call it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// The measurement.
    Measurement,
    /// The key of a tag.
    TagKey,
    /// The value of a tag.
    TagValue,
    /// The key of a field.
    FieldKey,
    /// A text in a field.
    Text,
}

/// Why a point cannot be written as a line that every server reads the same way.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unwritable {
    /// A name of no length.
    #[error("the {0} is empty")]
    Empty(Part),
    /// A tab, a line break or the like: it would end the line.
    #[error(
        "the {part} `{}` holds a control character; line protocol cannot carry it",
        text.escape_debug()
    )]
    Control {
        /// Where.
        part: Part,
        /// The text.
        text: String,
    },
    /// Servers differ in what a backslash in a name means, and at its end it hides what follows.
    #[error("the {part} `{text}` holds a backslash; servers do not agree on how to read it")]
    Backslash {
        /// Where.
        part: Part,
        /// The text.
        text: String,
    },
    /// `#` starts a comment, `_` a name that servers keep for themselves; `time` is one of those.
    #[error("the {part} `{text}` is reserved; it must not start with `#` or `_`, nor be `time`")]
    Reserved {
        /// Where.
        part: Part,
        /// The text.
        text: String,
    },
    /// A key that stands twice: servers keep one of the two values.
    #[error("the {part} `{text}` stands twice")]
    Twice {
        /// Where.
        part: Part,
        /// The text.
        text: String,
    },
    /// No field is left after those without a finite number are left out.
    #[error("no field has a value")]
    NoField,
    /// Servers count nanoseconds in 64 bits.
    #[error(
        "its time, {0} ms since 1970, is outside the years 1677 to 2262 that servers can store"
    )]
    Time(i64),
    /// Integers are signed, 64 bits.
    #[error("its number {0} is above the largest integer of line protocol")]
    Integer(u64),
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Measurement => "measurement",
            Self::TagKey => "tag key",
            Self::TagValue => "tag value",
            Self::FieldKey => "field key",
            Self::Text => "text",
        })
    }
}

impl FieldValue for Field<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Float(number) => FieldValue::fmt(number, f),
            Self::Integer(number) => FieldValue::fmt(number, f),
            Self::Text(text) => FieldValue::fmt(text, f),
        }
    }
}

impl Point<'_> {
    /// The line, without a line break at its end. The same point always gives the same text.
    ///
    /// # Errors
    /// Names the first part that has no unambiguous form in line protocol.
    pub fn line(mut self) -> Result<String, Unwritable> {
        self.leave_out_what_has_no_form();
        self.tags.sort_unstable_by_key(|&(key, _)| key);
        self.check()?;
        let Some((&(key, value), others)) = self.fields.split_first() else {
            return Err(Unwritable::NoField);
        };
        let mut series = LineProtocolBuilder::new().measurement(self.measurement);
        for (key, value) in &self.tags {
            series = series.tag(key, value);
        }
        let mut fields = series.field(key, value);
        for &(key, value) in others {
            fields = fields.field(key, value);
        }
        let mut bytes = fields.timestamp(self.time).close_line().build();
        bytes.pop(); // the line break of `close_line`
        Ok(String::from_utf8(bytes).expect("the builder writes only the strings it was handed"))
    }

    fn leave_out_what_has_no_form(&mut self) {
        self.tags.retain(|(_, value)| !value.is_empty());
        self.fields
            .retain(|(_, value)| !matches!(value, Field::Float(number) if !number.is_finite()));
    }

    fn check(&self) -> Result<(), Unwritable> {
        check_name(Part::Measurement, self.measurement)?;
        for (key, value) in &self.tags {
            check_key(Part::TagKey, key)?;
            check_text(Part::TagValue, value)?;
            check_backslash(Part::TagValue, value)?;
        }
        for (key, value) in &self.fields {
            check_key(Part::FieldKey, key)?;
            if let Field::Text(text) = value {
                check_text(Part::Text, text)?;
            }
        }
        check_distinct(Part::TagKey, self.tags.iter().map(|&(key, _)| key))?;
        check_distinct(Part::FieldKey, self.fields.iter().map(|&(key, _)| key))
    }
}

/// Source: restrictions of the published line protocol pages, in
/// `tests/published/line_protocol.toml`.
fn check_key(part: Part, text: &str) -> Result<(), Unwritable> {
    check_name(part, text)?;
    match text {
        "time" => Err(Unwritable::Reserved {
            part,
            text: text.to_owned(),
        }),
        _ => Ok(()),
    }
}

fn check_name(part: Part, text: &str) -> Result<(), Unwritable> {
    if text.is_empty() {
        return Err(Unwritable::Empty(part));
    }
    if text.starts_with(['#', '_']) {
        let text = text.to_owned();
        return Err(Unwritable::Reserved { part, text });
    }
    check_text(part, text)?;
    check_backslash(part, text)
}

fn check_text(part: Part, text: &str) -> Result<(), Unwritable> {
    if text.contains(char::is_control) {
        let text = text.to_owned();
        return Err(Unwritable::Control { part, text });
    }
    Ok(())
}

fn check_backslash(part: Part, text: &str) -> Result<(), Unwritable> {
    if text.contains('\\') {
        let text = text.to_owned();
        return Err(Unwritable::Backslash { part, text });
    }
    Ok(())
}

/// A line has a handful of keys: comparing each with the ones before needs no set.
fn check_distinct<'a>(
    part: Part,
    keys: impl Iterator<Item = &'a str> + Clone,
) -> Result<(), Unwritable> {
    for (at, key) in keys.clone().enumerate() {
        if keys.clone().take(at).any(|earlier| earlier == key) {
            let text = key.to_owned();
            return Err(Unwritable::Twice { part, text });
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests;
