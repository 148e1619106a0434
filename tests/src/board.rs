//! A board on a real pseudo-terminal, with a stable name that stays when it is unplugged and gets
//! another device number, as `/dev/serial/by-id` does for USB boards.
//!
//! It knows nothing of what its lines mean.

use crate::wait::{SOON, until};
use rustix::fs::OFlags;
use rustix::io::{ioctl_fionbio, ioctl_fionread};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use std::fs::{self, File};
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// More than this many bytes unread means that nobody reads: below the 4096 that the kernel keeps.
const UNREAD_AT_MOST: u64 = 2048;

/// A line that was sent.
#[derive(Clone, Debug)]
pub struct Sent {
    /// When the kernel had taken it.
    pub at: Instant,
    /// The line without its end.
    pub line: String,
}

/// A board.
#[derive(Debug)]
pub struct Board {
    name: String,
    port: PathBuf,
    plugged: Option<Plugged>,
    dead: Vec<File>,
    sent: Vec<Sent>,
}

/// Both ends of the pseudo-terminal. The far end is held only to see what is still unread there; it
/// takes no lock.
#[derive(Debug)]
struct Plugged {
    near: File,
    far: File,
    device: PathBuf,
    /// The end of a line that the kernel took only in part.
    rest: Vec<u8>,
}

impl Plugged {
    /// Both ends are closed in child processes from the first moment on: an end that lived on in a
    /// server of another test would keep the plug from being pulled.
    fn new() -> io::Result<Self> {
        let near = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        ioctl_fionbio(&near, true)?;
        grantpt(&near)?;
        unlockpt(&near)?;
        let device = PathBuf::from(ptsname(&near, Vec::new())?.to_string_lossy().into_owned());
        let flags = i32::try_from(OFlags::NOCTTY.bits()).map_err(io::Error::other)?;
        let far = File::options()
            .read(true)
            .write(true)
            .custom_flags(flags)
            .open(&device)?;
        let mut settings = tcgetattr(&far)?;
        settings.make_raw();
        tcsetattr(&far, OptionalActions::Now, &settings)?;
        Ok(Self {
            near: File::from(near),
            far,
            device,
            rest: Vec::new(),
        })
    }

    /// Hands bytes to the kernel, after what was left of earlier ones. False where it takes none.
    fn offer(&mut self, bytes: &[u8]) -> bool {
        let left = std::mem::take(&mut self.rest);
        let taken = self.taken(&left);
        self.rest = left[taken..].to_vec();
        if !self.rest.is_empty() {
            return false;
        }
        let taken = self.taken(bytes);
        if taken > 0 {
            self.rest = bytes[taken..].to_vec();
        }
        taken > 0 || bytes.is_empty()
    }

    fn taken(&mut self, bytes: &[u8]) -> usize {
        match self.near.write(bytes) {
            Ok(taken) => taken,
            Err(full) if full.kind() == io::ErrorKind::WouldBlock => 0,
            Err(why) => panic!("the board's own end: {why}"),
        }
    }
}

impl Board {
    /// A board that is plugged in; its stable name is a link in `folder`.
    ///
    /// # Panics
    /// Where the system has no pseudo-terminal to give.
    #[must_use]
    pub fn plugged_in(name: &str, folder: &Path) -> Self {
        let mut board = Self {
            name: name.to_owned(),
            port: folder.join(format!("usb-{name}-if00")),
            plugged: None,
            dead: Vec::new(),
            sent: Vec::new(),
        };
        board.replug();
        board
    }

    /// Its name in the configuration.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The stable name of its port.
    #[must_use]
    pub fn port(&self) -> &Path {
        &self.port
    }

    /// Where the stable name points now.
    #[must_use]
    pub fn device(&self) -> Option<PathBuf> {
        fs::read_link(&self.port).ok()
    }

    /// Every line that was sent, oldest first.
    #[must_use]
    pub fn sent(&self) -> &[Sent] {
        &self.sent
    }

    /// Sends a line and remembers it; waits while the reader is behind.
    ///
    /// # Panics
    /// Where nobody reads.
    pub fn send_line(&mut self, line: &str) {
        until("somebody reads the board's lines", SOON, || self.is_read());
        until("the kernel takes the line", SOON, || self.put(line));
        until("the kernel takes all of the line", SOON, || {
            self.plugged().offer(b"")
        });
    }

    /// As [`Board::send_line`], but drops the line, as a board does, where nobody reads. Says whether
    /// it was sent.
    ///
    /// # Panics
    /// Where the board is unplugged.
    pub fn send_line_or_drop_it(&mut self, line: &str) -> bool {
        self.is_read() && self.put(line)
    }

