//! A child process at the head of a process group of its own, so that what it has started ends with
//! it. Only what leaves the group on purpose (`setsid`) outlives it.

use crate::config::Program;
use rustix::process::{Pid, Signal, kill_process_group};
use std::ffi::OsString;
use std::io;
use std::path::Path;
use std::process::{ExitStatus, Stdio};
use tokio::process::{ChildStderr, ChildStdout, Command};

/// What a child sees of this program's environment. Not the rest: passwords and tokens may stand
/// there (`password_env`), and what a child prints goes to the journal; and a child that pinged the
/// service manager's watchdog would hide a fault (sd_notify(3)).
const FOR_CHILDREN: &[&str] = &[
    "HOME", "LANG", "LC_ALL", "LOGNAME", "PATH", "SHELL", "TMPDIR", "TZ", "USER",
];

/// A running child. Dropping it kills it with its group.
#[derive(Debug)]
pub struct Child {
    child: tokio::process::Child,
    group: Option<Pid>,
}

impl Child {
    /// Starts the program: no shell, no input, both outputs to be taken by [`Child::outputs`].
    ///
    /// # Errors
    /// What the system says.
    pub fn start(program: &Program) -> io::Result<Self> {
        let mut words = program.command.iter();
        let name = words.next().map(String::as_str).unwrap_or_default();
        let mut command = Command::new(absolute(name)?);
        command
            .args(words)
            .current_dir(&program.folder)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .process_group(0)
            .kill_on_drop(true);
        command.env_clear();
        for name in FOR_CHILDREN {
            if let Some(value) = std::env::var_os(name) {
                command.env(name, value);
            }
        }
        // Into a pipe python would keep lines back until it has 8 KiB of them.
        command.env("PYTHONUNBUFFERED", "1");
        for (name, text) in &program.environment {
            command.env(name, text);
        }
        let child = command.spawn()?;
        let group = child.id().and_then(|id| Pid::from_raw(id.cast_signed()));
        Ok(Self { child, group })
    }

    /// Its outputs, to be taken once.
    pub fn outputs(&mut self) -> Option<(ChildStdout, ChildStderr)> {
        Some((self.child.stdout.take()?, self.child.stderr.take()?))
    }

    /// Its process number.
    #[must_use]
    pub fn process(&self) -> u32 {
        self.group
            .map_or(0, |group| group.as_raw_nonzero().get().unsigned_abs())
    }

    /// Waits for its end, which may have been before. A wait that is given up loses nothing.
    ///
    /// # Errors
    /// What the system says.
    pub async fn wait(&mut self) -> io::Result<ExitStatus> {
        self.child.wait().await
    }

    /// Asks it, and all that it has started, to end.
    pub fn terminate(&self) {
        self.signal(Signal::TERM);
    }

    /// Ends it, and all that it has started, at once. A number is not given to another process as
    /// long as a process of the group lives; the instant after the last one has gone is not closed.
    pub fn kill(&self) {
        self.signal(Signal::KILL);
    }

    fn signal(&self, signal: Signal) {
        if let Some(group) = self.group {
            // It fails where nobody is left, which is what is wanted.
            let _ = kill_process_group(group, signal);
        }
    }
}

impl Drop for Child {
    fn drop(&mut self) {
        self.kill();
    }
}

/// A program with a folder in its name is found before the folder is changed.
fn absolute(name: &str) -> io::Result<OsString> {
    if name.contains('/') {
        Ok(std::path::absolute(Path::new(name))?.into_os_string())
    } else {
        Ok(name.into())
    }
}
