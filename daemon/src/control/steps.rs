//! Taking a step: checked against the probe and its history, committed with its journal entry, and in
//! force before it is answered.
//!
//! The commit is waited for here, in the connection's own task: the flow waits for no card.

use super::facts::ProbeFacts;
use super::{check, tell};
use crate::calibrate::Step;
use crate::calibrate::history::History;
use crate::clock;
use crate::log::{Log, LogError};

/// Why a step was not taken.
#[derive(Debug, thiserror::Error)]
pub enum StepError {
    /// It does not fit.
    #[error("{0}")]
    Unfit(String),
    /// It could not be written.
    #[error("the log could not take it: {0}; nothing was changed, so it can be tried again")]
    Log(#[from] LogError),
}

/// Appends a step of a probe; gives its number once it is committed. One at a time for each log: what
/// is checked must still be so when it is written.
///
/// # Errors
/// Why it was not taken; then nothing has changed.
pub async fn append(log: &Log, probe: &ProbeFacts, step: &Step) -> Result<u64, StepError> {
    let history = History::of(&log.reader().steps(&probe.probe).await?);
    check::check(step, probe, &history).map_err(StepError::Unfit)?;
    let entry = tell::entry(clock::now(), step, probe, &history);
    let told = entry.clone();
    let number = log.append_step(&probe.probe, step, entry).await?;
    told.say();
    Ok(number)
}
