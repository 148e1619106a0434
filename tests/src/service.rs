//! The program at work on a scene: started, asked, reloaded, stopped, killed.

use crate::binary::nightbench;
use crate::board::Board;
use crate::log::Log;
use crate::process::Process;
use crate::scene::Scene;
use crate::wait::{SOON, eventually, until};
use rustix::process::Signal;
use std::cell::Cell;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// `nightbench serve` with a scene's configuration.
#[derive(Debug)]
pub struct Service {
    process: Process,
    log: Log,
    /// The journal's number up to which "opened" is an old story.
    known: Cell<i64>,
}

impl Service {
    /// Writes the scene's configuration and starts; returns when the program says that it is ready.
    ///
    /// # Panics
    /// Where it does not get ready.
    #[must_use]
    pub fn start(scene: &Scene) -> Self {
        Self::start_by(scene, &mut Command::new(nightbench()))
    }

    /// As [`Service::start`], by another command that ends in the program.
    ///
    /// # Panics
    /// Where it does not get ready.
    #[must_use]
    pub fn start_by(scene: &Scene, command: &mut Command) -> Self {
        scene.write();
        let log = Log::at(&scene.log());
        let known = Cell::new(log.highest().1);
        let command = command.arg("serve").arg("--config").arg(scene.file());
        let before = ready_lines(&said(scene.folder()));
        let mut process = Process::start("service", scene.folder(), command);
        until("the service says that it is ready", SOON, || {
            assert!(process.ended().is_none(), "the service ended at once");
            ready_lines(&process.stderr()) > before
        });
        Self {
            process,
            log,
            known,
        }
    }

    /// Starts, and returns when every board is open and heard: what the boards send from then on
    /// counts.
    ///
    /// # Panics
    /// Where it does not get ready, or does not open a board.
    #[must_use]
    pub fn start_with(scene: &Scene, boards: &mut [&mut Board]) -> Self {
        let service = Self::start(scene);
        for board in boards {
            service.hears(board);
        }
        service
    }

    /// Waits until the service has opened the board, then lets the board greet it. The greeting ends
    /// the half line that a reader must expect after opening. For a board that is replugged, tell
    /// [`Service::forgets_openings`] first.
    ///
    /// # Panics
    /// Where the service does not open it.
    pub fn hears(&self, board: &mut Board) {
        let what = format!("the service has opened board `{}`", board.name());
        until(&what, SOON, || {
            self.holds(board) && self.has_journalled(board)
        });
        board.send_bytes(format!("\n# board {}\n", board.name()).as_bytes());
        board.wait_until_read();
    }

    /// From here on, only a board that is opened anew counts as open.
    pub fn forgets_openings(&self) {
        self.known.set(self.log.highest().1);
    }

    /// The log that it writes.
    #[must_use]
    pub fn log(&self) -> &Log {
        &self.log
    }

    /// What it has said on stderr, starts before this one included.
    #[must_use]
    pub fn said(&self) -> String {
        self.process.stderr()
    }

    /// Waits until it has said this on stderr.
    ///
    /// # Panics
    /// Where it does not.
    pub fn says(&self, words: &str) {
        until(&format!("the service says `{words}`"), SOON, || {
            self.said().contains(words)
        });
    }

    /// Waits for this many committed readings of a probe.
    ///
    /// # Panics
    /// Where they do not come.
    pub fn has_logged(&self, count: usize, probe: &str) {
        let what = format!("{count} readings of `{probe}` in the log");
        until(&what, SOON, || self.log.count(probe) >= count);
    }

    /// SIGTERM: waits for the end, which must be a clean one.
    ///
    /// # Panics
    /// Where the exit code is not 0.
    pub fn stop(mut self) {
        let status = self.process.terminate();
        assert!(status.success(), "stopped with {status}");
    }

    /// SIGKILL: what a power cut does to the program.
    ///
    /// # Panics
    /// Where it does not end.
    pub fn kill(mut self) {
        self.process.kill();
    }

    /// SIGHUP: reads its configuration anew.
    ///
    /// # Panics
    /// Where it is gone.
    pub fn reload(&self) {
        self.process.signal(Signal::HUP);
    }

    /// Numbers of the processes that it has started and that run.
    #[must_use]
    pub fn children(&self) -> Vec<String> {
        let threads = fs::read_dir(format!("/proc/{}/task", self.process.id()));
        let threads = threads.into_iter().flatten().flatten();
        let of_thread = |path: PathBuf| fs::read_to_string(path.join("children"));
        let lists = threads.filter_map(|thread| of_thread(thread.path()).ok());
        let numbers = |list: String| {
            list.split_whitespace()
                .map(str::to_owned)
                .collect::<Vec<_>>()
        };
        lists.flat_map(numbers).collect()
    }

    /// Whether the process has the board's device open: asked of the kernel, not of the program.
    fn holds(&self, board: &Board) -> bool {
        let device = board.device();
        let files = fs::read_dir(format!("/proc/{}/fd", self.process.id()));
        files.is_ok_and(|mut files| {
            files.any(|file| file.is_ok_and(|file| fs::read_link(file.path()).ok() == device))
        })
    }

    fn has_journalled(&self, board: &Board) -> bool {
        let entries = self.log.entries(board.name(), "opened");
        entries.iter().any(|entry| entry.seq > self.known.get())
    }
}

/// Runs the program to its end with these arguments.
///
/// # Panics
/// Where it cannot be started.
#[must_use]
pub fn run(arguments: &[&str]) -> Output {
    Command::new(nightbench())
        .args(arguments)
        .output()
        .expect("the program was built")
}

/// Both outputs as one text.
#[must_use]
pub fn words(output: &Output) -> String {
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    text(&output.stdout) + &text(&output.stderr)
}

/// Waits for a committed journal entry of `subject` that holds `word`; gives its text.
///
/// # Panics
/// Where none comes.
#[must_use]
pub fn journalled(log: &Log, subject: &str, word: &str) -> String {
    let what = format!("a journal entry of `{subject}` with `{word}`");
    eventually(&what, SOON, || {
        log.entries(subject, word)
            .last()
            .map(|entry| entry.text.clone())
    })
}

fn said(folder: &Path) -> String {
    fs::read_to_string(folder.join("service.err")).unwrap_or_default()
}

fn ready_lines(said: &str) -> usize {
    let is_word = |line: &&str| {
        line.split(|c: char| !c.is_alphanumeric())
            .any(|word| word == "ready")
    };
    said.lines().filter(is_word).count()
}
