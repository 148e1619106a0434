//! A step where no service runs: written into the log directly, under its lock.

use super::ClientError;
use crate::calibrate::Step;
use crate::config::Config;
use crate::control::facts::ProbeFacts;
use crate::control::steps;
use crate::log::{Log, Settings};

/// Appends a step of a probe to the log of a configuration, where no service runs on it; gives its
/// number. Not to be called from within a runtime: it waits.
///
/// # Errors
/// `Log` where the log cannot be opened, above all because a service does run on it; `Refused` where
/// the step does not fit the configured probe.
pub fn append_offline(config: &Config, probe: &str, step: &Step) -> Result<u64, ClientError> {
    let facts = ProbeFacts::of(config, probe)
        .ok_or_else(|| ClientError::Refused(ProbeFacts::unknown(config, probe)))?;
    let failed = |why: String| ClientError::Log {
        log: config.log.path.clone(),
        why,
    };
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .build()
        .map_err(|error| failed(crate::words::system(&error)))?;
    let log = Log::open(&Settings {
        path: config.log.path.clone(),
        commit: config.log.commit,
    });
    let log = log.map_err(|error| failed(error.to_string()))?;
    runtime.block_on(async {
        let appended = steps::append(&log, &facts, step).await;
        let closed = log.close().await;
        let number = appended.map_err(|error| ClientError::Refused(error.to_string()))?;
        closed.map_err(|error| failed(error.to_string()))?;
        Ok(number)
    })
}
