//! A probe's steps as they stand in the log: which calibration has which number for people, which is
//! in use.

use super::facts::ProbeFacts;
use crate::calibrate::{Calibration, Point, Step};

/// The steps of one probe, oldest first, each with its number.
#[derive(Clone, Debug, Default)]
pub struct Chain(pub Vec<(u64, Step)>);

impl Chain {
    /// Number for people, from 1: the rank of a calibration among those made.
    #[must_use]
    pub fn rank(&self, number: u64) -> Option<u32> {
        let made = self.made().position(|(found, _)| found == number)?;
        u32::try_from(made + 1).ok()
    }

    /// How many calibrations were made.
    #[must_use]
    pub fn count_made(&self) -> usize {
        self.made().count()
    }

    /// The calibration of a step.
    #[must_use]
    pub fn calibration(&self, number: u64) -> Option<&Calibration> {
        let found = self.made().find(|(found, _)| *found == number);
        found.map(|(_, calibration)| calibration)
    }

    /// The point of a step.
    #[must_use]
    pub fn point(&self, number: u64) -> Option<&Point> {
        self.0.iter().find_map(|(found, step)| match step {
            Step::Point { point } if *found == number => Some(point.as_ref()),
            _ => None,
        })
    }

    /// Whether a point was withdrawn.
    #[must_use]
    pub fn is_withdrawn(&self, number: u64) -> bool {
        let withdrawn =
            |step: &Step| matches!(step, Step::Withdrawn { point, .. } if *point == number);
        self.0.iter().any(|(_, step)| withdrawn(step))
    }

    /// The calibration in use, with its step's number; `None` for the configured parameters.
    #[must_use]
    pub fn active(&self) -> Option<(u64, &Calibration)> {
        let last = self.0.iter().rev().find_map(|(_, step)| match step {
            Step::Activated { calibration, .. } => Some(*calibration),
            _ => None,
        });
        let number = last??;
        Some((number, self.calibration(number)?))
    }

    /// A probe's facts with the calibration that is in use.
    #[must_use]
    pub fn complete(&self, mut facts: ProbeFacts) -> ProbeFacts {
        if let Some((number, calibration)) = self.active() {
            facts.calibration = self.rank(number);
            facts.due_ms = calibration.due_ms;
        }
        facts
    }

    fn made(&self) -> impl Iterator<Item = (u64, &Calibration)> {
        self.0.iter().filter_map(|(number, step)| match step {
            Step::Made { calibration } => Some((*number, calibration.as_ref())),
            _ => None,
        })
    }
}
