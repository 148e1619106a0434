//! Takes the keys out of a TOML table, and reports the ones that nobody took.
//!
//! Knows where a table stands in the text; what its keys mean is the business of the table's own
//! file. Nothing here stops at the first fault: a key that cannot be used gives `None` and a
//! problem, and its neighbours are read all the same.

use super::item::{Item, Value};
use super::problem::{Fault, Report};
use super::similar::similar;
use std::cell::RefCell;
use std::ops::Range;
use std::rc::Rc;
use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

/// What stands under a free name, and its table, where it is one.
pub(super) type Entry<'a> = (Item<'a>, Option<Table<'a>>);

/// A table of the file, with the words for its place and the keys that were asked for.
pub(crate) struct Table<'a> {
    report: &'a Report<'a>,
    place: Rc<str>,
    at: Range<usize>,
    entries: &'a DeTable<'a>,
    known: RefCell<Vec<&'static str>>,
}

impl<'a> Table<'a> {
    /// A table at a place: ``probe `mash` ``, empty for the top of the file.
    pub(super) fn new(
        report: &'a Report<'a>,
        place: String,
        at: Range<usize>,
        entries: &'a DeTable<'a>,
    ) -> Self {
        Self {
            report,
            place: place.into(),
            at,
            entries,
            known: RefCell::default(),
        }
    }

