//! All that is shown of one calibration: its points, what verified it, and how sure a reading by it is
//! over the range.

use super::Job;
use crate::calibrate::certificate::{self, Certificate, Row};
use crate::calibrate::coverage::interval_95;
use crate::calibrate::history::{Made, Verified};
use crate::calibrate::{Budget, Point, Stated, Verification};
use crate::cli::{Failure, when};
use crate::config::unit::{Dimension, Unit};
use crate::measure::chain::Transfer;
use jiff::tz::TimeZone;

/// Rows over a range, about; with both ends and one row beyond each.
const ROWS: f64 = 12.0;
/// A range whose ends are further apart than this is gone through by ratio.
const BY_RATIO: f64 = 20.0;

/// A calibration of a job, and what is computed of it.
#[derive(Debug)]
pub struct Sheet<'a> {
    job: &'a Job,
    /// The calibration.
    pub made: &'a Made,
    /// The points that were fitted or verify, with their numbers.
    pub points: Vec<(u64, &'a Point)>,
    /// Outcomes of the points that were kept out.
    pub verifications: Vec<Verification>,
    /// Over the range, from its lowest value to its highest.
    pub rows: Vec<Row>,
    /// At the ends of the calibrated range and in its middle.
    pub budgets: Vec<Budget>,
    printed: Vec<certificate::Budget>,
    zone: TimeZone,
}

impl<'a> Sheet<'a> {
    /// Of a calibration of a job.
    ///
    /// # Errors
    /// Where this version cannot compute with it.
    pub fn of(job: &'a Job, made: &'a Made) -> Result<Self, Failure> {
        let number = made.number;
        let unusable = |why: &str| {
            let probe = &job.probe().name;
            Failure::new(format!("calibration {number} of probe `{probe}` {why}"))
        };
        let calibration = &made.calibration;
        let stated = Stated::calibrated(calibration, &job.probe().model, &job.here);
        let stated = stated.map_err(|error| unusable(&format!("cannot be used: {error}")))?;
        let range = Range {
            stated: stated.heated(job.probe().trust.heating),
            job,
            made,
        };
        let verifications = made.verifications.iter();
        let budgets = range.budgets();
        let printed = budgets.iter().map(|budget| certificate::Budget {
            value: budget.value,
            shares: budget.shares.clone(),
        });
        Ok(Self {
            points: points(job, made),
            verifications: verifications
                .map(|verified: &Verified| verified.verification.clone())
                .collect(),
            rows: range.rows(),
            printed: printed.collect(),
            budgets,
            zone: when::zone(),
            job,
            made,
        })
    }

    /// The certificate, printed now.
    #[must_use]
    pub fn certificate(&self) -> Certificate<'_> {
        Certificate {
            site: &self.job.config().site,
            probe: &self.job.probe().name,
            number: self.made.number as usize,
            calibration: &self.made.calibration,
            driver: self.job.probe().driver,
            here: &self.job.here,
            points: &self.points,
            verifications: &self.verifications,
            range: &self.rows,
            budgets: &self.printed,
            printed_ms: when::now().as_millisecond(),
            zone: &self.zone,
        }
    }
}

fn points<'a>(job: &'a Job, made: &'a Made) -> Vec<(u64, &'a Point)> {
    let verified = made.verifications.iter().map(|one| one.verification.point);
    let mut numbers: Vec<u64> = made
        .calibration
        .points
        .iter()
        .copied()
        .chain(verified)
        .collect();
    numbers.sort_unstable();
    numbers.dedup();
    let taken = numbers
        .iter()
        .filter_map(|number| job.history().point(*number));
    taken.map(|taken| (taken.number, &taken.point)).collect()
}

/// The calibrated curve with all that is known of its uncertainty.
struct Range<'a> {
    job: &'a Job,
    made: &'a Made,
    stated: Stated,
}

