//! What a session shows, and what has to be known to draw it.

use super::form::Form;
use super::knowledge::Doubt;
use super::live::Live;
use crate::calibrate::capture::Drift;
use crate::calibrate::{Calibration, Captured, Compared, Point, Role, Step, Verification};

/// A reference whose details are known.
#[derive(Clone, Debug, PartialEq)]
pub struct Prepared {
    /// Index of the reference among the offers.
    pub offer: usize,
    /// What is known of it, as it was typed.
    pub answers: Vec<String>,
    /// The reference value.
    pub compared: Compared,
    /// Whether the point is for the fit or kept out.
    pub role: Role,
}

/// A captured point whose instrument has to be read off; not a step yet.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadOff {
    /// What it was compared with.
    pub prepared: Prepared,
    /// What the probe read.
    pub captured: Captured,
    /// What was made of its drift.
    pub drift: Drift,
    /// What the instrument shows.
    pub form: Form,
}

/// A captured point that cannot be true; not a step yet.
#[derive(Clone, Debug, PartialEq)]
pub struct Doubtful {
    /// What it was compared with.
    pub prepared: Prepared,
    /// What the probe read.
    pub captured: Captured,
    /// What was made of its drift.
    pub drift: Drift,
    /// Why it is questioned.
    pub doubt: Doubt,
}

/// A point that was taken.
#[derive(Clone, Debug, PartialEq)]
pub struct TakenPoint {
    /// What it was compared with.
    pub prepared: Prepared,
    /// What the probe read.
    pub captured: Captured,
    /// What was made of its drift.
    pub drift: Drift,
    /// Its step's number, once it is in the log.
    pub number: Option<u64>,
}

impl TakenPoint {
    /// The step that keeps it.
    pub(super) fn step(&self) -> Step {
        let point = Box::new(Point {
            role: self.prepared.role,
            compared: self.prepared.compared.clone(),
            captured: self.captured.clone(),
        });
        Step::Point { point }
    }
}

/// A fit to look at; not a step yet.
#[derive(Clone, Debug, PartialEq)]
pub struct Fitting {
    /// The calibration, or why there is none.
    pub result: Result<Calibration, String>,
    /// The points that were fitted, with their numbers.
    pub points: Vec<(u64, Point)>,
    /// Against the points that were kept out.
    pub verifications: Vec<Verification>,
}

/// A calibration that was made.
#[derive(Clone, Debug, PartialEq)]
pub struct Finished {
    /// The calibration.
    pub calibration: Calibration,
    /// Its step's number, once it is in the log.
    pub number: Option<u64>,
    /// Against the points that were kept out.
    pub verifications: Vec<Verification>,
    /// Whether it is in use.
    pub is_active: bool,
}

/// What is shown.
#[derive(Clone, Debug)]
pub enum Screen {
    /// Points at hand, and what next.
    Overview {
        /// The selected point.
        selected: usize,
    },
    /// Which reference.
    Choose {
        /// The selected reference.
        selected: usize,
    },
    /// What has to be known of it.
    Details(Form),
    /// How to make it well.
    HowTo(Prepared),
    /// Settling and capture.
    Live(Box<Live>),
    /// What an instrument shows now.
    ReadOff(Box<ReadOff>),
    /// A point that is questioned.
    Doubtful(Box<Doubtful>),
    /// A point that was taken.
    Taken(Box<TakenPoint>),
    /// A fit.
    Fit(Box<Fitting>),
    /// A calibration that was made.
    Finished(Box<Finished>),
    /// The person has left.
    Over,
}
