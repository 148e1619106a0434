//! The file of points that `nightbench calibrate PROBE --points FILE` reads: references and what the
//! probe read, as TOML, with values and units as the configuration has them.
//!
//! ```toml
//! [[point]]
//! reference = "ice"
//! electrical = "32554 Ohm"
//! electrical_uncertainty = "10 Ohm"
//!
//! [[point]]
//! reference = "boiling"
//! pressure = "99.2 kPa"
//! from = "2026-11-24T20:00:00Z"
//! to = "2026-11-24T20:02:00Z"
//! role = "check"
//! ```
//!
//! An `electrical` that is given was measured elsewhere, by an ohmmeter say, so the resistor of the
//! probe's channel is in no such point and its uncertainty counts in full later. Where it was copied
//! from the probe's own readings, `measured_on = "channel"` says so.
//!
//! Every uncertainty in it is an expanded one (`coverage`, 2 where it is not given), every tolerance
//! a limit of error. Pure, as the configuration's reader: a span of logged readings stays a span, and
//! is looked up by somebody else. Whether points make a calibration is the fit's business.

mod probe;
mod reference;
mod stated;
#[cfg(test)]
mod tests;

use super::point::{Captured, Compared, Point, Role};
use crate::config::unit::Unit;
use crate::config::{Fault, Problem, Table, document};
use crate::driver::Electrical;

/// The probe that a file of points is for.
#[derive(Clone, Debug, PartialEq)]
pub struct Subject {
    /// Unit of its value.
    pub unit: Unit,
    /// What its driver is given.
    pub input: Electrical,
}

/// A point of the file.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// What it is for: `role`, by default the fit.
    pub role: Role,
    /// The truth.
    pub compared: Compared,
    /// What the probe read.
    pub read: ProbeRead,
}

/// What the probe read at a point of the file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ProbeRead {
    /// Given as a number.
    Given {
        /// The electrical quantity, as the probe's input.
        electrical: f64,
        /// Its standard uncertainty.
        uncertainty: f64,
        /// Whether the probe's own channel gave it (`measured_on = "channel"`), not something else.
        on_channel: bool,
    },
    /// The readings that the log holds of this probe, both ends included.
    Logged {
        /// Milliseconds since 1970.
        from_ms: i64,
        /// Later than `from_ms`.
        until_ms: i64,
    },
}

/// Reads a file of points. The points are there exactly where no problem is an error; problems come in
/// the order of the text.
#[must_use]
pub fn read(text: &str, subject: &Subject) -> (Option<Vec<Entry>>, Vec<Problem>) {
    each(text, |table| entry(table, subject))
}

/// Reads a file of points as they are kept: `capture` says what the probe read at each, or why that is
/// none, as a problem's two halves with `; ` between them. Otherwise as [`read`].
#[must_use]
pub fn points(
    text: &str,
    subject: &Subject,
    capture: impl Fn(&Entry) -> Result<Captured, String>,
) -> (Option<Vec<Point>>, Vec<Problem>) {
    let capture = |table: &Table<'_>| {
        let entry = entry(table, subject)?;
        let captured = capture(&entry).map_err(|why| {
            let (what, right) = why.split_once("; ").unwrap_or((&why, ""));
            Fault::new(what, right)
        });
        let item = table.item("from").or_else(|| table.item("electrical"))?;
        Some(Point {
            role: entry.role,
            captured: item.accept(captured)?,
            compared: entry.compared,
        })
    };
    each(text, capture)
}

fn each<T>(text: &str, read: impl Fn(&Table<'_>) -> Option<T>) -> (Option<Vec<T>>, Vec<Problem>) {
    document(text, |root| {
        let tables = root.listed("point");
        if root.item("point").is_none() {
            let what = "there is no `[[point]]`, so there is nothing to calibrate by";
            root.missing("point", Fault::new(what, "add one for each reference"));
        }
        let all: Vec<Option<T>> = tables.iter().map(read).collect();
        root.end();
        all.into_iter().collect()
    })
}

const ROLES: &[(&str, Role)] = &[("fit", Role::Fit), ("check", Role::Check)];

fn entry(table: &Table<'_>, subject: &Subject) -> Option<Entry> {
    let compared = reference::read(table, &subject.unit);
    let read = probe::read(table, subject.input);
    let role = table.or("role", Role::Fit, |item| item.choice(ROLES));
    table.end();
    Some(Entry {
        role: role?,
        compared: compared?,
        read: read?,
    })
}
