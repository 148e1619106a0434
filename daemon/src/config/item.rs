//! One key's value, read as what it should be; a value of another type, or out of its range, is
//! reported with what would be right.

use super::name::name;
use super::problem::{Fault, Report};
use super::similar::similar;
use super::words;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::rc::Rc;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// What came of reading: `None` where a problem was reported instead.
pub(crate) type Value<T> = Option<T>;

/// One key and its value.
pub(crate) struct Item<'t> {
    report: &'t Report<'t>,
    place: Rc<str>,
    key: &'t str,
    key_span: Range<usize>,
    value: &'t Spanned<DeValue<'t>>,
    /// Whether it is one value of a list.
    in_list: bool,
}

impl<'t> Item<'t> {
    /// A key's value at a place.
    pub(super) fn new(
        report: &'t Report<'t>,
        place: Rc<str>,
        key: &'t str,
        key_span: Range<usize>,
        value: &'t Spanned<DeValue<'t>>,
    ) -> Self {
        Self {
            report,
            place,
            key,
            key_span,
            value,
            in_list: false,
        }
    }

    /// Where the key stands.
    pub(super) fn key_span(&self) -> Range<usize> {
        self.key_span.clone()
    }

    /// The key.
    pub(super) fn key(&self) -> &'t str {
        self.key
    }

    /// The value.
    pub(crate) fn value(&self) -> &'t DeValue<'t> {
        self.value.get_ref()
    }

    /// The text of a string.
    pub(crate) fn text(&self) -> Value<&'t str> {
        match self.value.get_ref() {
            DeValue::String(text) => Some(text),
            DeValue::Integer(number) => self.unquoted(number.as_str()),
            DeValue::Float(number) => self.unquoted(number.as_str()),
            _ => self.mistyped("a text in quotes", &format!("{} = \"…\"", self.key)),
        }
    }

    /// The text, where the value is one; no problem where it is not.
    pub(crate) fn text_if_text(&self) -> Option<&'t str> {
        match self.value.get_ref() {
            DeValue::String(text) => Some(text),
            _ => None,
        }
    }

    /// A text that is not empty.
    pub(crate) fn filled(&self) -> Value<&'t str> {
        let text = self.text()?;
        if text.trim().is_empty() {
            return self.refuse(Fault::new(
                format!("`{}` is empty", self.key),
                "write something, or remove the line",
            ));
        }
        Some(text)
    }

    /// A name: letters, digits, `_`, `.` and `-`.
    pub(super) fn name(&self) -> Value<String> {
        let text = self.text()?;
        self.accept(name(self.key, text))
    }

    /// The key itself as the name of what its table describes.
    pub(super) fn key_as_name(&self, what: &str) -> Value<String> {
        name(what, self.key)
            .map_err(|fault| self.refuse_key(fault))
            .ok()
    }

    /// A path; a relative one is relative to `base`.
    pub(super) fn path(&self, base: &Path) -> Value<PathBuf> {
        let text = self.filled()?;
        if text.contains('\0') {
            return self.refuse(Fault::new("a path holds no NUL", "remove it"));
        }
        Some(base.join(text))
    }

    /// `true` or `false`.
    pub(super) fn flag(&self) -> Value<bool> {
        match self.value.get_ref() {
            DeValue::Boolean(flag) => Some(*flag),
            _ => {
                let own = self.text_if_text().filter(|text| *text == "false");
                let example = format!("{} = {}", self.key, own.unwrap_or("true"));
                self.mistyped("`true` or `false`", &example)
            }
        }
    }

    /// One of several words.
    pub(crate) fn choice<T: Clone>(&self, words: &[(&str, T)]) -> Value<T> {
        self.choice_before(words, "")
    }

    /// One of several words that decides what else can be read: `later` tells, after a fault, what
    /// was not looked at for it.
    pub(crate) fn choice_before<T: Clone>(&self, words: &[(&str, T)], later: &str) -> Value<T> {
        let names: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
        let text = self.word(&names, later)?;
        match words.iter().find(|(word, _)| *word == text) {
            Some((_, meaning)) => Some(meaning.clone()),
            None => self.refuse(self.not_among(text, &names, one_of(&names), later)),
        }
    }

    /// A text that should be one of `names`.
    pub(super) fn word(&self, names: &[&str], later: &str) -> Value<&'t str> {
        let text = self.text_if_text();
        text.or_else(|| self.mistyped_so("a word in quotes", one_of(names) + later))
    }

    /// Reports a word that is none of `names`.
    pub(super) fn unknown_word<T>(&self, word: &str, names: &[&str]) -> Value<T> {
        self.refuse(self.not_among(word, names, one_of(names), ""))
    }

    /// The fault of a word that is none of `names`: the one that is like it, else `all` of them.
    pub(super) fn not_among(&self, word: &str, names: &[&str], all: String, later: &str) -> Fault {
        let right = match similar(word, names.iter().copied()) {
            Some(near) => format!("there is a similar one: `{near}`"),
            None => all,
        };
        Fault::new(
            format!("unknown `{}`: `{word}`", self.key),
            format!("{right}{later}"),
        )
    }

    /// A list of texts.
    pub(super) fn texts(&self) -> Value<Vec<String>> {
        let example = format!("{} = [\"a0\", \"a1\"]", self.key);
        self.each("a list of texts", &example, Self::text)
            .map(|texts| texts.into_iter().map(str::to_owned).collect())
    }

    /// The entries, where the value is a table.
    pub(super) fn entries(&self, right: &str) -> Value<&'t DeTable<'t>> {
        if let DeValue::Table(entries) = self.value.get_ref() {
            return Some(entries);
        }
        self.report.error(
            &self.place,
            &self.key_span,
            Fault::new(
                format!(
                    "`{}` must be a table, but is {}",
                    self.key,
                    self.type_words()
                ),
                right.replace("KEY", self.key),
            ),
        );
        None
    }

    /// Reports a fault of the value.
    pub(crate) fn refuse<T>(&self, fault: Fault) -> Value<T> {
        self.report.error(&self.place, &self.value.span(), fault);
        None
    }

    /// Reports a fault of the key.
    pub(super) fn refuse_key(&self, fault: Fault) {
        self.report.error(&self.place, &self.key_span, fault);
    }

    /// Reports a fault of the key without ever showing its value.
    pub(super) fn refuse_secret(&self, fault: Fault) {
        self.report.secret_error(&self.place, &self.key_span, fault);
    }

    /// Reports what will work badly.
    pub(super) fn warn(&self, fault: Fault) {
        self.report.warning(&self.place, &self.value.span(), fault);
    }

    /// The value of a result, or `None` with its fault reported.
    pub(crate) fn accept<T>(&self, result: Result<T, Fault>) -> Value<T> {
        result.map_or_else(|fault| self.refuse(fault), Some)
    }

    /// Every element of a list, read one by one.
    pub(super) fn each<T>(
        &self,
        wanted: &str,
        example: &str,
        read: impl Fn(&Self) -> Option<T>,
    ) -> Value<Vec<T>> {
        let DeValue::Array(values) = self.value.get_ref() else {
            return self.mistyped(wanted, example);
        };
        let read: Vec<Option<T>> = values
            .iter()
            .map(|value| {
                let (span, place) = (self.key_span.clone(), Rc::clone(&self.place));
                read(&Self {
                    in_list: true,
                    ..Self::new(self.report, place, self.key, span, value)
                })
            })
            .collect();
        read.into_iter().collect()
    }

    /// Reports a value of another type; `example` is how it could stand there.
    pub(crate) fn mistyped<T>(&self, wanted: &str, example: &str) -> Value<T> {
        let whole = format!("{} = ", self.key);
        let shown = match example.strip_prefix(&whole) {
            Some(value) if self.in_list => value,
            _ => example,
        };
        self.mistyped_so(wanted, format!("write it as `{shown}`"))
    }

    /// The same, where what is right is not an example.
    pub(super) fn mistyped_so<T>(&self, wanted: &str, right: String) -> Value<T> {
        let (key, is) = (self.key, self.type_words());
        self.refuse(Fault::new(
            format!("`{key}` must be {wanted}, but is {is}"),
            right,
        ))
    }

    /// Reports a number where a text is wanted.
    fn unquoted<T>(&self, number: &str) -> Value<T> {
        self.mistyped("a text in quotes", &format!("{} = \"{number}\"", self.key))
    }

    /// Type of the value in words.
    fn type_words(&self) -> &'static str {
        match self.value.get_ref() {
            DeValue::String(_) => "a text",
            DeValue::Integer(_) => "a whole number",
            DeValue::Float(_) => "a number",
            DeValue::Boolean(_) => "`true` or `false`",
            DeValue::Datetime(_) => "a date or time",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        }
    }
}

fn one_of(names: &[&str]) -> String {
    format!("it is one of {}", words::list(names))
}
