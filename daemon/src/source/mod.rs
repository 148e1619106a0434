//! Where boards' lines come from: one trait, one file each. Time enters here, where a line is read.

mod backoff;
pub mod file;
pub mod mqtt;
pub mod physics;
pub mod program;
pub mod pty;
pub mod replay;
pub mod retry;
pub mod serial;
pub mod simulated;
mod stream;
pub mod tcp;

use crate::reading::Moment;
use std::future::Future;
use std::pin::Pin;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

/// What a source tells the flow.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// The board was found and opened; `detail` for the journal ("/dev/… at 115200 baud").
    Opened {
        /// When.
        at: Moment,
        /// What was opened, and how.
        detail: String,
        /// Whether opening is likely to have reset the board.
        resets_board: bool,
    },
    /// The adapter in front of the board holds bytes back before it hands them on; told after each
    /// opening where it is so.
    Held {
        /// When.
        at: Moment,
        /// The adapter's driver, as the kernel names it.
        driver: String,
        /// How long a byte waits at most.
        hold: Duration,
    },
    /// One line without its end.
    Line {
        /// When its last bytes were read.
        at: Moment,
        /// The bytes as they came, bounded in length.
        bytes: Vec<u8>,
    },
    /// Bytes that were thrown away: the half line after opening, an over-long line.
    Discarded {
        /// How many.
        bytes: u64,
        /// Why.
        why: Discard,
    },
    /// Something a person may want to read, for the journal.
    Remark {
        /// When.
        at: Moment,
        /// The text.
        text: String,
    },
    /// The board is gone; the source goes on looking for it.
    Lost {
        /// When.
        at: Moment,
        /// Why, and what is done about it.
        reason: String,
    },
    /// A source with an end (a replayed file) has reached it.
    Ended {
        /// When.
        at: Moment,
    },
}

impl Event {
    /// When it happened; none for a mere count.
    #[must_use]
    pub fn at(&self) -> Option<Moment> {
        match self {
            Self::Opened { at, .. }
            | Self::Held { at, .. }
            | Self::Line { at, .. }
            | Self::Remark { at, .. }
            | Self::Lost { at, .. }
            | Self::Ended { at } => Some(*at),
            Self::Discarded { .. } => None,
        }
    }
}

/// Why bytes were thrown away.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Discard {
    /// What came before the first whole line after opening.
    AfterOpening,
    /// A line longer than [`MAX_LINE`].
    TooLong,
}

/// Longest line that is kept, bytes. A board's line is some tens of bytes; a wrong baud rate can
/// give kilobytes without an end.
pub const MAX_LINE: usize = 4096;

/// Events wait here for the flow; a source that finds it full waits (the kernel's own buffer and
/// the board's pace are behind it).
pub const EVENT_CAPACITY: usize = 1024;

/// Where a source puts its events: the flow's single way in. The number says which board.
#[derive(Debug, Clone)]
pub struct Sink {
    board: usize,
    to: mpsc::Sender<(usize, Event)>,
}

impl Sink {
    /// A way in for the board with this number.
    #[must_use]
    pub fn new(board: usize, to: mpsc::Sender<(usize, Event)>) -> Self {
        Self { board, to }
    }

    /// Puts an event; false where the flow has ended.
    pub async fn put(&self, event: Event) -> bool {
        self.to.send((self.board, event)).await.is_ok()
    }
}

/// A source runs until it is told to stop, whatever the board does meanwhile.
pub trait Source: Send {
    /// Runs until `stop`; on the way out it has put every whole line that it read.
    fn run(
        self: Box<Self>,
        sink: Sink,
        stop: CancellationToken,
    ) -> Pin<Box<dyn Future<Output = ()> + Send>>;
}

/// A speed in words, for the journal.
fn pace(speed: f64) -> String {
    if speed.is_finite() {
        format!("at {speed} times the pace of life")
    } else {
        "as fast as it goes".to_owned()
    }
}
