//! What is done to a probe's calibration: points kept, a calibration made and verified, put in use,
//! a point withdrawn. Each is a step; none is kept twice.

use super::Job;
use crate::calibrate::history::{Made, Taken, unusable};
use crate::calibrate::{Calibration, Captured, Curve, Point, Role, Step, verify};
use crate::cli::Failure;
use crate::cli::calibrations::Chosen;

impl Job {
    /// Keeps a point, unless it is kept already; gives its number.
    ///
    /// # Errors
    /// Why it was not kept.
    pub fn keep_point(&mut self, point: &Point) -> Result<u64, Failure> {
        match self.kept(point) {
            Some(taken) => Ok(taken.number),
            None => self.keep(Step::Point {
                point: Box::new(point.clone()),
            }),
        }
    }

    /// The same point in the history, withdrawn or not: of the same reference and role, with the same
    /// mean, captured at the same time, where there is a time.
    #[must_use]
    pub fn kept(&self, point: &Point) -> Option<&Taken> {
        let same = |taken: &&Taken| {
            let other = &taken.point;
            other.role == point.role
                && other.compared == point.compared
                && is_same(&other.captured, &point.captured)
        };
        self.history.points().find(same)
    }

    /// Makes a calibration of points that are kept, verifies it with those of them that are kept out,
    /// and keeps all that; gives its number for people. One that was made of them before is not made
    /// again.
    ///
    /// # Errors
    /// Why there is none, or why it was not kept.
    pub fn make(&mut self, points: &[(u64, Point)]) -> Result<u32, Failure> {
        let calibration = self.fit(points).map_err(|refusal| {
            Failure::new(format!(
                "no calibration of probe `{}`: {refusal}",
                self.probe.name
            ))
        })?;
        let step = match self.made_before(&calibration) {
            Some(made) => made.step,
            None => self.keep(Step::Made {
                calibration: Box::new(calibration),
            })?,
        };
        let is_check = |(_, point): &&(u64, Point)| point.role == Role::Check;
        for (number, point) in points.iter().filter(is_check) {
            self.verify(step, (*number, point))?;
        }
        let made = self.history.calibration_of_step(step);
        let made = made.ok_or_else(|| Failure::new("the calibration is not in the log"))?;
        Ok(made.number)
    }

    /// Verifies a calibration (the number of its step) with a point, unless that was done.
    ///
    /// # Errors
    /// Where the curve has no value there, or why the outcome was not kept.
    pub fn verify(&mut self, step: u64, (number, point): (u64, &Point)) -> Result<(), Failure> {
        let Some(made) = self.history.calibration_of_step(step) else {
            return Ok(());
        };
        let mut verified = made.verifications.iter();
        if verified.any(|one| one.verification.point == number) {
            return Ok(());
        }
        let (tolerance, _) = self.tolerance(point.compared.value);
        let verification = Curve::of(&made.calibration, &self.probe.model)
            .and_then(|curve| verify(&curve, (number, point), tolerance, &self.probe.unit))
            .map_err(|error| Failure::new(format!("point {number} verifies nothing: {error}")))?;
        self.keep(Step::Verified {
            calibration: step,
            verification,
        })?;
        Ok(())
    }

    /// Puts a calibration, or the configured parameters, in use.
    ///
    /// # Errors
    /// Where there is none such, it does not fit the probe, or why it was not kept.
    pub fn activate(&mut self, chosen: Chosen, why: &str) -> Result<(), Failure> {
        let calibration = match chosen {
            Chosen::Configured => None,
            Chosen::Number(number) => Some(self.usable(number)?.step),
        };
        self.keep(Step::Activated {
            calibration,
            why: why.to_owned(),
        })?;
        Ok(())
    }

    /// A calibration that fits the probe, by its number for people.
    ///
    /// # Errors
    /// Where there is none.
    pub fn usable(&self, number: u32) -> Result<&Made, Failure> {
        let made = Chosen::made(number, &self.probe.name, &self.history).map_err(Failure::new)?;
        match unusable(&made.calibration, &self.probe) {
            None => Ok(made),
            Some(why) => Err(Failure::new(format!(
                "calibration {number} of probe `{}` {why}; calibrate it as it is now",
                self.probe.name
            ))),
        }
    }

    /// Withdraws a point.
    ///
    /// # Errors
    /// Why that was not kept.
    pub fn withdraw(&mut self, point: u64, why: &str) -> Result<(), Failure> {
        self.keep(Step::Withdrawn {
            point,
            why: why.to_owned(),
        })?;
        Ok(())
    }

    /// The calibration that differs from this one in nothing but its dates.
    fn made_before(&self, calibration: &Calibration) -> Option<&Made> {
        let same = |made: &&Made| {
            let other = &made.calibration;
            let dated = Calibration {
                made_ms: other.made_ms,
                due_ms: other.due_ms,
                ..calibration.clone()
            };
            dated == *other
        };
        self.history.calibrations().iter().rev().find(same)
    }
}

fn is_same(one: &Captured, other: &Captured) -> bool {
    // What a person gave as a number carries the moment at which it was kept.
    let is_dated = |captured: &Captured| !captured.raw.is_empty();
    let same_time = (one.from_ms, one.until_ms) == (other.from_ms, other.until_ms);
    let neither = !is_dated(one) && !is_dated(other);
    let same_place = one.is_of_channel() == other.is_of_channel();
    let same_number = one.mean == other.mean && one.uncertainty == other.uncertainty;
    same_number && same_place && (same_time || neither)
}
