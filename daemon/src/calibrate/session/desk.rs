//! What lies on the desk: points that count, and calibrations, as the steps in the log tell.
//!
//! Only what a session shows; the whole history is `history`'s.

use crate::calibrate::{Calibration, Point, Role, Step};

/// Points at hand and calibrations made.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Desk {
    points: Vec<(u64, Point)>,
    made: Vec<(u64, Calibration)>,
    active: Option<u64>,
}

impl Desk {
    /// From the probe's steps in the log, each with its number.
    pub fn from_steps(steps: impl IntoIterator<Item = (u64, Step)>) -> Self {
        let mut desk = Self::default();
        for (number, step) in steps {
            desk.take(number, step);
        }
        desk
    }

    /// One more step.
    pub fn take(&mut self, number: u64, step: Step) {
        match step {
            Step::Point { point } => self.points.push((number, *point)),
            Step::Withdrawn { point, .. } => self.points.retain(|(other, _)| *other != point),
            Step::Made { calibration } => {
                self.points
                    .retain(|(other, _)| !calibration.points.contains(other));
                self.made.push((number, *calibration));
            }
            Step::Verified { verification, .. } => {
                self.points
                    .retain(|(other, _)| *other != verification.point);
            }
            Step::Activated { calibration, .. } => self.active = calibration,
        }
    }

    /// Points in no calibration yet, with their numbers.
    #[must_use]
    pub fn points(&self) -> &[(u64, Point)] {
        &self.points
    }

    /// Points at hand that are for a fit.
    #[must_use]
    pub fn to_fit(&self) -> usize {
        let is_to_fit = |(_, point): &&(u64, Point)| point.role == Role::Fit;
        self.points.iter().filter(is_to_fit).count()
    }

    /// Calibrations in their order, with the numbers of their steps; the first is number 1 for people.
    #[must_use]
    pub fn made(&self) -> &[(u64, Calibration)] {
        &self.made
    }

    /// The calibration in use, counted from 1; `None` for the configured parameters.
    #[must_use]
    pub fn active(&self) -> Option<usize> {
        let active = self.active?;
        let place = self.made.iter().position(|(number, _)| *number == active)?;
        Some(place + 1)
    }
}
