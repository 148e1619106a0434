//! Starts a child, and hears its greeting.

use super::channel::{Channel, bounded};
use super::words::LOADING;
use super::{Greeting, Plan};
use crate::driver::frames::{Frame, Hello, Start, receive};
use rustix::process::{Pid, PidfdFlags, pidfd_open};
use std::fs::File;
use std::io::{self, PipeReader};
use std::os::fd::OwnedFd;
use std::os::unix::net::UnixStream;
use std::os::unix::process::CommandExt;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

/// How long a child may take until it has loaded its library. A slow card reads the program first.
const START: Duration = Duration::from_secs(5);

/// A child process; killed where it is dropped.
pub(super) struct Hosted {
    /// The process.
    pub(super) child: Child,
    /// A hold on it that outlives its number.
    pub(super) process: Arc<OwnedFd>,
    /// What it prints.
    pub(super) printed: PipeReader,
    line: UnixStream,
}

/// Why a child that was started has no driver to answer for.
pub(super) enum NoDriver {
    /// It says why.
    Refused(String),
    /// It said nothing in time, or ended, or what it said is nothing.
    Failed(io::Error),
}

impl Hosted {
    /// Starts one. It is told to end when the thread that calls this ends.
    pub(super) fn start(plan: &Plan) -> io::Result<Self> {
        let (line, theirs) = UnixStream::pair()?;
        let (printed, pipe) = io::pipe()?;
        let image = File::from(plan.library.image().try_clone_to_owned()?);
        let mut child = Command::new(&plan.program)
            .arg("driver-host")
            .env_clear()
            .current_dir("/")
            .process_group(0)
            .stdin(Stdio::from(OwnedFd::from(theirs)))
            .stdout(Stdio::from(image))
            .stderr(Stdio::from(pipe))
            .spawn()?;
        match hold(&child) {
            Ok(process) => Ok(Self {
                child,
                process: Arc::new(process),
                printed,
                line,
            }),
            Err(error) => {
                let _ = child.kill();
                let _ = child.wait();
                Err(error)
            }
        }
    }

    /// Tells it what it is to be, and hears what became of it.
    pub(super) fn greet(&mut self, plan: &Plan) -> Result<(Channel, Greeting), NoDriver> {
        let mut room = Vec::new();
        let heard = self.hear(plan, &mut room).map_err(NoDriver::Failed)?;
        let missing = heard
            .missing
            .iter()
            .map(|text| crate::driver::vet::shown_line(text))
            .collect();
        let declaration = heard
            .outcome
            .map_err(|why| NoDriver::Refused(crate::driver::vet::shown_line(why)))?;
        let greeting = Greeting {
            missing,
            declaration: declaration.to_vec(),
        };
        let line = self.line.try_clone().map_err(NoDriver::Failed)?;
        let channel = Channel::new(line, Arc::clone(&self.process), plan.deadline);
        Ok((channel.map_err(NoDriver::Failed)?, greeting))
    }

    fn hear<'r>(&mut self, plan: &Plan, room: &'r mut Vec<u8>) -> io::Result<Hello<'r>> {
        self.line.set_read_timeout(Some(START))?;
        self.line.set_write_timeout(Some(START))?;
        let mut frame = Frame::default();
        Start {
            memory: plan.memory,
        }
        .encode(&mut frame);
        frame.send(&mut self.line)?;
        let bytes = receive(&mut self.line, room, bounded(START))?;
        Ok(Hello::decode(bytes)?)
    }
}

impl Drop for Hosted {
    fn drop(&mut self) {
        // Both fail where it has ended and was waited for.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn hold(child: &Child) -> io::Result<OwnedFd> {
    let number = i32::try_from(child.id()).ok().and_then(Pid::from_raw);
    let number = number.ok_or(io::ErrorKind::InvalidData)?;
    Ok(pidfd_open(number, PidfdFlags::empty())?)
}

impl NoDriver {
    /// In words: what follows the library's name.
    pub(super) fn words(&self) -> String {
        match self {
            Self::Refused(why) => why.clone(),
            Self::Failed(error) => match error.kind() {
                io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut => {
                    format!("did not come back within {} s{LOADING}", START.as_secs())
                }
                io::ErrorKind::InvalidData => format!("sent something that is no answer{LOADING}"),
                _ => format!("ended{LOADING}"),
            },
        }
    }
}
