//! One point to a database, to see whether it takes any: through the same code as readings.

use super::answer::Verdict;
use super::session::Session;
use crate::config::LineProtocol;
use crate::outlet::Trouble;

/// Posts one line, which stays in the database.
///
/// # Errors
/// Why it was not taken.
pub async fn write_once(settings: &LineProtocol, line: &str) -> Result<(), Trouble> {
    let session = Session::open(settings)?;
    match session.post(format!("{line}\n")).await {
        Verdict::Taken => Ok(()),
        Verdict::Trouble(trouble) => Err(trouble),
        Verdict::Refused { words } => Err(Trouble::Person {
            what: format!("{}: refuses `{line}`: {words}", session.server.address),
        }),
    }
}
