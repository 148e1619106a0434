//! A calibration's certificate: what was done, what came out, and how sure it is, as text, JSON and a
//! page to print.
//!
//! Pure: everything that is printed is passed in. It says of itself that it is no accredited
//! certificate. `contents` is what it says, `text` and `html` only how that looks; `json` has the same
//! numbers unrounded.

mod charts;
mod contents;
mod document;
mod figures;
mod fit;
mod html;
mod json;
mod points;
mod range;
mod summary;
#[cfg(test)]
mod tests;
mod text;

use super::calibration::{Calibration, Channel, Share, Verification};
use super::point::Point;
use crate::driver::Driver;
use jiff::Timestamp;
use jiff::tz::TimeZone;

/// All that a certificate is made of.
#[derive(Clone, Copy, Debug)]
pub struct Certificate<'a> {
    /// The place.
    pub site: &'a str,
    /// The probe's label.
    pub probe: &'a str,
    /// The calibration's number for people, from 1.
    pub number: usize,
    /// The calibration.
    pub calibration: &'a Calibration,
    /// The probe's driver.
    pub driver: Driver,
    /// The channel on which the probe is read: what `range` and `budgets` hold for.
    pub here: &'a Channel,
    /// Points with their numbers (log steps): those that were fitted, and those that verify.
    pub points: &'a [(u64, &'a Point)],
    /// Outcomes of points that were kept out, or taken later.
    pub verifications: &'a [Verification],
    /// The calibrated curve with its uncertainty, from one end of the range to the other.
    pub range: &'a [Row],
    /// What the uncertainty is made of, at some values.
    pub budgets: &'a [Budget],
    /// When it was printed, milliseconds since 1970.
    pub printed_ms: i64,
    /// In which the dates are given.
    pub zone: &'a TimeZone,
}

/// One line of the table of uncertainty over the range.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// The electrical quantity, as the probe's input.
    pub electrical: f64,
    /// What the calibrated curve makes of it, in the unit of the value.
    pub value: f64,
    /// Expanded uncertainty (k = 2), same unit.
    pub expanded: f64,
    /// The 95 % interval (JCGM 101:2008), same unit; shortest or symmetric, as it was computed.
    pub interval: (f64, f64),
    /// Whether it is outside the calibrated range.
    pub extrapolated: bool,
}

/// What the uncertainty is made of at one value.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// In the unit of the value.
    pub value: f64,
    /// Its causes.
    pub shares: Vec<Share>,
}

impl Certificate<'_> {
    /// As text, 80 columns wide.
    #[must_use]
    pub fn text(&self) -> String {
        text::render(&self.title(), &contents::sections(self))
    }

    /// What it has come to, in short, with its drawings; 80 columns wide.
    #[must_use]
    pub fn summary(&self) -> String {
        summary::render(self)
    }

    /// As one HTML page that prints well: no script, nothing from outside.
    #[must_use]
    pub fn html(&self) -> String {
        html::render(&self.title(), &contents::sections(self))
    }

    /// As JSON with all digits.
    #[must_use]
    pub fn json(&self) -> String {
        json::render(self)
    }

    fn title(&self) -> String {
        format!(
            "Calibration {} of probe {} at {}",
            self.number, self.probe, self.site
        )
    }

    /// A moment as people read it: `2026-11-24 20:00:00 +01:00`.
    fn moment(&self, ms: i64) -> String {
        self.shown(ms, "%Y-%m-%d %H:%M:%S %:z")
    }

    /// A day: `2026-11-24`.
    fn day(&self, ms: i64) -> String {
        self.shown(ms, "%Y-%m-%d")
    }

    fn shown(&self, ms: i64, format: &str) -> String {
        match Timestamp::from_millisecond(ms) {
            Ok(moment) => moment
                .to_zoned_datetime(self.zone.clone())
                .strftime(format)
                .to_string(),
            Err(_) => format!("{ms} ms after 1970"),
        }
    }

    /// How people call a point: its rank among those here; its log step where it is not among them.
    fn point_name(&self, step: u64) -> String {
        let rank = self.points.iter().position(|(number, _)| *number == step);
        rank.map_or_else(|| format!("step {step}"), |rank| (rank + 1).to_string())
    }

    /// The point of a log step.
    fn point(&self, step: u64) -> Option<&Point> {
        let found = self.points.iter().find(|(number, _)| *number == step);
        found.map(|(_, point)| *point)
    }

    /// UCUM code of the electrical quantity.
    fn input_unit(&self) -> &'static str {
        match self.calibration.input.as_str() {
            "ohm" => "Ohm",
            "volt" => "V",
            _ => "1",
        }
    }
}
