//! What the steps of one probe's calibration come to: points, calibrations, which was in use when.
//!
//! A pure fold over the steps as the log keeps them. Nothing is fitted here; a step that contradicts
//! those before it is left out and reported. A step that is appended changes nothing that earlier
//! ones gave, but how it stands: withdrawn, verified, in use.

mod conversion;
mod difference;
mod fold;
mod recompute;
#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod recompute_tests;
mod recorded;
#[cfg(test)]
#[allow(clippy::unwrap_used)]
pub(crate) mod testing;
#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;
mod usable;
#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod usable_tests;

pub use conversion::{Conversion, Place};
pub use difference::{Difference, common_range, compare, inputs};
pub use recompute::{Places, Recompute, Recomputed};
pub use recorded::Recorded;
pub use usable::{active, unusable};

use super::{Calibration, Point, Reference, Role, Verification};
use std::collections::BTreeMap;

/// A point, and how it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    /// Its step's number.
    pub number: u64,
    /// When it was kept, milliseconds since 1970.
    pub time_ms: i64,
    /// The point.
    pub point: Point,
    /// Why it does not count any more, where it does not.
    pub withdrawn: Option<String>,
    /// Whether a calibration was fitted to it, or verified with it.
    pub used: bool,
    /// Whether a calibration was made after it that left it out.
    pub passed_over: bool,
}

/// A calibration, and how it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Made {
    /// For people: the probe's first is 1.
    pub number: u32,
    /// The number of the step that made it.
    pub step: u64,
    /// When that was kept, milliseconds since 1970.
    pub time_ms: i64,
    /// The calibration.
    pub calibration: Calibration,
    /// Its verifications, oldest first.
    pub verifications: Vec<Verified>,
}

/// A verification, and when it was.
#[derive(Clone, Debug, PartialEq)]
pub struct Verified {
    /// When it was kept, milliseconds since 1970.
    pub time_ms: i64,
    /// The outcome.
    pub verification: Verification,
}

/// From when on what was in use.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Activation {
    /// Milliseconds since 1970.
    pub time_ms: i64,
    /// The calibration; `None` for the configured parameters.
    pub number: Option<u32>,
    /// Why, in words; may be empty.
    pub why: String,
}

/// A step that was left out, or that is not whole.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Remark {
    /// The step's number.
    pub step: u64,
    /// What about it, for a person.
    pub text: String,
}

/// Whether a calibration should be made again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Due {
    /// No date was given.
    Never,
    /// By then, milliseconds since 1970.
    At(i64),
    /// It should have been by then, milliseconds since 1970.
    Passed(i64),
}

/// The calibration of one probe, from its first step on.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct History {
    points: BTreeMap<u64, Taken>,
    made: Vec<Made>,
    /// Number by step, of those that cannot be read as well.
    numbers: BTreeMap<u64, u32>,
    activations: Vec<Activation>,
    remarks: Vec<Remark>,
}

impl History {
    /// All points ever taken, withdrawn ones as well, oldest first.
    pub fn points(&self) -> impl Iterator<Item = &Taken> {
        self.points.values()
    }

    /// The point of this step number.
    #[must_use]
    pub fn point(&self, number: u64) -> Option<&Taken> {
        self.points.get(&number)
    }

    /// Points of the probe at hand: not withdrawn, in no calibration or verification yet, and none for
    /// a fit that is older than the last calibration. Who made that one had them and left them out, so
    /// they do not come back as fresh a year later.
    pub fn draft(&self) -> impl Iterator<Item = &Taken> {
        self.at_hand().filter(|taken| !taken.is_resistor())
    }

    /// Known resistors that were put in the probe's place, not withdrawn: they tell of the channel.
    pub fn resistors(&self) -> impl Iterator<Item = &Taken> {
        self.at_hand().filter(|taken| taken.is_resistor())
    }

    /// The highest number among points and calibrations; 0 where there is none.
    #[must_use]
    pub fn last_step(&self) -> u64 {
        let points = self.points.keys().last();
        let made = self.numbers.keys().last();
        points.into_iter().chain(made).copied().max().unwrap_or(0)
    }

    /// Calibrations in the order in which they were made. One that cannot be read is missing here
    /// and among [`History::remarks`]; it keeps its number.
    #[must_use]
    pub fn calibrations(&self) -> &[Made] {
        &self.made
    }

    /// A calibration by its number for people.
    #[must_use]
    pub fn calibration(&self, number: u32) -> Option<&Made> {
        self.made.iter().find(|made| made.number == number)
    }

    /// A calibration by the number of the step that made it.
    #[must_use]
    pub fn calibration_of_step(&self, step: u64) -> Option<&Made> {
        self.made.iter().find(|made| made.step == step)
    }

    /// The calibration made before this one, as far as it can be read.
    #[must_use]
    pub fn before(&self, number: u32) -> Option<&Made> {
        self.made.iter().rev().find(|made| made.number < number)
    }

    /// The number that the next calibration gets.
    #[must_use]
    pub fn next_number(&self) -> u32 {
        u32::try_from(self.numbers.len() + 1).unwrap_or(u32::MAX)
    }

    /// Every change of what is in use, oldest first.
    #[must_use]
    pub fn activations(&self) -> &[Activation] {
        &self.activations
    }

    /// The number of the calibration in use; `None` for the configured parameters.
    #[must_use]
    pub fn active_number(&self) -> Option<u32> {
        self.activations.last()?.number
    }

    /// The calibration in use; `None` for the configured parameters, and where the one in use cannot
    /// be read.
    #[must_use]
    pub fn active(&self) -> Option<&Made> {
        self.calibration(self.active_number()?)
    }

    /// What was in use at a moment, milliseconds since 1970; `None` for the configured parameters.
    /// After a clock that was set back, the step that was kept last counts.
    #[must_use]
    pub fn active_at(&self, time_ms: i64) -> Option<u32> {
        let until = self.activations.iter().rev();
        let last = until.into_iter().find(|a| a.time_ms <= time_ms);
        last?.number
    }

    /// Whether the calibration in use should be made again.
    #[must_use]
    pub fn due(&self, now_ms: i64) -> Due {
        self.active().map_or(Due::Never, |made| made.due(now_ms))
    }

    /// Steps that were left out or are not whole, oldest first.
    #[must_use]
    pub fn remarks(&self) -> &[Remark] {
        &self.remarks
    }

    fn at_hand(&self) -> impl Iterator<Item = &Taken> {
        let all = self.points.values();
        all.filter(|taken| taken.withdrawn.is_none() && !taken.used && !taken.passed_over)
    }
}

impl Taken {
    /// Whether it is a known resistor in the probe's place.
    #[must_use]
    pub fn is_resistor(&self) -> bool {
        matches!(self.point.compared.reference, Reference::Resistor { .. })
    }

    /// Whether it is kept out of the fit.
    #[must_use]
    pub fn is_check(&self) -> bool {
        self.point.role == Role::Check
    }
}

impl Made {
    /// Whether it should be made again.
    #[must_use]
    pub fn due(&self, now_ms: i64) -> Due {
        match self.calibration.due_ms {
            None => Due::Never,
            Some(due_ms) if due_ms <= now_ms => Due::Passed(due_ms),
            Some(due_ms) => Due::At(due_ms),
        }
    }
}
