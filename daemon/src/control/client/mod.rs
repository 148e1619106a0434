//! The commands' side of the socket: blocking, one request at a time.

mod error;
mod offline;
mod rights;

pub use error::ClientError;
pub use offline::append_offline;

use super::LONGEST_LINE;
use super::facts::{ProbeFacts, Status, WatchedReading};
use super::place::Place;
use super::protocol::{self, Answer, Hello, Request, SPOKEN};
use crate::calibrate::Step;
use crate::words;
use serde::de::DeserializeOwned;
use std::io::{ErrorKind, Read, Write};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long an answer may take: a reload, or a slow card's commit.
const ANSWER: Duration = Duration::from_secs(30);

/// A connection to the service that writes a log.
#[derive(Debug)]
pub struct Client {
    log: PathBuf,
    stream: UnixStream,
    /// What came behind the last line.
    rest: Vec<u8>,
}

impl Client {
    /// Connects to the service that writes this log.
    ///
    /// # Errors
    /// `NoService` where none runs, `NotAllowed`, `OtherVersion`, or what the system says.
    pub fn connect(log: &Path) -> Result<Self, ClientError> {
        let connected = Place::beside(log).and_then(|place| place.connect());
        let stream = connected.map_err(|error| ClientError::of_connecting(log, &error))?;
        let mut client = Self {
            log: log.to_owned(),
            stream,
            rest: Vec::new(),
        };
        let Hello { nightbench, .. } = client.hear()?;
        if nightbench == SPOKEN {
            Ok(client)
        } else {
            Err(ClientError::OtherVersion(protocol::shortened(&nightbench)))
        }
    }

    /// What the service has configured for a probe.
    ///
    /// # Errors
    /// `Refused` where it has no such probe.
    pub fn probe(&mut self, probe: &str) -> Result<ProbeFacts, ClientError> {
        let probe = probe.to_owned();
        match self.ask(&Request::Probe { probe })? {
            Answer::Probe(facts) => Ok(*facts),
            other => Err(unexpected(other)),
        }
    }

    /// How everything stands.
    ///
    /// # Errors
    /// What went wrong on the way.
    pub fn status(&mut self) -> Result<Status, ClientError> {
        match self.ask(&Request::Status)? {
            Answer::Status(status) => Ok(*status),
            other => Err(unexpected(other)),
        }
    }

    /// Appends a step of a probe's calibration; gives its number once it is committed, and what a
    /// person should know all the same.
    ///
    /// # Errors
    /// `Refused` where it does not fit. After any other error it may have been taken: the log says.
    pub fn append(
        &mut self,
        probe: &str,
        step: Step,
    ) -> Result<(u64, Option<String>), ClientError> {
        let (probe, step) = (probe.to_owned(), Box::new(step));
        match self.ask(&Request::Step { probe, step })? {
            Answer::Done { number, remark } => Ok((number, remark)),
            other => Err(unexpected(other)),
        }
    }

    /// Watches a probe: its readings from now on, as they are made. Another client asks meanwhile.
    ///
    /// # Errors
    /// `Refused` where there is no such probe.
    pub fn watch(mut self, probe: &str) -> Result<Watch, ClientError> {
        let probe = probe.to_owned();
        match self.ask(&Request::Watch { probe })? {
            Answer::Watching(facts) => Ok(Watch {
                client: self,
                facts: *facts,
                patience: ANSWER,
            }),
            other => Err(unexpected(other)),
        }
    }

    fn ask(&mut self, request: &Request) -> Result<Answer, ClientError> {
        let line = protocol::line(request);
        if line.len() > LONGEST_LINE {
            let why = format!("it is longer than the {LONGEST_LINE} bytes that the service takes");
            return Err(ClientError::Refused(why));
        }
        // Where the service has closed already it has said why: that is read below.
        let _ = self.stream.write_all(&line);
        self.hear()
    }

    fn hear<T: DeserializeOwned>(&mut self) -> Result<T, ClientError> {
        let line = self.line_within(ANSWER)?;
        let line = line.ok_or(ClientError::Silent(ANSWER))?;
        read(&line)
    }

    /// The next line; `None` where none comes in time.
    fn line_within(&mut self, patience: Duration) -> Result<Option<Vec<u8>>, ClientError> {
        let failed = |log: &Path, error: &std::io::Error| ClientError::Failed {
            log: log.to_owned(),
            why: words::system(error),
        };
        // Zero would mean for ever.
        let patience = Some(patience.max(Duration::from_millis(1)));
        let set = self.stream.set_read_timeout(patience);
        set.map_err(|error| failed(&self.log, &error))?;
        let mut bytes = [0; 16 * 1024];
        loop {
            if let Some(end) = self.rest.iter().position(|byte| *byte == b'\n') {
                return Ok(Some(self.rest.drain(..=end).collect()));
            }
            match self.stream.read(&mut bytes) {
                Ok(0) => return Err(ClientError::Ended),
                Ok(length) => self.rest.extend_from_slice(&bytes[..length]),
                Err(error) => match error.kind() {
                    ErrorKind::Interrupted => {}
                    ErrorKind::WouldBlock | ErrorKind::TimedOut => return Ok(None),
                    ErrorKind::ConnectionReset => return Err(ClientError::Ended),
                    _ => return Err(failed(&self.log, &error)),
                },
            }
        }
    }
}

/// The readings of a watched probe. As an iterator it ends with the connection, and gives
/// `Silent` where no reading comes within the patience; the next call waits anew.
#[derive(Debug)]
pub struct Watch {
    client: Client,
    facts: ProbeFacts,
    patience: Duration,
}

impl Watch {
    /// The probe as it is configured.
    #[must_use]
    pub fn facts(&self) -> &ProbeFacts {
        &self.facts
    }

    /// The same with another patience; 30 s else.
    #[must_use]
    pub fn patient_for(self, patience: Duration) -> Self {
        Self { patience, ..self }
    }

    /// The next reading; `None` where none comes within this time.
    ///
    /// # Errors
    /// `Ended` where the service has stopped, or what went wrong on the way.
    pub fn next_within(
        &mut self,
        patience: Duration,
    ) -> Result<Option<WatchedReading>, ClientError> {
        let Some(line) = self.client.line_within(patience)? else {
            return Ok(None);
        };
        match read(&line)? {
            Answer::Reading(reading) => Ok(Some(*reading)),
            other => Err(unexpected(other)),
        }
    }
}

impl Iterator for Watch {
    type Item = Result<WatchedReading, ClientError>;

    fn next(&mut self) -> Option<Self::Item> {
        match self.next_within(self.patience) {
            Ok(Some(reading)) => Some(Ok(reading)),
            Ok(None) => Some(Err(ClientError::Silent(self.patience))),
            Err(ClientError::Ended) => None,
            Err(error) => Some(Err(error)),
        }
    }
}

fn read<T: DeserializeOwned>(line: &[u8]) -> Result<T, ClientError> {
    serde_json::from_slice(line).map_err(|_| {
        let line = String::from_utf8_lossy(line);
        ClientError::OtherVersion(protocol::shortened(line.trim_end()))
    })
}

fn unexpected(answer: Answer) -> ClientError {
    match answer {
        Answer::Refused(why) => ClientError::Refused(why),
        _ => ClientError::OtherVersion("an answer to another question".to_owned()),
    }
}
