//! A step with its number, as the log gives it and as it is exported.

use crate::calibrate::Step;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// How every step that made a calibration begins in the log.
const MADE: &[u8] = br#"{"step":"made""#;

/// One step of a probe's calibration, with the number that the log gave it.
///
/// As JSON, the step's own keys stand beside `number`, `probe` and `time_ms`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Recorded {
    /// The log's number of the step, from 1, over all probes.
    pub number: u64,
    /// The probe's label.
    pub probe: String,
    /// When, milliseconds since 1970.
    pub time_ms: i64,
    /// What happened.
    #[serde(flatten)]
    pub step: Step,
}

impl Recorded {
    /// A stored step. One that is damaged or a later version's is [`Step::Unreadable`], so that it
    /// spoils no other and no calibration after it gets another number.
    #[must_use]
    pub fn read(data: &[u8]) -> Step {
        serde_json::from_slice(data).unwrap_or_else(|error| Step::Unreadable {
            made: was_made(data),
            why: error.to_string(),
        })
    }
}

fn was_made(data: &[u8]) -> bool {
    match serde_json::from_slice::<Value>(data) {
        Ok(value) => value["step"] == "made",
        Err(_) => data.starts_with(MADE),
    }
}