impl Range<'_> {
    /// Round values over the range and beyond its ends; extrapolated ones are marked.
    fn rows(&self) -> Vec<Row> {
        let Some((low, high)) = self.values() else {
            return Vec::new();
        };
        let values = places(low, high, &self.made.calibration.unit);
        values
            .into_iter()
            .filter_map(|value| self.row(value))
            .collect()
    }

    fn row(&self, value: f64) -> Option<Row> {
        let electrical = self.stated.curve().invert(value)?;
        let budget = self.budget(electrical)?;
        let converter = self.job.converter(self.made, electrical);
        let half = interval_95(&budget.shares);
        Some(Row {
            electrical,
            value: budget.value,
            expanded: budget.expanded(),
            interval: (budget.value - half, budget.value + half),
            extrapolated: self.stated.extrapolated(electrical, converter.total()),
        })
    }

    fn budgets(&self) -> Vec<Budget> {
        let Some((low, high)) = self.values() else {
            return Vec::new();
        };
        let mut values = vec![low, f64::midpoint(low, high), high];
        values.dedup_by(|a, b| (*a - *b).abs() < 1e-9 * (1.0 + b.abs()));
        let inputs = values
            .into_iter()
            .filter_map(|value| self.stated.curve().invert(value));
        inputs.filter_map(|input| self.budget(input)).collect()
    }

    fn budget(&self, electrical: f64) -> Option<Budget> {
        let converter = self.job.converter(self.made, electrical);
        let unit = &self.made.calibration.unit;
        self.stated.budget(electrical, converter, unit).ok()
    }

    /// The values at the ends of the calibrated range, the lower one first.
    fn values(&self) -> Option<(f64, f64)> {
        let (low, high) = self.made.calibration.range;
        let end = |input| self.stated.curve().evaluate(input).ok();
        let (one, other) = (end(low)?, end(high)?);
        Some((one.min(other), one.max(other)))
    }
}

/// Both ends, round values between them, and one or two beyond each.
fn places(low: f64, high: f64, unit: &str) -> Vec<f64> {
    let is_temperature = Unit::of(unit).dimension() == Some(Dimension::Temperature);
    let around = |value: f64| match is_temperature {
        true => (value - 20.0, value + 20.0),
        false => (value * 0.5, value * 2.0),
    };
    // One point has no range: what lies about it is extrapolated, and worth seeing.
    let (from, to) = if high - low > 1e-6 * (1.0 + high.abs()) {
        (low, high)
    } else {
        around(low)
    };
    let by_ratio = !is_temperature && from > 0.0 && to / from > BY_RATIO;
    let mut values = match by_ratio {
        true => self::by_ratio(from, to),
        false => evenly(from, to),
    };
    let is_end = |value: f64| {
        let near = match by_ratio {
            true => 0.1 * value,
            false => (to - from) / (20.0 * ROWS),
        };
        (value - low).abs() < near || (value - high).abs() < near
    };
    values.retain(|value| !is_end(*value));
    values.push(low);
    if high > low {
        values.push(high);
    }
    values.sort_unstable_by(f64::total_cmp);
    values
}

/// Multiples of 1, 2 or 5 times a power of ten.
fn evenly(from: f64, to: f64) -> Vec<f64> {
    let rough = (to - from) / ROWS;
    let decade = 10_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].map(|one| one * decade);
    let step = step
        .into_iter()
        .find(|step| *step >= rough)
        .unwrap_or(rough);
    let (first, last) = ((from / step).floor() - 1.0, (to / step).ceil() + 1.0);
    // Never more than about twelve: the step was chosen so.
    let count = (last - first).clamp(0.0, 4.0 * ROWS) as u32;
    (0..=count).map(|n| (first + f64::from(n)) * step).collect()
}

/// 1, 2, 5, 10 …
fn by_ratio(from: f64, to: f64) -> Vec<f64> {
    let (first, last) = (from.log10().floor() as i32 - 1, to.log10().ceil() as i32);
    let decades = (first..=last).map(|power| 10_f64.powi(power));
    let all = decades.flat_map(|decade| [1.0, 2.0, 5.0].map(|one| one * decade));
    all.filter(|value| (from * 0.5..=to * 2.0).contains(value))
        .collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn round_values_enclose_the_range() {
        let shown = places(0.02, 49.9, "Cel");
        assert_eq!((shown[0], shown[1], shown[2]), (-5.0, 0.02, 5.0));
        assert_eq!(shown[shown.len() - 3..], [45.0, 49.9, 55.0]);
        let light = places(10.0, 1000.0, "lx");
        assert!(
            [5.0, 10.0, 100.0, 1000.0, 2000.0]
                .iter()
                .all(|lux| light.contains(lux))
        );
    }

    #[test]
    fn a_single_point_is_shown_with_what_lies_about_it() {
        let shown = places(0.0, 0.0, "Cel");
        assert!(shown.contains(&0.0) && shown.contains(&-20.0) && shown.contains(&20.0));
    }

    proptest! {
        #[test]
        fn a_table_fits_a_page(low in -200.0..500.0_f64, span in 0.0..1e6_f64, lux in any::<bool>()) {
            let unit = if lux { "lx" } else { "Cel" };
            let shown = places(low, low + span, unit);
            prop_assert!((1..=40).contains(&shown.len()), "{shown:?}");
            prop_assert!(shown.is_sorted());
        }
    }
}
