//! Where headings and keys stand in a text that the parser cannot read as a whole.
//!
//! Looks at the beginnings of lines only; lists and texts over several lines may deceive it.

use std::collections::HashMap;

/// The outline of a text. Lines are counted from 1.
#[derive(Default)]
pub(super) struct Outline<'t> {
    /// Of each line: the number of its section, 0 above the first heading.
    sections: Vec<usize>,
    /// Of each section but the first: its heading and line.
    headings: Vec<(&'t str, usize)>,
    /// The line at which a heading stands first.
    first_heading: HashMap<&'t str, usize>,
    /// Of each line with a key: the key.
    keys: HashMap<usize, &'t str>,
    /// The line at which a key stands first in a section.
    first_key: HashMap<(usize, &'t str), usize>,
}

impl<'t> Outline<'t> {
    /// The outline of a text.
    pub(super) fn of(text: &'t str) -> Self {
        let mut outline = Self::default();
        for (at, line) in text.lines().enumerate() {
            outline.take(at + 1, line.trim());
        }
        outline
    }

    /// The heading of this line, and the line before it with the same one.
    pub(super) fn same_heading_before(&self, line: usize) -> Option<(&'t str, usize)> {
        let (heading, at) = self.heading_of(line)?;
        let first = *self.first_heading.get(heading)?;
        (at == line && first < line).then_some((heading, first))
    }

    /// The line before this one with the same key in the same section.
    pub(super) fn same_key_before(&self, line: usize) -> Option<usize> {
        let key = self.keys.get(&line)?;
        let section = self.section(line)?;
        let first = *self.first_key.get(&(section, *key))?;
        (first < line).then_some(first)
    }

    /// Whether the heading above this line is one that stands further up already.
    pub(super) fn is_under_second_heading(&self, line: usize) -> bool {
        let Some((heading, at)) = self.heading_of(line) else {
            return false;
        };
        self.first_heading.get(heading).is_some_and(|&f| f < at)
    }

    /// Whether a line stands in the table whose heading is on line `heading`, 1 for the top.
    pub(super) fn is_in_table_at(&self, line: usize, heading: usize) -> bool {
        self.section(line) == self.section(heading)
    }

    fn section(&self, line: usize) -> Option<usize> {
        self.sections.get(line.checked_sub(1)?).copied()
    }

    fn heading_of(&self, line: usize) -> Option<(&'t str, usize)> {
        let section = self.section(line)?;
        self.headings.get(section.checked_sub(1)?).copied()
    }

    fn take(&mut self, number: usize, line: &'t str) {
        if line.starts_with('[') {
            let end = line.rfind(']').map_or(line.len(), |at| at + 1);
            self.headings.push((&line[..end], number));
            self.first_heading.entry(&line[..end]).or_insert(number);
        } else if let Some((key, _)) = line.split_once('=') {
            let section = self.headings.len();
            self.keys.insert(number, key.trim());
            self.first_key
                .entry((section, key.trim()))
                .or_insert(number);
        }
        self.sections.push(self.headings.len());
    }
}
