//! A child process that cannot outlive the test: ended by its id when dropped, its output kept in files
//! of the scene's folder and shown where the test fails.

use crate::wait::{SOON, eventually};
use rustix::process::{Pid, Signal, kill_process};
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::thread;

/// A running child process.
#[derive(Debug)]
pub struct Process {
    name: String,
    child: Child,
    stdout: PathBuf,
    stderr: PathBuf,
}

impl Process {
    /// Starts `command`; what it says goes to `NAME.out` and `NAME.err` in `folder`, after what an
    /// earlier process of this name said there.
    ///
    /// # Panics
    /// Where the program cannot be started.
    #[must_use]
    pub fn start(name: &str, folder: &Path, command: &mut Command) -> Self {
        let stdout = folder.join(format!("{name}.out"));
        let stderr = folder.join(format!("{name}.err"));
        let child = command
            .stdin(Stdio::null())
            .stdout(append_to(&stdout))
            .stderr(append_to(&stderr))
            .spawn()
            .unwrap_or_else(|why| {
                panic!("`{name}` does not start ({why}); run `tests/install` first")
            });
        Self {
            name: name.to_owned(),
            child,
            stdout,
            stderr,
        }
    }

    /// The process id.
    #[must_use]
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// All that it, and earlier processes of its name, said on stderr.
    #[must_use]
    pub fn stderr(&self) -> String {
        lossy(&self.stderr)
    }

    /// All that it, and earlier processes of its name, said on stdout.
    #[must_use]
    pub fn stdout(&self) -> String {
        lossy(&self.stdout)
    }

    /// Whether it has ended, and how.
    ///
    /// # Panics
    /// Where the system does not know the child any more.
    pub fn ended(&mut self) -> Option<ExitStatus> {
        self.child.try_wait().expect("own child can be waited for")
    }

    /// Sends it a signal.
    ///
    /// # Panics
    /// Where it is gone.
    pub fn signal(&self, signal: Signal) {
        let id = i32::try_from(self.id()).expect("process ids are positive i32");
        let pid = Pid::from_raw(id).expect("a child's id is not 0");
        kill_process(pid, signal)
            .unwrap_or_else(|why| panic!("`{}` takes no signal: {why}", self.name));
    }

    /// Sends SIGTERM and waits for the end.
    ///
    /// # Panics
    /// Where it does not end within the time.
    pub fn terminate(&mut self) -> ExitStatus {
        self.signal(Signal::TERM);
        self.wait()
    }

    /// Sends SIGKILL and waits for the end.
    ///
    /// # Panics
    /// Where it does not end within the time.
    pub fn kill(&mut self) -> ExitStatus {
        self.signal(Signal::KILL);
        self.wait()
    }

    /// Waits for it to end by itself.
    ///
    /// # Panics
    /// Where it does not end within the time.
    pub fn wait(&mut self) -> ExitStatus {
        let what = format!("`{}` ends", self.name);
        eventually(&what, SOON, || self.ended())
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        // Both fail only where it has ended already.
        let _ = self.child.kill();
        let _ = self.child.wait();
        if thread::panicking() {
            eprintln!("--- `{}` said:\n{}", self.name, tail(&self.stderr()));
        }
    }
}

/// An installed program. Debian keeps servers where a plain user's search path does not reach.
#[must_use]
pub fn installed(name: &str) -> PathBuf {
    let server = Path::new("/usr/sbin").join(name);
    if server.exists() {
        server
    } else {
        PathBuf::from(name)
    }
}

fn append_to(path: &Path) -> File {
    File::options()
        .create(true)
        .append(true)
        .open(path)
        .expect("the scene's folder is writable")
}

fn lossy(path: &Path) -> String {
    String::from_utf8_lossy(&fs::read(path).unwrap_or_default()).into_owned()
}

fn tail(text: &str) -> String {
    let lines: Vec<&str> = text.lines().collect();
    lines[lines.len().saturating_sub(60)..].join("\n")
}
