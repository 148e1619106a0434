//! Why a command could not talk to the service, in words.

use super::rights;
use crate::control::place;
use crate::control::protocol::SPOKEN;
use crate::words;
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// What went wrong between a command and the service.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ClientError {
    /// Nobody listens beside the log.
    #[error(
        "no service runs on the log `{}`; start it with `systemctl start nightbench`, or with \
         `nightbench serve --config FILE`",
        .0.display()
    )]
    NoService(PathBuf),
    /// The user may not connect.
    #[error("{0}")]
    NotAllowed(String),
    /// The service is of another version.
    #[error(
        "the service speaks `{0}`, this command `{SPOKEN}`; use the command of the same version, or \
         restart the service after an upgrade"
    )]
    OtherVersion(String),
    /// The service said no.
    #[error("{0}")]
    Refused(String),
    /// The service has closed the connection.
    #[error("the service has ended the connection; look whether it still runs, and ask again")]
    Ended,
    /// Nothing came for so long.
    #[error("nothing came from the service for {} s; look whether it is stuck", .0.as_secs_f64())]
    Silent(Duration),
    /// The system.
    #[error("the service on the log `{}` cannot be talked to: {why}", log.display())]
    Failed {
        /// The log.
        log: PathBuf,
        /// What the system says.
        why: String,
    },
    /// The log itself, where no service runs.
    #[error("log {}: {why}", log.display())]
    Log {
        /// The log.
        log: PathBuf,
        /// What is wrong.
        why: String,
    },
}

impl ClientError {
    /// What a failure to connect means.
    #[must_use]
    pub fn of_connecting(log: &Path, error: &io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::NotFound | io::ErrorKind::ConnectionRefused => {
                Self::NoService(log.to_owned())
            }
            io::ErrorKind::PermissionDenied => Self::NotAllowed(rights::advice(&place::path(log))),
            _ => Self::Failed {
                log: log.to_owned(),
                why: words::system(error),
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_says_what_to_do() {
        let log = Path::new("cellar.sqlite");
        let refused = io::Error::from(io::ErrorKind::ConnectionRefused);
        let failed = io::Error::from_raw_os_error(28); // ENOSPC on Linux
        let told = [
            ClientError::of_connecting(log, &refused),
            ClientError::of_connecting(log, &failed),
            ClientError::OtherVersion("control 2".to_owned()),
            ClientError::Ended,
            ClientError::Silent(Duration::from_secs(30)),
        ];
        let told = told.map(|error| error.to_string());
        insta::assert_snapshot!(told.join("\n"), @r"
        no service runs on the log `cellar.sqlite`; start it with `systemctl start nightbench`, or with `nightbench serve --config FILE`
        the service on the log `cellar.sqlite` cannot be talked to: no space left on device
        the service speaks `control 2`, this command `control 1`; use the command of the same version, or restart the service after an upgrade
        the service has ended the connection; look whether it still runs, and ask again
        nothing came from the service for 30 s; look whether it is stuck
        ");
    }
}
