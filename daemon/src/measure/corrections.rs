//! A converter's own errors, as a table of counts with the correction to add at each.
//!
//! Straight lines between the points, the outermost correction beyond them. The table goes before
//! the front end and before median and mean; the count in the log stays the board's. Where the
//! table comes from (a better converter beside this one, the maker's errata) is not known here.

use std::fmt;
use std::sync::Arc;

/// Points that a table has at most: one for each code of a 12-bit converter.
pub const MOST_POINTS: usize = 4096;

/// Corrections of one channel; without points it corrects nothing. Cheap to clone.
#[derive(Clone, Debug, PartialEq)]
pub struct Corrections(Arc<[Point]>);

/// One point of the table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// The board's count.
    pub count: f64,
    /// What is added to it, in counts.
    pub correction: f64,
}

/// Why points are no table. Places are counted from 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unusable {
    /// More than [`MOST_POINTS`].
    TooMany(usize),
    /// A number is not finite.
    NotFinite(usize),
    /// A count is not above the one before it.
    NotIncreasing(usize),
    /// A corrected count is not above the one before it: two counts would mean the same.
    FoldsBack(usize),
}

impl Unusable {
    /// The point that is wrong, from 1; none where there are too many.
    #[must_use]
    pub fn place(self) -> Option<usize> {
        match self {
            Self::TooMany(_) => None,
            Self::NotFinite(place) | Self::NotIncreasing(place) | Self::FoldsBack(place) => {
                Some(place)
            }
        }
    }
}

impl fmt::Display for Unusable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooMany(points) => write!(f, "{points} points are too many"),
            Self::NotFinite(place) => write!(f, "point {place} is no pair of finite numbers"),
            Self::NotIncreasing(place) => {
                write!(f, "the count of point {place} is not above the one before")
            }
            Self::FoldsBack(place) => write!(
                f,
                "the corrected count of point {place} is not above the one before"
            ),
        }
    }
}

impl Default for Corrections {
    fn default() -> Self {
        Self(Arc::new([]))
    }
}

impl Corrections {
    /// A table of these points, in the order of their counts.
    ///
    /// # Errors
    /// The first reason why they are none.
    pub fn new(points: &[Point]) -> Result<Self, Unusable> {
        if points.len() > MOST_POINTS {
            return Err(Unusable::TooMany(points.len()));
        }
        for (place, point) in (1..).zip(points) {
            if !(point.count.is_finite() && point.corrected().is_finite()) {
                return Err(Unusable::NotFinite(place));
            }
        }
        for (place, pair) in (2..).zip(points.windows(2)) {
            if pair[1].count <= pair[0].count {
                return Err(Unusable::NotIncreasing(place));
            }
            if pair[1].corrected() <= pair[0].corrected() {
                return Err(Unusable::FoldsBack(place));
            }
        }
        Ok(Self(points.into()))
    }

    /// Whether it corrects nothing.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The count that a faultless converter would have given.
    #[must_use]
    pub fn correct(&self, count: f64) -> f64 {
        let correction = match self.around(|point| point.count, count) {
            Around::Nothing => 0.0,
            Around::Beyond(point) => point.correction,
            Around::Between(low, high) => {
                let share = (count - low.count) / (high.count - low.count);
                low.correction + share * (high.correction - low.correction)
            }
        };
        count + correction
    }

    /// Change of the corrected count with the board's, above 0; 1 without a table, and beyond it.
    #[must_use]
    pub fn slope(&self, count: f64) -> f64 {
        match self.around(|point| point.count, count) {
            Around::Between(low, high) => {
                (high.corrected() - low.corrected()) / (high.count - low.count)
            }
            Around::Nothing | Around::Beyond(_) => 1.0,
        }
    }

    /// The board's count at which [`Corrections::correct`] gives this one: what simulation needs.
    #[must_use]
    pub fn invert(&self, corrected: f64) -> f64 {
        match self.around(Point::corrected, corrected) {
            Around::Nothing => corrected,
            Around::Beyond(point) => corrected - point.correction,
            Around::Between(low, high) => {
                let span = high.corrected() - low.corrected();
                let share = (corrected - low.corrected()) / span;
                low.count + share * (high.count - low.count)
            }
        }
    }

