//! One step after the other into a history.

use super::{Activation, History, Made, Recorded, Remark, Taken, Verified};
use crate::calibrate::{Calibration, Point, Step, Verification};
use std::collections::BTreeMap;

impl History {
    /// The history of one probe, whose steps these are, oldest first; their labels are not looked
    /// at.
    #[must_use]
    pub fn of<'a>(steps: impl IntoIterator<Item = &'a Recorded>) -> Self {
        let mut history = Self::default();
        for step in steps {
            history.take(step);
        }
        history
    }

    /// The history of each probe in a mixture of steps, by its label.
    #[must_use]
    pub fn by_probe(steps: &[Recorded]) -> BTreeMap<String, Self> {
        let mut histories = BTreeMap::<String, Self>::new();
        for step in steps {
            histories.entry(step.probe.clone()).or_default().take(step);
        }
        histories
    }

    /// One more step.
    pub fn take(&mut self, recorded: &Recorded) {
        let number = recorded.number;
        let result = match &recorded.step {
            Step::Point { point } => self.point_taken(recorded, point),
            Step::Withdrawn { point, why } => self.withdraw(*point, why),
            Step::Made { calibration } => self.made(recorded, calibration),
            Step::Verified {
                calibration,
                verification,
            } => self.verified(recorded.time_ms, *calibration, verification),
            Step::Activated { calibration, why } => {
                self.activate(recorded.time_ms, *calibration, why)
            }
            Step::Unreadable { made, why } => self.unreadable(number, *made, why),
        };
        if let Err(text) = result {
            self.remarks.push(Remark { step: number, text });
        }
    }

    fn point_taken(&mut self, recorded: &Recorded, point: &Point) -> Result<(), String> {
        let number = recorded.number;
        if self.points.contains_key(&number) {
            return Err(format!("point {number} is there already; left out"));
        }
        let taken = Taken {
            number,
            time_ms: recorded.time_ms,
            point: point.clone(),
            withdrawn: None,
            used: false,
            passed_over: false,
        };
        self.points.insert(number, taken);
        Ok(())
    }

    fn withdraw(&mut self, number: u64, why: &str) -> Result<(), String> {
        let point = self.points.get_mut(&number);
        let point = point.ok_or_else(|| {
            format!("withdraws point {number}, which this probe does not have; left out")
        })?;
        if point.withdrawn.is_some() {
            return Err(format!(
                "withdraws point {number}, which was withdrawn before; left out"
            ));
        }
        point.withdrawn = Some(why.to_owned());
        Ok(())
    }

    fn made(&mut self, recorded: &Recorded, calibration: &Calibration) -> Result<(), String> {
        let number = self.number(recorded.number)?;
        let mut missing = Vec::new();
        for point in &calibration.points {
            match self.points.get_mut(point) {
                Some(taken) => taken.used = true,
                None => missing.push(point.to_string()),
            }
        }
        let older = self.points.values_mut();
        let left_out = older.filter(|one| !one.used && !one.is_check() && !one.is_resistor());
        left_out.for_each(|one| one.passed_over = true);
        self.made.push(Made {
            number,
            step: recorded.number,
            time_ms: recorded.time_ms,
            calibration: calibration.clone(),
            verifications: Vec::new(),
        });
        match missing.as_slice() {
            [] => Ok(()),
            // It stands on its own numbers.
            missing => Err(format!(
                "calibration {number} names points that this probe does not have ({}); it stands \
                 all the same",
                missing.join(", ")
            )),
        }
    }

    /// The next number for people.
    fn number(&mut self, step: u64) -> Result<u32, String> {
        if self.numbers.contains_key(&step) {
            return Err(format!(
                "step {step} has made a calibration already; left out"
            ));
        }
        let number = self.next_number();
        self.numbers.insert(step, number);
        Ok(number)
    }

    fn verified(
        &mut self,
        time_ms: i64,
        step: u64,
        verification: &Verification,
    ) -> Result<(), String> {
        let made = self.made.iter_mut().find(|made| made.step == step);
        let made = made.ok_or_else(|| {
            format!("verifies a calibration of step {step}, which is not there; left out")
        })?;
        made.verifications.push(Verified {
            time_ms,
            verification: verification.clone(),
        });
        let point = verification.point;
        let taken = self.points.get_mut(&point);
        let taken = taken.ok_or_else(|| {
            format!("verifies with point {point}, which is not there; its outcome stands")
        })?;
        taken.used = true;
        Ok(())
    }

    fn activate(&mut self, time_ms: i64, step: Option<u64>, why: &str) -> Result<(), String> {
        let number = step.map(|step| {
            let number = self.numbers.get(&step).copied();
            number.ok_or_else(|| {
                format!("activates a calibration of step {step}, which is not there; left out")
            })
        });
        self.activations.push(Activation {
            time_ms,
            number: number.transpose()?,
            why: why.to_owned(),
        });
        Ok(())
    }

    fn unreadable(&mut self, step: u64, made: bool, why: &str) -> Result<(), String> {
        let what = if made {
            format!("calibration {}", self.number(step)?)
        } else {
            "the step".to_owned()
        };
        Err(format!(
            "{what} cannot be read ({why}); the others stand. A later version of nightbench may have \
             written it: read it with that one"
        ))
    }
}