    /// What a key holds, where it is there. The key counts as known from here on.
    pub(crate) fn item(&self, key: &'static str) -> Option<Item<'a>> {
        self.know(&[key]);
        let (name, value) = self.entries.get_key_value(key)?;
        Some(self.entry(key, name, value))
    }

    /// Reads a key that may be missing.
    pub(crate) fn optional<T>(
        &self,
        key: &'static str,
        read: impl FnOnce(&Item<'a>) -> Option<T>,
    ) -> Value<Option<T>> {
        match self.item(key) {
            Some(item) => read(&item).map(Some),
            None => Some(None),
        }
    }

    /// Reads a key that has a default.
    pub(crate) fn or<T>(
        &self,
        key: &'static str,
        default: T,
        read: impl FnOnce(&Item<'a>) -> Option<T>,
    ) -> Value<T> {
        match self.item(key) {
            Some(item) => read(&item),
            None => Some(default),
        }
    }

    /// Reads a key that must be there; `example` is how it could stand there.
    pub(crate) fn required<T>(
        &self,
        key: &'static str,
        example: &str,
        read: impl FnOnce(&Item<'a>) -> Option<T>,
    ) -> Value<T> {
        if let Some(item) = self.item(key) {
            return read(&item);
        }
        let fault = Fault::new(
            format!("`{key}` is missing"),
            format!("add a line such as `{key} = {example}`"),
        );
        self.missing(key, fault);
        None
    }

    /// The tables under a key, by name, in the order of the file: `[probe.NAME]`.
    pub(super) fn named(&self, key: &'static str, what: &str) -> Vec<(String, Table<'a>)> {
        let Some(item) = self.item(key) else {
            return Vec::new();
        };
        let Some(entries) = item.entries("give each a table with a name: `[….KEY.NAME]`") else {
            return Vec::new();
        };
        let mut keys: Vec<_> = entries.iter().collect();
        keys.sort_by_key(|(name, _)| name.span().start);
        keys.into_iter()
            .filter_map(|(name, value)| {
                let place = self.under(&format!("{what} `{}`", name.get_ref()));
                let item = self.entry(name.get_ref(), name, value);
                let table = item.entries("write it as a table of its own")?;
                let checked = item.key_as_name(what)?;
                Some((checked, Table::new(self.report, place, name.span(), table)))
            })
            .collect()
    }

    /// The tables under a key, by number, in the order of the file: `[[KEY]]`.
    pub(crate) fn listed(&self, key: &'static str) -> Vec<Table<'a>> {
        let Some(item) = self.item(key) else {
            return Vec::new();
        };
        let right = format!("write each under a heading of its own: `[[{key}]]`");
        let DeValue::Array(values) = item.value() else {
            item.refuse_key(Fault::new(format!("`{key}` is no list of tables"), right));
            return Vec::new();
        };
        let numbered = values.iter().zip(1..);
        let tables = numbered.filter_map(|(value, number): (_, usize)| {
            let DeValue::Table(entries) = value.get_ref() else {
                let what = format!("{key} {number} is no table");
                item.refuse_key(Fault::new(what, &*right));
                return None;
            };
            let place = self.under(&format!("{key} {number}"));
            Some(Table::new(self.report, place, value.span(), entries))
        });
        tables.collect()
    }

    /// What stands under a key that holds a table of free names, in the order of the
    /// file. `Some(None)` where the key is missing.
    pub(super) fn entries_of(
        &self,
        key: &'static str,
        what: &str,
        right: &str,
    ) -> Value<Option<Vec<Entry<'a>>>> {
        let Some(item) = self.item(key) else {
            return Some(None);
        };
        let mut entries: Vec<_> = item.entries(right)?.iter().collect();
        entries.sort_by_key(|(name, _)| name.span().start);
        let read = entries.into_iter().map(|(name, value)| {
            let place = self.under(&format!("{what} `{}`", name.get_ref()));
            let table = match value.get_ref() {
                DeValue::Table(entries) => {
                    Some(Table::new(self.report, place, name.span(), entries))
                }
                _ => None,
            };
            (self.entry(name.get_ref(), name, value), table)
        });
        Some(Some(read.collect()))
    }

    /// The table under a key; its place is this one and the key.
    pub(super) fn table(&self, key: &'static str) -> Option<Table<'a>> {
        self.inner(key, self.under(key))
    }

    /// The table under a key, called `what` and the key: ``alarm `high` ``.
    pub(super) fn table_called(&self, key: &'static str, what: &str) -> Option<Table<'a>> {
        self.inner(key, self.under(&format!("{what} `{key}`")))
    }

    /// The table under a key that only groups others: its place is this one.
    pub(super) fn group(&self, key: &'static str) -> Option<Table<'a>> {
        self.inner(key, self.place.to_string())
    }

    /// Keys that would mean something here if another key said otherwise: each that is there is an
    /// error with the reason.
    pub(crate) fn foreign(&self, keys: &[&'static str], why: &str) {
        for key in keys {
            let Some((name, _)) = self.entries.get_key_value(*key) else {
                continue;
            };
            self.know(&[key]);
            let what = format!("`{key}` does not belong here: {why}");
            let fault = Fault::new(what, "remove it");
            self.report.error(&self.place, &name.span(), fault);
        }
    }

    /// What a key holds that should not be there: known only where it is, so that no message
    /// proposes it.
    pub(super) fn stray(&self, key: &'static str) -> Option<Item<'a>> {
        let (name, value) = self.entries.get_key_value(key)?;
        self.know(&[key]);
        Some(self.entry(key, name, value))
    }

    /// Takes keys as known without reading them: where something else is wrong that decides
    /// whether they belong here.
    pub(crate) fn know(&self, keys: &[&'static str]) {
        self.known.borrow_mut().extend(keys);
    }

    /// Reports every key that nobody asked for.
    pub(crate) fn end(&self) {
        let known = self.known.borrow();
        for (name, value) in self.entries {
            let key: &str = name.get_ref();
            if !known.contains(&key) {
                let is_table = matches!(value.get_ref(), DeValue::Table(_));
                let fault = self.unknown(key, is_table, &known);
                self.report.error(&self.place, &name.span(), fault);
            }
        }
    }

    /// The error that a key or table is missing here.
    pub(crate) fn missing(&self, key: &'static str, fault: Fault) {
        self.report.missing(&self.place, &self.at, key, fault);
    }

    /// An error of the table as a whole.
    pub(super) fn error(&self, fault: Fault) {
        self.report.error(&self.place, &self.at, fault);
    }

    /// A warning for the table as a whole.
    pub(super) fn warning(&self, fault: Fault) {
        self.report.warning(&self.place, &self.at, fault);
    }

    fn entry(
        &self,
        key: &'a str,
        name: &Spanned<DeString<'a>>,
        value: &'a Spanned<DeValue<'a>>,
    ) -> Item<'a> {
        Item::new(self.report, Rc::clone(&self.place), key, name.span(), value)
    }

    fn inner(&self, key: &'static str, place: String) -> Option<Table<'a>> {
        let item = self.item(key)?;
        let entries = item.entries("write it as a table of its own: `[…]`")?;
        Some(Table::new(self.report, place, item.key_span(), entries))
    }

    fn under(&self, what: &str) -> String {
        match &*self.place {
            "" => what.to_owned(),
            place => format!("{place}, {what}"),
        }
    }

    fn unknown(&self, key: &str, is_table: bool, known: &[&'static str]) -> Fault {
        let right = if let Some(near) = similar(key, known.iter().copied()) {
            format!("there is a key with a similar name: `{near}`")
        } else if is_table && !self.place.is_empty() {
            "a name with a point in it is written in quotes: `\"left.deep\"`".to_owned()
        } else {
            let mut keys: Vec<&str> = known.to_vec();
            keys.sort_unstable();
            keys.dedup();
            format!("the keys here are {}", super::words::list(&keys))
        };
        let kind = if is_table { "table" } else { "key" };
        Fault::new(format!("unknown {kind} `{key}`"), right)
    }
}
