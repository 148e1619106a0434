//! The child's side: a process that holds one loaded driver and answers for it, until its line ends.
//!
//! It gets three descriptors: the line to the service as stdin, the library's bytes as stdout, a
//! pipe for whatever the driver prints as stderr. It has no environment, asks for nothing, and
//! knows no probe. It is trusted until the library is loaded, and not afterwards: the service checks
//! every byte that comes from here.

mod answer;
mod memory;

use super::frames::{Call, Declaration, Frame, Hello, Start, encode_declaration, receive};
use super::{load, sandbox};
use answer::Answering;
use memory::Gauge;
use rustix::io::fcntl_dupfd_cloexec;
use rustix::process::{DumpableBehavior, set_dumpable_behavior};
use rustix::stdio::{dup2_stdin, dup2_stdout, stderr, stdin, stdout};
use std::fs::File;
use std::io;
use std::os::fd::{AsFd, IntoRawFd, OwnedFd};
use std::os::unix::net::UnixStream;
use std::process::ExitCode;

/// How a host process ends by itself; told apart by the service.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum End {
    /// The service has ended the line.
    Done = 0,
    /// It was started by a person, or could not set itself up.
    Misused = 70,
    /// The driver has used up its memory.
    Memory = 71,
    /// The driver wrote beyond the places that it was given.
    Overrun = 72,
}

impl End {
    /// The exit code.
    pub(super) fn code(self) -> u8 {
        self as u8
    }
}

/// Descriptors above the three streams.
const ABOVE_STREAMS: i32 = 3;

/// Runs a host process: what the hidden verb `driver-host` does.
#[must_use]
pub fn run() -> ExitCode {
    let end = set_up().and_then(Host::start).map(Host::serve);
    ExitCode::from(end.unwrap_or(End::Misused).code())
}

/// The line to the service, and the library.
struct Given {
    line: UnixStream,
    image: OwnedFd,
}

/// Takes what it was given off the streams, so that what a driver prints disturbs nothing.
fn set_up() -> io::Result<Given> {
    let line = UnixStream::from(fcntl_dupfd_cloexec(stdin(), ABOVE_STREAMS)?);
    // Refused where it is no socket: somebody has called the verb by hand.
    line.peer_addr()?;
    let image = fcntl_dupfd_cloexec(stdout(), ABOVE_STREAMS)?;
    dup2_stdout(stderr())?;
    dup2_stdin(File::open("/dev/null")?)?;
    Ok(Given { line, image })
}

struct Host {
    line: UnixStream,
    room: Vec<u8>,
    frame: Frame,
    answering: Option<Answering>,
    gauge: Gauge,
}

impl Host {
    /// Gives up what it does not need, loads the library, and says what became of it.
    fn start(Given { mut line, image }: Given) -> io::Result<Self> {
        let (mut room, mut frame) = (Vec::new(), Frame::default());
        let start = Start::decode(receive(&mut line, &mut room, || Ok(()))?)?;
        let gauge = Gauge::new(start.memory)?;
        let missing = sandbox::enter(gauge.most());
        Hello::begin(&mut frame, &missing);
        // Kept open for ever, as the library is never unloaded.
        let image: &'static OwnedFd = Box::leak(Box::new(image));
        let loaded = load::load(image.as_fd());
        // Only now: the loader has gone through this process's own folder in /proc.
        let _ = set_dumpable_behavior(DumpableBehavior::NotDumpable);
        let answering = match loaded {
            Ok(view) => {
                encode_declaration(&mut frame, &Declaration::of(&view));
                Some(Answering::new(view))
            }
            Err(why) => {
                Hello::refuse(&mut frame, &why);
                None
            }
        };
        frame.send(&mut line)?;
        Ok(Self {
            line,
            room,
            frame,
            answering,
            gauge,
        })
    }

    /// Answers until the line ends, or there is nothing that could answer.
    fn serve(mut self) -> End {
        let end = loop {
            match self.step() {
                Some(End::Done) => {}
                Some(end) => break end,
                None => break End::Done,
            }
        };
        // The line ends with the process: the service kills whoever ends it before.
        let _ = self.line.into_raw_fd();
        end
    }

    /// One call; `None` where the line has ended.
    fn step(&mut self) -> Option<End> {
        let answering = self.answering.as_mut()?;
        let bytes = receive(&mut self.line, &mut self.room, || Ok(())).ok()?;
        let call = Call::decode(bytes).ok()?;
        if let Err(end) = answering.answer(&call, &mut self.frame) {
            return Some(end);
        }
        self.frame.send(&mut self.line).ok()?;
        Some(if self.gauge.is_full() {
            End::Memory
        } else {
            End::Done
        })
    }
}
