//! What a certificate is made of on paper: sections of paragraphs, facts, lists, tables and charts.

use crate::chart::Chart;

/// A part with a heading.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Section {
    /// The heading.
    pub(super) title: &'static str,
    /// What stands under it.
    pub(super) blocks: Vec<Block>,
}

/// Something in a section.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Block {
    /// Running text.
    Paragraph(String),
    /// Names and what they are.
    Facts(Vec<(&'static str, String)>),
    /// One remark each.
    List(Vec<String>),
    /// Numbers.
    Table(Table),
    /// A drawing, on paper only.
    Chart(Chart),
}

/// A table.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Table {
    /// Its columns.
    pub(super) columns: Vec<Column>,
    /// A cell for each column.
    pub(super) rows: Vec<Vec<String>>,
}

/// A column of a table.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Column {
    /// Its heading.
    pub(super) name: String,
    /// Whether it holds numbers, which are never broken and stand to the right.
    pub(super) numeric: bool,
}

impl Column {
    /// A column of numbers.
    pub(super) fn number(name: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            numeric: true,
        }
    }

    /// A column of words.
    pub(super) fn words(name: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            numeric: false,
        }
    }
}
