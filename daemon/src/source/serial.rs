//! A board on a serial port: opened, read line by line, looked for when it is gone.
//!
//! Unplugging reads as zero bytes, never as an error; the port is then closed at once (a dead
//! descriptor makes the kernel give the board another number) and looked for under the same stable
//! name. This does not look into lines, and never writes to a board.

mod baud;
pub(crate) mod holder;
pub(crate) mod open;
mod search;
mod session;
pub(crate) mod trouble;

pub use search::Pace;

use super::{Event, Sink, Source};
use crate::clock;
use crate::reading::Moment;
use open::Opened;
use search::Search;
use session::{Ending, Session};
use std::future::Future;
use std::path::PathBuf;
use std::pin::Pin;
use tokio_util::sync::CancellationToken;
use trouble::{Scene, Trouble, explain};

/// A board on a serial port.
#[derive(Clone, Debug)]
pub struct SerialSource {
    board: String,
    port: PathBuf,
    baud: u32,
    pace: Pace,
}

impl SerialSource {
    /// The board of this label on `port`, best a stable name under `/dev/serial/by-id`. Nothing is
    /// opened yet.
    #[must_use]
    pub fn new(board: impl Into<String>, port: PathBuf, baud: u32) -> Self {
        Self {
            board: board.into(),
            port,
            baud,
            pace: Pace::default(),
        }
    }

    /// The same with other waiting times.
    #[must_use]
    pub fn with_pace(self, pace: Pace) -> Self {
        Self { pace, ..self }
    }

    async fn look_after(self, sink: Sink, stop: CancellationToken) {
        let mut search = Search::new(self.pace);
        while let Some(port) = self.find(&mut search, &sink, &stop).await {
            let since = clock::now();
            if !sink.put(self.opened(since, &port)).await {
                return;
            }
            let session = Session::new(port.stream, self.pace.baud_patience);
            let Ending::Gone(why) = session.run(&sink, &stop).await else {
                return;
            };
            let at = clock::now();
            search.lost(at.boot_ns.saturating_sub(since.boot_ns));
            let reason = self.lost(&why);
            if !sink.put(Event::Lost { at, reason }).await || !search.pause(&stop).await {
                return;
            }
        }
    }

    /// Tries until the port is open; `None` where the stop, or the flow's end, came first.
    async fn find(
        &self,
        search: &mut Search,
        sink: &Sink,
        stop: &CancellationToken,
    ) -> Option<Opened> {
        loop {
            let opened = tokio::select! {
                opened = self.open() => opened,
                () = stop.cancelled() => return None,
            };
            let trouble = match opened {
                Ok(port) => {
                    search.found();
                    return Some(port);
                }
                Err(trouble) => trouble,
            };
            let told = self.tell(search, trouble, sink).await;
            if !told || !search.pause(stop).await {
                return None;
            }
        }
    }

    /// On a thread of its own: a wedged USB device can hold up an opening for seconds, and the other
    /// boards with it.
    async fn open(&self) -> Result<Opened, Trouble> {
        let (port, baud) = (self.port.clone(), self.baud);
        let opened = tokio::task::spawn_blocking(move || open::open(&port, baud)).await;
        opened.unwrap_or_else(|_| Err(Trouble::Other("opening it failed".to_owned())))
    }

    /// Tells a trouble where it is new; false where the flow has ended.
    async fn tell(&self, search: &mut Search, trouble: Trouble, sink: &Sink) -> bool {
        let at = clock::now();
        if !search.is_news(&trouble, at.boot_ns) {
            return true;
        }
        let text = self.explain(trouble).await;
        let event = if search.counts_as_loss() {
            Event::Lost { at, reason: text }
        } else {
            Event::Remark { at, text }
        };
        sink.put(event).await
    }

    async fn explain(&self, trouble: Trouble) -> String {
        let Self { board, port, .. } = self.clone();
        let explained = tokio::task::spawn_blocking(move || {
            let device = port.canonicalize().unwrap_or_else(|_| port.clone());
            let is = |kind| trouble == kind;
            let holder = is(Trouble::Busy).then(|| holder::find_holder(&device));
            let group = is(Trouble::Denied).then(|| holder::owning_group(&device));
            let (holder, group) = (holder.flatten(), group.flatten());
            let scene = Scene {
                board: &board,
                port: &port,
                holder: holder.as_ref(),
                group: group.as_deref(),
            };
            explain(&trouble, scene)
        });
        let fallback = || format!("`{}` cannot be opened", self.port.display());
        explained.await.unwrap_or_else(|_| fallback())
    }

    fn opened(&self, at: Moment, port: &Opened) -> Event {
        let name = self.port.display();
        let behind = if port.device == self.port {
            String::new()
        } else {
            format!(" (`{}`)", port.device.display())
        };
        Event::Opened {
            at,
            detail: format!("`{name}`{behind} at {} baud", self.baud),
            resets_board: true,
        }
    }

    fn lost(&self, why: &str) -> String {
        format!(
            "{why}; what came before is kept; looking for `{}`",
            self.port.display()
        )
    }
}

impl Source for SerialSource {
    fn run(
        self: Box<Self>,
        sink: Sink,
        stop: CancellationToken,
    ) -> Pin<Box<dyn Future<Output = ()> + Send>> {
        Box::pin(self.look_after(sink, stop))
    }
}
