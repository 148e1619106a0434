//! A board on a pseudo-terminal that writes lines of eight counts.

use crate::PROBES;
use crate::broker::Subscriber;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use std::fmt::Write as _;
use std::fs::File;
use std::io::Write;
use std::path::PathBuf;
use std::time::{Duration, Instant};

/// A line's number is found again in its counts, which stay within the converter.
pub const FIRST_COUNT: u64 = 1000;
/// Lines after which the counts repeat.
pub const COUNTS: u64 = 2000;

/// The board.
#[derive(Debug)]
pub struct Board {
    master: File,
    /// The device to open.
    pub path: PathBuf,
    text: String,
}

impl Board {
    /// A new terminal; nobody has opened it.
    pub fn new() -> Self {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let master = openpt(flags).expect("a pseudo-terminal");
        grantpt(&master).expect("its slave's rights");
        unlockpt(&master).expect("its slave");
        let name = ptsname(&master, Vec::new()).expect("its slave's name");
        Self {
            master: File::from(master),
            path: PathBuf::from(name.into_string().expect("a name in ASCII")),
            text: String::new(),
        }
    }

    /// Writes lines until one has come out at the other end, and all that were written have.
    pub fn settle(&mut self, subscriber: &Subscriber) {
        for _ in 0..200 {
            let _ = self.master.write_all(b"\n");
            self.write_line(0);
            if subscriber.count(1, Duration::from_millis(100), || {}) > 0 {
                break;
            }
        }
        while subscriber.count(1, Duration::from_millis(1500), || {}) > 0 {}
    }

    /// Writes one line; gives when it began to.
    pub fn write_line(&mut self, line: u64) -> Instant {
        let count = FIRST_COUNT + line % COUNTS;
        self.text.clear();
        for probe in 0..PROBES {
            let _ = write!(self.text, "c{probe}={count} ");
        }
        self.text.push('\n');
        let at = Instant::now();
        self.master
            .write_all(self.text.as_bytes())
            .expect("the terminal takes it");
        at
    }
}
