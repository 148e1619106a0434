//! One opening of a port, from the first byte to the last.
//!
//! Memory is bounded: one chunk, one begun line, and the events of one chunk. A full sink makes
//! this wait; behind it are the kernel's buffer and the board's own pace.

use super::baud::BaudWatch;
use crate::clock;
use crate::measure::lines::{LineSplitter, Piece};
use crate::reading::Moment;
use crate::source::{Event, Sink};
use crate::words;
use std::io;
use std::time::Duration;
use tokio::io::AsyncReadExt;
use tokio_serial::SerialStream;
use tokio_util::sync::CancellationToken;

/// Bytes read at once: as many as a terminal's line buffer holds (4095, N_TTY_BUF_SIZE less one).
const CHUNK: usize = 4096;

/// Chunks read at most after the stop, so that a board that never pauses cannot hold it up.
const LAST_CHUNKS: usize = 16;

/// How a session ended.
#[derive(Debug)]
pub enum Ending {
    /// By the stop, or by the flow's end.
    Stopped,
    /// The port is gone, and why; it is closed.
    Gone(String),
}

/// An open port on its way to lines.
#[derive(Debug)]
pub struct Session {
    port: SerialStream,
    splitter: LineSplitter,
    watch: BaudWatch,
}

enum Step {
    Stop,
    Read(io::Result<usize>),
    Judge,
}

impl Session {
    /// A session on a port that was just opened, so perhaps in the middle of a line.
    #[must_use]
    pub fn new(port: SerialStream, baud_patience: Duration) -> Self {
        let patience_ns = u64::try_from(baud_patience.as_nanos()).unwrap_or(u64::MAX);
        Self {
            port,
            splitter: LineSplitter::after_opening(),
            watch: BaudWatch::new(patience_ns),
        }
    }

    /// Reads until the port is gone or the stop comes.
    pub async fn run(mut self, sink: &Sink, stop: &CancellationToken) -> Ending {
        let mut chunk = vec![0; CHUNK];
        loop {
            let step = self.wait(&mut chunk, stop).await;
            let at = clock::now();
            let flows = match step {
                Step::Stop => return self.drain(&mut chunk, sink).await,
                // The kernel's word for a port that was hung up.
                Step::Read(Ok(0)) => return self.close("unplugged, or without power", sink).await,
                Step::Read(Err(error)) => return self.close(&words::system(&error), sink).await,
                Step::Read(Ok(n)) => self.pass_on(&chunk[..n], at, sink).await,
                Step::Judge => true,
            };
            if !flows || !self.doubt_baud(at, sink).await {
                return Ending::Stopped;
            }
        }
    }

    /// The one place where a session waits for anything but the sink. Dropping a read that is not
    /// finished loses nothing.
    async fn wait(&mut self, chunk: &mut [u8], stop: &CancellationToken) -> Step {
        tokio::select! {
            biased;
            () = stop.cancelled() => Step::Stop,
            read = self.port.read(chunk) => Step::Read(read),
            () = sleep_until(self.watch.due_ns()) => Step::Judge,
        }
    }

    /// Puts what the bytes complete; false where the flow has ended.
    async fn pass_on(&mut self, bytes: &[u8], at: Moment, sink: &Sink) -> bool {
        self.watch.look(bytes, at.boot_ns);
        let mut events = Vec::new();
        self.splitter
            .feed(bytes, &mut |piece| events.push(event(piece, at)));
        put_all(events, sink).await
    }

    async fn doubt_baud(&mut self, at: Moment, sink: &Sink) -> bool {
        match self.watch.judge(at.boot_ns) {
            Some(text) => sink.put(Event::Remark { at, text }).await,
            None => true,
        }
    }

    /// After the stop: passes on what is already there, without waiting for more.
    async fn drain(mut self, chunk: &mut [u8], sink: &Sink) -> Ending {
        for _ in 0..LAST_CHUNKS {
            let Ok(n @ 1..) = self.port.try_read(chunk) else {
                break;
            };
            if !self.pass_on(&chunk[..n], clock::now(), sink).await {
                break;
            }
        }
        Ending::Stopped
    }

    /// Closes the port first, then counts what was thrown away last. A begun line is no line.
    async fn close(self, why: &str, sink: &Sink) -> Ending {
        let Self {
            port, mut splitter, ..
        } = self;
        drop(port);
        let (at, mut events) = (clock::now(), Vec::new());
        splitter.finish(&mut |piece| {
            if matches!(piece, Piece::Discarded { .. }) {
                events.push(event(piece, at));
            }
        });
        put_all(events, sink).await;
        Ending::Gone(why.to_owned())
    }
}

fn event(piece: Piece<'_>, at: Moment) -> Event {
    match piece {
        Piece::Line(line) => Event::Line {
            at,
            bytes: line.to_vec(),
        },
        Piece::Discarded { bytes, why } => Event::Discarded { bytes, why },
    }
}

async fn put_all(events: Vec<Event>, sink: &Sink) -> bool {
    for event in events {
        if !sink.put(event).await {
            return false;
        }
    }
    true
}

/// Sleeps until the boot clock shows `due_ns`; for ever where there is nothing to wait for.
async fn sleep_until(due_ns: Option<u64>) {
    match due_ns {
        Some(due) => {
            let left = due.saturating_sub(clock::now().boot_ns);
            tokio::time::sleep(Duration::from_nanos(left)).await;
        }
        None => std::future::pending().await,
    }
}
