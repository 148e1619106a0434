//! A stream of bytes on its way to lines: what a network connection and a child's output share.
//!
//! Memory is bounded: one chunk, one begun line, and the events of one chunk. When to read, and
//! what an end means, is the caller's.

use super::{Event, Sink};
use crate::measure::lines::{LineSplitter, Piece};
use crate::reading::Moment;
use std::io;
use tokio::io::{AsyncRead, AsyncReadExt};

/// Bytes read at once.
const CHUNK: usize = 4096;

/// An open stream.
#[derive(Debug)]
pub struct Stream<R> {
    from: R,
    splitter: LineSplitter,
    chunk: Vec<u8>,
}

impl<R: AsyncRead + Unpin> Stream<R> {
    /// A stream that starts where the splitter says: at a line's start, or within one.
    #[must_use]
    pub fn new(from: R, splitter: LineSplitter) -> Self {
        Self {
            from,
            splitter,
            chunk: vec![0; CHUNK],
        }
    }

    /// Reads into the chunk; 0 bytes are the end. A wait that is given up loses nothing.
    ///
    /// # Errors
    /// What the system says.
    pub async fn read(&mut self) -> io::Result<usize> {
        self.from.read(&mut self.chunk).await
    }

    /// Puts what the chunk's first `n` bytes complete; false where the flow has ended.
    pub async fn pass_on(&mut self, n: usize, at: Moment, sink: &Sink) -> bool {
        let mut events = Vec::new();
        let bytes = self.chunk.get(..n).unwrap_or_default();
        self.splitter
            .feed(bytes, &mut |piece| events.push(event(piece, at)));
        put_all(events, sink).await
    }

    /// Counts what was thrown away last. A begun line is no line: nobody knows how it ends.
    pub async fn finish(mut self, at: Moment, sink: &Sink) -> bool {
        let mut events = Vec::new();
        self.splitter.finish(&mut |piece| {
            if matches!(piece, Piece::Discarded { .. }) {
                events.push(event(piece, at));
            }
        });
        put_all(events, sink).await
    }
}

/// What the flow is told of a piece.
pub fn event(piece: Piece<'_>, at: Moment) -> Event {
    match piece {
        Piece::Line(line) => Event::Line {
            at,
            bytes: line.to_vec(),
        },
        Piece::Discarded { bytes, why } => Event::Discarded { bytes, why },
    }
}

/// Puts events in order; false where the flow has ended.
pub async fn put_all(events: Vec<Event>, sink: &Sink) -> bool {
    for event in events {
        if !sink.put(event).await {
            return false;
        }
    }
    true
}
