//! What happens in a probe's calibration, step by step, as the log keeps it: only ever appended.
//!
//! The present state (points at hand, calibrations, which is active) is a fold over the steps:
//! `history`.

use super::calibration::{Calibration, Verification};
use super::point::Point;
use serde::{Deserialize, Serialize};

/// One step. Stored as JSON: never change a name, only add.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "step", rename_all = "snake_case")]
pub enum Step {
    /// A point was captured.
    Point {
        /// The point.
        point: Box<Point>,
    },
    /// A point does not count any more.
    Withdrawn {
        /// Its step's number.
        point: u64,
        /// Why, in words.
        why: String,
    },
    /// A calibration was made; not in use yet.
    Made {
        /// The calibration.
        calibration: Box<Calibration>,
    },
    /// A calibration was verified at a point that was kept out.
    Verified {
        /// Which: the number of its `Made` step.
        calibration: u64,
        /// The outcome.
        verification: Verification,
    },
    /// A calibration is in use from here on.
    Activated {
        /// Which: the number of its `Made` step; `None` for the configured parameters.
        calibration: Option<u64>,
        /// Why, in words; may be empty.
        why: String,
    },
    /// A step that this version cannot read: damaged, or a later version's. Never written.
    #[serde(skip_deserializing)]
    Unreadable {
        /// Whether it made a calibration: then it keeps its place in the numbering.
        made: bool,
        /// Why it cannot be read, in words.
        why: String,
    },
}
