//! Keys that hold numbers: plain ones, quantities, durations and sizes, each checked for its range.

use super::hint;
use super::item::{Item, Value};
use super::problem::Fault;
use super::quantity::{self, Kind};
use super::unit::Unit;
use super::words;
use std::fmt::Display;
use std::ops::RangeInclusive;
use std::time::Duration;
use toml::de::DeValue;

impl Item<'_> {
    /// A whole number in a range.
    pub(super) fn whole<T>(&self, range: RangeInclusive<T>) -> Value<T>
    where
        T: TryFrom<i64> + PartialOrd + Display + Copy,
    {
        let Some(number) = self.integer() else {
            let fits = |number: i64| T::try_from(number).is_ok_and(|n| range.contains(&n));
            let own = self.own_number(|number| {
                let whole = number.to_string().parse::<i64>();
                whole.is_ok_and(fits)
            });
            let right = hint::between("a whole number", range.start(), range.end());
            return self.not_a_number("a whole number", own, right);
        };
        let fits = T::try_from(number).ok().filter(|n| range.contains(n));
        fits.or_else(|| self.out_of_range(&number.to_string(), range.start(), range.end()))
    }

    /// A plain number in a range.
    pub(crate) fn number(&self, range: RangeInclusive<f64>) -> Value<f64> {
        let Some(number) = self.float() else {
            let own = self.own_number(|number| range.contains(&number));
            let right = hint::between("a number", range.start(), range.end());
            return self.not_a_number("a number", own, right);
        };
        self.within(number, &range, "")
    }

    /// A number above zero.
    pub(super) fn positive(&self) -> Value<f64> {
        self.positive_up_to(f64::MAX)
    }

    /// A number above zero, at most `most`.
    pub(super) fn positive_up_to(&self, most: f64) -> Value<f64> {
        let Some(number) = self.float() else {
            let own = self.own_number(|number| number > 0.0 && number <= most);
            return self.not_a_number("a number", own, "write a number above 0".to_owned());
        };
        let number = self.above_zero(number)?;
        self.within(number, &(0.0..=most), "")
    }

    /// A quantity in `unit`, from a bare number or a text with a unit.
    pub(crate) fn quantity(&self, unit: &Unit, kind: Kind) -> Value<f64> {
        self.quantity_hinted(unit, kind, &hint::ANY)
    }

    /// A quantity in a range; `shown` is the unit as the range is told with it.
    pub(super) fn quantity_within(
        &self,
        unit: &Unit,
        range: &RangeInclusive<f64>,
        shown: &str,
    ) -> Value<f64> {
        let number = self.quantity_hinted(unit, Kind::Value, range)?;
        self.within(number, range, shown)
    }

    /// A quantity in `unit` above zero.
    pub(super) fn positive_quantity(&self, unit: &Unit) -> Value<f64> {
        let number = self.quantity_hinted(unit, Kind::Value, &hint::POSITIVE)?;
        self.above_zero(number)
    }

    /// A duration in a range; a bare number is seconds.
    pub(super) fn duration(&self, range: RangeInclusive<Duration>) -> Value<Duration> {
        let duration = self.any_duration(&range)?;
        if range.contains(&duration) {
            return Some(duration);
        }
        let [got, least, most] = [duration, *range.start(), *range.end()].map(words::duration);
        self.out_of_range(&got, &least, &most)
    }

    /// A size in bytes in a range; a bare number is bytes.
    pub(super) fn size(&self, range: RangeInclusive<u64>) -> Value<u64> {
        let bytes = match self.value() {
            DeValue::String(text) => self.accept(quantity::size(text))?,
            _ => match self.integer().map(u64::try_from) {
                Some(Ok(bytes)) => bytes,
                _ => {
                    let example = format!("{} = \"10 MiB\"", self.key());
                    return self.mistyped("a size", &example);
                }
            },
        };
        if range.contains(&bytes) {
            return Some(bytes);
        }
        self.out_of_range(&format!("{bytes} B"), range.start(), range.end())
    }

    /// A list of quantities in `unit`.
    pub(super) fn quantities(&self, unit: &Unit) -> Value<Vec<f64>> {
        let example = format!("{} = [1.5, 2.5]", self.key());
        self.each("a list of numbers", &example, |item| {
            item.quantity(unit, Kind::Value)
        })
    }

    /// A quantity whose range is judged elsewhere; what is proposed for it lies in `range`.
    fn quantity_hinted(&self, unit: &Unit, kind: Kind, range: &RangeInclusive<f64>) -> Value<f64> {
        if let Some(number) = self.float() {
            return self.finite(number);
        }
        match self.value() {
            DeValue::String(text) => self.accept(quantity::quantity(text, unit, kind, range)),
            _ => {
                let example = format!("{} = {}", self.key(), hint::written(unit, range));
                self.mistyped("a number, or a text with a unit", &example)
            }
        }
    }

    /// The number that a value of another type stands for, where `fits` takes it.
    fn own_number(&self, fits: impl Fn(f64) -> bool) -> Option<String> {
        match self.value() {
            DeValue::String(text) => hint::number(text, fits),
            DeValue::Float(number) => hint::number(number.as_str(), fits),
            _ => None,
        }
    }

    /// Reports a value that is no number; `own` is the one that was meant.
    fn not_a_number<T>(&self, wanted: &str, own: Option<String>, right: String) -> Value<T> {
        match own {
            Some(own) => self.mistyped(wanted, &format!("{} = {own}", self.key())),
            None => self.mistyped_so(wanted, right),
        }
    }

    fn any_duration(&self, range: &RangeInclusive<Duration>) -> Value<Duration> {
        let (read, text) = match (self.float(), self.value()) {
            (Some(seconds), _) => (quantity::seconds_to_duration(seconds), ""),
            (None, DeValue::String(text)) => (quantity::duration(text), &**text),
            (None, _) => {
                let example = format!("{} = {}", self.key(), hint::some_duration(range));
                return self.mistyped("a duration", &example);
            }
        };
        self.accept(read.map_err(|fault| {
            let right = hint::duration(text, range);
            Fault { right, ..fault }
        }))
    }

    fn integer(&self) -> Option<i64> {
        let number = self.value().as_integer()?;
        i64::from_str_radix(number.as_str(), number.radix()).ok()
    }

    fn float(&self) -> Option<f64> {
        match self.value() {
            DeValue::Float(number) => number.as_str().parse().ok(),
            #[expect(
                clippy::cast_precision_loss,
                reason = "a whole number beyond 2^53 is no quantity that is measured"
            )]
            DeValue::Integer(_) => self.integer().map(|number| number as f64),
            _ => None,
        }
    }

    fn finite(&self, number: f64) -> Value<f64> {
        if number.is_finite() {
            return Some(number);
        }
        self.refuse(Fault::new(
            format!("`{}` is no finite number", self.key()),
            "write a plain number",
        ))
    }

    fn above_zero(&self, number: f64) -> Value<f64> {
        if self.finite(number)? > 0.0 {
            return Some(number);
        }
        self.refuse(Fault::new(
            format!("`{}` is {number}", self.key()),
            "it must be above 0",
        ))
    }

    /// The number, where it is in the range.
    pub(super) fn within(
        &self,
        number: f64,
        range: &RangeInclusive<f64>,
        unit: &str,
    ) -> Value<f64> {
        let number = self.finite(number)?;
        if range.contains(&number) {
            return Some(number);
        }
        let [got, least, most] =
            [number, *range.start(), *range.end()].map(|n| format!("{n} {unit}"));
        self.out_of_range(got.trim_end(), &least.trim_end(), &most.trim_end())
    }

    fn out_of_range<T>(&self, got: &str, least: &dyn Display, most: &dyn Display) -> Value<T> {
        self.refuse(Fault::new(
            format!("`{}` is {got}", self.key()),
            format!("it must be between {least} and {most}"),
        ))
    }
}
