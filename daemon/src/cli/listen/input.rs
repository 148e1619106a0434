//! What is listened to: a port, a recorded file, or what is piped in. Bytes only; no lines here.

use super::super::Failure;
use super::port::Port;
use std::fs::File;
use std::io::{self, Read};
use std::os::unix::fs::FileTypeExt;
use std::path::Path;
use tokio::sync::mpsc;

/// Bytes read at once.
const CHUNK: usize = 4096;

/// Chunks that wait for the listener, at most.
const WAITING: usize = 4;

/// Something that bytes come from.
pub enum Input {
    /// A serial port.
    Port(Port),
    /// A file of recorded lines.
    Recorded(Chunks),
    /// Stdin, or a named pipe.
    Piped(Chunks),
}

/// Chunks that a thread reads: files and pipes cannot be waited for.
pub struct Chunks(mpsc::Receiver<io::Result<Vec<u8>>>);

impl Input {
    /// Opens a port, a file, or stdin for `-`.
    ///
    /// # Errors
    /// Where there is none, or it cannot be opened; for a person.
    pub fn open(what: &Path, baud: u32) -> Result<Self, Failure> {
        if what == Path::new("-") {
            return Ok(Self::Piped(Chunks::read(io::stdin())));
        }
        let kind = std::fs::metadata(what).map(|it| it.file_type());
        match kind {
            Ok(kind) if kind.is_dir() => {
                let shown = what.display();
                Err(Failure::new(format!(
                    "`{shown}` is a folder; name a port or a file"
                )))
            }
            Ok(kind) if kind.is_file() => Ok(Self::Recorded(Chunks::read(file(what)?))),
            Ok(kind) if kind.is_fifo() => Ok(Self::Piped(Chunks::read(file(what)?))),
            // Missing ones as well: the port's words say what to do.
            _ => Ok(Self::Port(Port::open(what, baud)?)),
        }
    }

    /// Whether it is a serial port.
    pub fn is_port(&self) -> bool {
        matches!(self, Self::Port(_))
    }

    /// How many seconds to listen: a recording ends by itself, a port never does.
    pub fn limit(&self, wanted: Option<u64>, usual: u64) -> Option<u64> {
        match self {
            Self::Port(_) => Some(wanted.unwrap_or(usual)),
            Self::Recorded(_) | Self::Piped(_) => wanted,
        }
    }

    /// The next bytes; none at the end, or where the port is gone.
    ///
    /// # Errors
    /// What the system says.
    pub async fn next(&mut self) -> io::Result<Vec<u8>> {
        match self {
            Self::Port(port) => port.next().await,
            Self::Recorded(chunks) | Self::Piped(chunks) => {
                chunks.0.recv().await.unwrap_or_else(|| Ok(Vec::new()))
            }
        }
    }
}

impl Chunks {
    /// Reads in a thread, which ends with what it reads, or with the program.
    fn read(mut from: impl Read + Send + 'static) -> Self {
        let (to, chunks) = mpsc::channel(WAITING);
        std::thread::spawn(move || {
            loop {
                let mut chunk = vec![0; CHUNK];
                let read = from.read(&mut chunk);
                let goes_on = matches!(read, Ok(1..));
                let read = read.map(|n| {
                    chunk.truncate(n);
                    chunk
                });
                if to.blocking_send(read).is_err() || !goes_on {
                    return;
                }
            }
        });
        Self(chunks)
    }
}

fn file(path: &Path) -> Result<File, Failure> {
    File::open(path)
        .map_err(|error| Failure::new(format!("`{}` cannot be read: {error}", path.display())))
}
