//! The line to a child: one question, one answer, within a deadline.

use super::words::Doing;
use crate::clock;
use crate::driver::frames::{Answer, Frame, Malformed, receive};
use nightbench_driver::Status;
use rustix::process::{Signal, pidfd_send_signal};
use std::io;
use std::os::fd::OwnedFd;
use std::os::unix::net::UnixStream;
use std::sync::Arc;
use std::time::Duration;

/// Why there was no good answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Trouble {
    /// None in time.
    Late,
    /// The line ended.
    Gone,
    /// What came is no answer to what was asked.
    Garbled,
}

impl Trouble {
    /// For a probe's reading, before it is known how the child ended.
    pub(super) fn words(self, doing: &Doing, deadline: Duration) -> String {
        match self {
            Self::Late => format!(
                "it did not answer within {} ms{doing}",
                deadline.as_millis()
            ),
            Self::Gone => format!("it ended{doing}"),
            Self::Garbled => format!("it answered with something that is no answer{doing}"),
        }
    }

    fn of(error: &io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut => Self::Late,
            io::ErrorKind::InvalidData | io::ErrorKind::InvalidInput => Self::Garbled,
            _ => Self::Gone,
        }
    }
}

/// The line to a child, with a hold on the process.
pub(super) struct Channel {
    line: UnixStream,
    /// Stays that of this process, whoever gets its number later.
    process: Arc<OwnedFd>,
    frame: Frame,
    room: Vec<u8>,
}

impl Channel {
    /// A line on which reading and writing give up after `deadline`.
    pub(super) fn new(
        line: UnixStream,
        process: Arc<OwnedFd>,
        deadline: Duration,
    ) -> io::Result<Self> {
        line.set_read_timeout(Some(deadline))?;
        line.set_write_timeout(Some(deadline))?;
        Ok(Self {
            line,
            process,
            frame: Frame::default(),
            room: Vec::new(),
        })
    }

    /// Asks and takes the answer; the driver's status, where it is not that all is done. The answer
    /// is handed over also where the driver says that the parameters are wrong.
    pub(super) fn exchange<T>(
        &mut self,
        deadline: Duration,
        fill: impl FnOnce(&mut Frame),
        take: impl FnOnce(Answer<'_>) -> Result<T, Malformed>,
    ) -> Result<Result<T, i32>, Trouble> {
        fill(&mut self.frame);
        let asked = self.frame.send(&mut self.line);
        asked.map_err(|error| Trouble::of(&error))?;
        let bytes = receive(&mut self.line, &mut self.room, bounded(deadline));
        let bytes = bytes.map_err(|error| Trouble::of(&error))?;
        let answer = Answer::decode(bytes).map_err(|Malformed| Trouble::Garbled)?;
        let status = answer.status;
        if status == Status::DONE.code() {
            return take(answer).map(Ok).map_err(|Malformed| Trouble::Garbled);
        }
        if status == Status::PARAMETERS.code() || status == Status::OUT_OF_RANGE.code() {
            // What could be taken counts: the words of a check, the inputs that have a value.
            let _ = take(answer);
        }
        Ok(Err(status))
    }

    /// Ends the process at once.
    pub(super) fn kill(&self) {
        // It fails where it has ended, which is what is wanted.
        let _ = pidfd_send_signal(&*self.process, Signal::KILL);
    }
}

/// For [`receive`]: an answer that trickles in is given up when twice the deadline is over at the
/// latest, as each of its parts is given up after one.
pub(super) fn bounded(deadline: Duration) -> impl FnMut() -> io::Result<()> {
    let mut began = None;
    move || {
        let now = clock::now().boot_ns;
        let past = now.saturating_sub(*began.get_or_insert(now));
        if u128::from(past) < deadline.as_nanos() {
            Ok(())
        } else {
            Err(io::ErrorKind::TimedOut.into())
        }
    }
}
