//! A simulated board on a real pseudo-terminal, for trying out and for tests: what opens it sees
//! what a serial port shows, resets and unplugging included.
//!
//! It reads nothing that is written to it. Not for boards that matter: it drops what its reader is
//! too slow for, as a board does.

use super::simulated::Lines;
use serialport::{SerialPort, TTYPort};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// What a board shows right after it was opened: the end of a line that the reset cut off, and its
/// banner.
pub const BANNER: &[u8] = b"0=51# board simulated\r\n";

/// How long it takes to come out of reset; a real one takes up to 2 s. Long enough for the reader
/// to clear what was received before.
const BOOT: Duration = Duration::from_millis(100);

/// How often the board looks whether somebody has opened it.
const LOOK: Duration = Duration::from_millis(20);

/// How long a write may wait for its reader before the rest of the line is dropped.
const PATIENCE: Duration = Duration::from_millis(100);

/// A simulated board that is plugged in; unplugged when dropped.
#[derive(Debug)]
pub struct PtyBoard {
    path: PathBuf,
    unplug: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl PtyBoard {
    /// Plugs a board in that writes these lines, one every `interval`.
    ///
    /// # Errors
    ///
    /// Where the system has no pseudo-terminal or no thread left.
    pub fn plug_in(lines: Lines, interval: Duration) -> io::Result<Self> {
        // The pair is in raw mode: no echo, no line editing. Its settings stay while the master
        // lives, so the slave's end is closed here, and opened by whoever reads the board.
        let (master, slave) = TTYPort::pair()?;
        let path = PathBuf::from(slave.name().ok_or(io::ErrorKind::NotFound)?);
        drop(slave);
        let (unplug, unplugged) = channel();
        let mut board = Board {
            master,
            lines,
            unplugged,
            is_open: false,
        };
        let thread = std::thread::Builder::new()
            .name("simulated-board".to_owned())
            .spawn(move || board.live(interval))?;
        Ok(Self {
            path,
            unplug: Some(unplug),
            thread: Some(thread),
        })
    }

    /// The device to open.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Pulls the plug; returns when the device is gone.
    pub fn unplug(self) {
        drop(self);
    }
}

impl Drop for PtyBoard {
    fn drop(&mut self) {
        // The board's thread sees the dropped sender, and drops the master.
        drop(self.unplug.take());
        if let Some(thread) = self.thread.take() {
            // A board that panicked is unplugged as well.
            let _ = thread.join();
        }
    }
}

struct Board {
    master: TTYPort,
    lines: Lines,
    unplugged: Receiver<()>,
    is_open: bool,
}

impl Board {
    /// Lives until it is unplugged.
    fn live(&mut self, interval: Duration) {
        let mut left = Duration::ZERO;
        while self.wait(left.min(LOOK)) {
            left = left.saturating_sub(LOOK);
            self.reset_if_just_opened();
            if left.is_zero() {
                left = interval;
                let line = self.lines.next_line();
                self.write(format!("{line}\r\n").as_bytes());
            }
        }
    }

    /// False where the board was unplugged meanwhile.
    fn wait(&self, time: Duration) -> bool {
        self.unplugged.recv_timeout(time) == Err(RecvTimeoutError::Timeout)
    }

    fn reset_if_just_opened(&mut self) {
        let was_open = std::mem::replace(&mut self.is_open, is_open(&mut self.master));
        if self.is_open && !was_open {
            self.wait(BOOT);
            self.write(BANNER);
        }
    }

    /// Writes to whoever has opened the board; to nobody else.
    fn write(&mut self, bytes: &[u8]) {
        if self.is_open {
            let _ = self.master.set_timeout(PATIENCE);
            // Too slow a reader, or gone meanwhile: dropped, as a board drops it.
            let _ = self.master.write_all(bytes);
        }
    }
}

/// Whether anybody has the slave's end open: else reading the master says that it was hung up.
fn is_open(master: &mut TTYPort) -> bool {
    let _ = master.set_timeout(Duration::ZERO);
    let what_the_reader_wrote = master.read(&mut [0; 256]);
    what_the_reader_wrote.map_or_else(|error| error.kind() == io::ErrorKind::TimedOut, |_| true)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::config::Scene;
    use crate::source::simulated::SimulatedInput;
    use rustix::termios::{LocalModes, OutputModes, tcgetattr};
    use std::fs::{File, OpenOptions};
    use std::io::{BufRead, BufReader};

    fn board() -> PtyBoard {
        let input = SimulatedInput {
            field: "a0".to_owned(),
            scene: Scene::Ice,
            noise_count: 0.0,
            full_scale: 1023.0,
            to_counts: Box::new(|_| 512.0),
        };
        let second = Duration::from_secs(1);
        PtyBoard::plug_in(Lines::new(vec![input], second, 1), Duration::from_millis(5)).unwrap()
    }

    fn open(board: &PtyBoard) -> File {
        let mut options = OpenOptions::new();
        options.read(true).write(true).open(board.path()).unwrap()
    }

    /// The line after the next banner.
    fn first_line_after_reset(board: &PtyBoard) -> Vec<u8> {
        let mut port = BufReader::new(open(board));
        let mut line = Vec::new();
        while line != BANNER {
            line.clear();
            port.read_until(b'\n', &mut line).unwrap();
        }
        line.clear();
        port.read_until(b'\n', &mut line).unwrap();
        line
    }

    #[test]
    #[expect(
        clippy::disallowed_methods,
        reason = "nothing tells that the board has looked"
    )]
    fn each_opening_sees_a_reset_and_then_lines() {
        let board = board();
        assert_eq!(first_line_after_reset(&board), b"a0=512\r\n");
        std::thread::sleep(5 * LOOK);
        assert_eq!(first_line_after_reset(&board), b"a0=512\r\n");
    }

    #[test]
    fn what_is_written_to_the_board_does_not_come_back() {
        let board = board();
        let mut port = open(&board);
        let modes = tcgetattr(&port).unwrap();
        assert!(
            !modes
                .local_modes
                .intersects(LocalModes::ECHO | LocalModes::ICANON)
        );
        assert!(!modes.output_modes.contains(OutputModes::OPOST));
        port.write_all(b"echo\n").unwrap();
        let lines = BufReader::new(port).lines().take(5);
        assert!(lines.map(Result::unwrap).all(|line| !line.contains("echo")));
    }

    #[test]
    fn an_unplugged_board_reads_as_ended() {
        let board = board();
        let mut port = open(&board);
        board.unplug();
        let mut rest = Vec::new();
        // Zero bytes, or an error where the kernel says it so: ended either way.
        let _ = port.read_to_end(&mut rest);
        assert_eq!(port.read(&mut [0; 8]).unwrap_or(0), 0);
    }
}