    /// Sends bytes as they are; they are not remembered.
    ///
    /// # Panics
    /// Where nobody reads.
    pub fn send_bytes(&mut self, bytes: &[u8]) {
        for piece in bytes.chunks(1024) {
            until("somebody reads the board's bytes", SOON, || self.is_read());
            until("the kernel takes the bytes", SOON, || {
                self.plugged().offer(piece)
            });
            until("the kernel takes all of the bytes", SOON, || {
                self.plugged().offer(b"")
            });
        }
    }

    /// Waits until the reader has taken everything.
    ///
    /// # Panics
    /// Where it does not.
    pub fn wait_until_read(&self) {
        // The kernel hands bytes over in the background: what counts is that nothing stays.
        let mut clear_since = None;
        until("all bytes of the board are read", SOON, || {
            clear_since = (self.unread() == 0).then(|| clear_since.unwrap_or_else(Instant::now));
            clear_since.is_some_and(|since| since.elapsed() > Duration::from_millis(100))
        });
    }

    /// Pulls the plug: the stable name vanishes, the reader's descriptor is dead.
    ///
    /// # Panics
    /// Where it is unplugged already.
    pub fn unplug(&mut self) {
        let Plugged { near, far, .. } = self.plugged.take().expect("is plugged in");
        fs::remove_file(&self.port).expect("the stable name is there");
        drop(near);
        // Keeping the dead end keeps its number: the board comes back under another one.
        self.dead.push(far);
    }

    /// Plugs it in again, under another device number but the same stable name.
    ///
    /// # Panics
    /// Where it is plugged in, or where the system has no pseudo-terminal to give.
    pub fn replug(&mut self) {
        assert!(self.plugged.is_none(), "is plugged in already");
        let plugged = Plugged::new().expect("the system has a pseudo-terminal to give");
        symlink(&plugged.device, &self.port).expect("the scene's folder is writable");
        self.plugged = Some(plugged);
    }

    fn put(&mut self, line: &str) -> bool {
        let is_taken = self.plugged().offer(format!("{line}\n").as_bytes());
        if is_taken {
            self.sent.push(Sent {
                at: Instant::now(),
                line: line.to_owned(),
            });
        }
        is_taken
    }

    fn plugged(&mut self) -> &mut Plugged {
        self.plugged.as_mut().expect("is plugged in")
    }

    fn is_read(&self) -> bool {
        self.unread() < UNREAD_AT_MOST
    }

    fn unread(&self) -> u64 {
        let plugged = self.plugged.as_ref().expect("is plugged in");
        ioctl_fionread(&plugged.far).expect("the far end is alive")
    }
}

impl Drop for Board {
    /// Takes the stable name away before the number is free: a service that still looks for it would
    /// open whatever board gets the number next.
    fn drop(&mut self) {
        let _ = fs::remove_file(&self.port);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs::File;
    use std::io::{BufRead, BufReader, Read};
    use std::thread;

    fn open(board: &Board) -> BufReader<File> {
        BufReader::new(File::open(board.port()).expect("the stable name leads to a port"))
    }

    #[test]
    fn a_reader_gets_the_lines_that_were_sent() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut board = Board::plugged_in("bench", folder.path());
        let mut reader = open(&board);
        board.send_line("a0=1");
        board.send_line("a0=2");
        let lines: Vec<String> = reader
            .by_ref()
            .lines()
            .take(2)
            .map(Result::unwrap_or_default)
            .collect();
        assert_eq!(lines, ["a0=1", "a0=2"]);
        assert_eq!(board.sent().len(), 2);
        board.wait_until_read();
    }

    #[test]
    fn an_unplugged_board_reads_as_an_end_and_comes_back_under_another_number() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut board = Board::plugged_in("bench", folder.path());
        let before = board.device();
        let mut reader = open(&board);
        board.unplug();
        let mut rest = Vec::new();
        assert!(matches!(reader.read_to_end(&mut rest), Ok(0) | Err(_)));
        assert!(!board.port().exists());
        board.replug();
        assert_ne!(board.device(), before);
    }

    #[test]
    fn what_nobody_reads_is_dropped_by_the_board_not_by_the_kernel() {
        let folder = tempfile::tempdir().expect("a folder");
        let mut board = Board::plugged_in("bench", folder.path());
        let taken = (0..2000)
            .filter(|_| board.send_line_or_drop_it("a0=512 a1=100"))
            .count();
        assert!(taken < 2000);
        let sent = board.sent().len();
        let reader = open(&board);
        let all = thread::spawn(move || {
            reader
                .lines()
                .take(sent + 1)
                .map_while(Result::ok)
                .collect()
        });
        board.send_line("the end");
        let all: Vec<String> = all.join().expect("the reader ends");
        assert_eq!(all.len(), sent + 1);
        assert!(all[..sent].iter().all(|line| line == "a0=512 a1=100"));
        assert_eq!(all[sent], "the end");
    }
}