    fn around(&self, key: impl Fn(Point) -> f64, at: f64) -> Around {
        let above = self.0.partition_point(|point| key(*point) <= at);
        let below = above.checked_sub(1).and_then(|place| self.0.get(place));
        match (below, self.0.get(above)) {
            (Some(low), Some(high)) => Around::Between(*low, *high),
            (Some(end), None) | (None, Some(end)) => Around::Beyond(*end),
            (None, None) => Around::Nothing,
        }
    }
}

impl Point {
    fn corrected(self) -> f64 {
        self.count + self.correction
    }
}

/// Where a count lies in the table.
enum Around {
    Nothing,
    Beyond(Point),
    Between(Point, Point),
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::measure::testing::near;
    use proptest::prelude::*;

    fn table(points: &[(f64, f64)]) -> Result<Corrections, Unusable> {
        let points: Vec<Point> = points
            .iter()
            .map(|(count, correction)| Point {
                count: *count,
                correction: *correction,
            })
            .collect();
        Corrections::new(&points)
    }

    #[test]
    fn straight_between_the_points_and_constant_beyond_them() {
        let corrections = table(&[(512.0, -3.0), (1536.0, -2.5), (2560.0, 1.5)]).unwrap();
        for (count, corrected) in [
            (0.0, -3.0),
            (512.0, 509.0),
            (1024.0, 1021.25),
            (1536.0, 1533.5),
            (2048.0, 2047.5),
            (2560.0, 2561.5),
            (4095.0, 4096.5),
        ] {
            near(corrections.correct(count), corrected, 1e-15);
            assert!((corrections.invert(corrected) - count).abs() < 1e-9);
        }
        near(corrections.slope(600.0), 1.0 + 0.5 / 1024.0, 1e-15);
        near(corrections.slope(4000.0), 1.0, 1e-15);
    }

    #[test]
    fn no_points_and_one_point_are_tables_too() {
        assert_eq!(
            Corrections::default().correct(7.5).to_bits(),
            7.5_f64.to_bits()
        );
        assert!(table(&[]).unwrap().is_empty());
        near(table(&[(100.0, 2.0)]).unwrap().correct(7.5), 9.5, 1e-15);
    }

    #[test]
    fn points_that_are_no_table_are_named() {
        let many: Vec<(f64, f64)> = (0..=4096).map(|at| (f64::from(at), 0.0)).collect();
        for (points, why) in [
            (&many[..], Unusable::TooMany(4097)),
            (&[(1.0, 0.0), (2.0, f64::NAN)], Unusable::NotFinite(2)),
            (&[(f64::INFINITY, 0.0)], Unusable::NotFinite(1)),
            (&[(5.0, 0.0), (5.0, 1.0)], Unusable::NotIncreasing(2)),
            (
                &[(5.0, 0.0), (9.0, 1.0), (8.0, 1.0)],
                Unusable::NotIncreasing(3),
            ),
            (&[(5.0, 0.0), (7.0, -2.0)], Unusable::FoldsBack(2)),
        ] {
            assert_eq!(table(points), Err(why));
        }
        assert!(table(&many[..4096]).is_ok());
    }

    proptest! {
        #[test]
        fn the_way_back_leads_to_the_same_count(
            steps in proptest::collection::vec((1.0..100.0_f64, -0.9..3.0_f64), 1..40),
            count in -100.0..5000.0_f64,
        ) {
            let mut point = (0.0, 0.0);
            let points: Vec<(f64, f64)> = steps.into_iter().map(|(by, share)| {
                point = (point.0 + by, point.1 + by * share);
                point
            }).collect();
            let corrections = table(&points).unwrap();
            let back = corrections.invert(corrections.correct(count));
            prop_assert!((back - count).abs() < 1e-6, "{back}");
            prop_assert!(corrections.slope(count) > 0.0);
        }
    }
}
