//! Means over intervals, aligned to whole multiples of their length since 1970 in UTC.
//!
//! The mean's uncertainty is the mean of the readings' own: what they share (calibration, resistor)
//! does not get smaller by averaging, and here nobody knows how much that is.

use super::{Estimate, Interval, Outcome, Quality, Reading, Row};

/// Collects readings into intervals.
#[derive(Debug)]
pub struct Means {
    every_ms: i64,
    open: Option<Open>,
}

#[derive(Debug)]
struct Open {
    start_ms: i64,
    last: Reading,
    readings: u64,
    good: u64,
    value_sum: f64,
    uncertainty_sum: f64,
    lowest: f64,
    highest: f64,
    fault: Option<Quality>,
    /// Whether one of them was outside the calibrated range: then the mean is, too.
    extrapolated: bool,
    /// Whether its readings were recomputed: all of a series are, or none.
    recomputed: bool,
}

impl Means {
    /// Intervals of this length.
    pub fn new(every_ms: i64) -> Self {
        Self {
            every_ms,
            open: None,
        }
    }

    /// Takes a reading; gives the interval before it, where it is the first of another. Another
    /// series (unit, wiring) is another interval too.
    pub fn take(&mut self, reading: Reading, recomputed: bool) -> Option<Row> {
        let start_ms = reading.at.wall_ms.div_euclid(self.every_ms) * self.every_ms;
        let same = |o: &Open| o.start_ms == start_ms && o.last.series == reading.series;
        let complete = if self.open.as_ref().is_some_and(same) {
            None
        } else {
            self.open.take().map(Open::row)
        };
        let open = self
            .open
            .get_or_insert_with(|| Open::new(start_ms, reading.clone()));
        open.recomputed = recomputed;
        open.add(reading);
        complete
    }

    /// The last interval.
    pub fn finish(self) -> Option<Row> {
        self.open.map(Open::row)
    }
}

impl Open {
    fn new(start_ms: i64, last: Reading) -> Self {
        Self {
            start_ms,
            last,
            readings: 0,
            good: 0,
            value_sum: 0.0,
            uncertainty_sum: 0.0,
            lowest: f64::INFINITY,
            highest: f64::NEG_INFINITY,
            fault: None,
            extrapolated: false,
            recomputed: false,
        }
    }

    fn add(&mut self, reading: Reading) {
        self.readings += 1;
        match reading.outcome {
            Outcome::Fault(fault) => self.fault = Some(fault),
            Outcome::Value(estimate) => self.add_value(estimate),
            Outcome::Extrapolated(estimate) => {
                self.extrapolated = true;
                self.add_value(estimate);
            }
        }
        self.last = reading;
    }

    fn add_value(&mut self, estimate: Estimate) {
        self.good += 1;
        self.value_sum += estimate.value();
        self.uncertainty_sum += estimate.uncertainty();
        self.lowest = self.lowest.min(estimate.value());
        self.highest = self.highest.max(estimate.value());
    }

    /// The mean of the good ones; the last fault where half of them or more had one, as a probe's
    /// own means do.
    fn row(self) -> Row {
        let n = self.good as f64;
        let mean = Estimate::new(self.value_sum / n, self.uncertainty_sum / n)
            .filter(|_| 2 * self.good > self.readings);
        let mut reading = self.last;
        reading.at.wall_ms = self.start_ms;
        reading.outcome = match (mean, self.fault) {
            (Some(mean), _) if self.extrapolated => Outcome::Extrapolated(mean),
            (Some(mean), _) => Outcome::Value(mean),
            (None, Some(fault)) => Outcome::Fault(fault),
            (None, None) => Outcome::Fault(Quality::DriverFailed),
        };
        reading.raw = None;
        reading.electrical = None;
        reading.spread = None;
        let known = |value: f64| value.is_finite().then_some(value);
        Row {
            reading,
            recomputed: self.recomputed,
            interval: Some(Interval {
                lowest: known(self.lowest),
                highest: known(self.highest),
                readings: self.readings,
                good: self.good,
            }),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::log::testing::reading;

    fn at(ms: i64, outcome: Outcome) -> Reading {
        let mut reading = reading(1, 1);
        reading.at.wall_ms = ms;
        reading.outcome = outcome;
        reading
    }

    fn take(means: &mut Means, reading: Reading) -> Option<Row> {
        means.take(reading, false)
    }

    fn value(value: f64) -> Outcome {
        Outcome::Value(Estimate::new(value, 0.1).unwrap())
    }

    #[test]
    fn an_interval_is_the_mean_of_what_was_good() {
        let mut means = Means::new(10_000);
        assert_eq!(take(&mut means, at(10_000, value(20.0))), None);
        assert_eq!(
            take(&mut means, at(12_000, Outcome::Fault(Quality::OpenCircuit))),
            None
        );
        assert_eq!(take(&mut means, at(19_999, value(22.0))), None);
        let silent = at(20_000, Outcome::Fault(Quality::BoardSilent));
        let row = take(&mut means, silent).unwrap();
        assert_eq!(row.reading.outcome, value(21.0));
        assert_eq!(row.reading.at.wall_ms, 10_000);
        let interval = row.interval.unwrap();
        assert_eq!(
            (interval.lowest, interval.highest),
            (Some(20.0), Some(22.0))
        );
        assert_eq!((interval.good, interval.readings), (2, 3));
        let last = means.finish().unwrap();
        assert_eq!(last.reading.outcome, Outcome::Fault(Quality::BoardSilent));
        assert_eq!(last.interval.unwrap().lowest, None);
    }

    #[test]
    fn half_of_it_faulty_is_a_fault() {
        let mut means = Means::new(10_000);
        take(&mut means, at(1, value(20.0)));
        take(&mut means, at(2, Outcome::Fault(Quality::OpenCircuit)));
        let row = means.finish().unwrap();
        assert_eq!(row.reading.outcome, Outcome::Fault(Quality::OpenCircuit));
    }

    #[test]
    fn an_interval_before_1970_is_aligned_as_well() {
        let mut means = Means::new(10_000);
        take(&mut means, at(-1, value(1.0)));
        assert_eq!(means.finish().unwrap().reading.at.wall_ms, -10_000);
    }
}
