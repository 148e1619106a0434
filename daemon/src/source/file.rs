//! Numbers that stand in files, read again and again: the kernel's converters and 1-wire sensors.
//!
//! Each round makes one line of `name=number` pairs, dated when its last file was read; a file that
//! cannot be read leaves its field out. A read may take its time (750 ms for a 1-wire conversion),
//! so it is done beside the flow, one file after the other, one round at a time; rounds that fall
//! into a long one are left out. Nothing is written to a file.

mod number;
mod round;

use super::{Event, Sink, Source};
use crate::clock;
use crate::config::PolledFiles;
use number::read_all;
pub use number::read_one;
use round::Rounds;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;
use tokio::time::{Interval, MissedTickBehavior, interval, timeout};
use tokio_util::sync::CancellationToken;

/// A round that takes longer is told as a loss; it is waited for all the same, since nothing can
/// call it back. A dozen 1-wire sensors take 9 s.
const PATIENCE: Duration = Duration::from_secs(15);

/// A board made of files.
#[derive(Clone, Debug)]
pub struct FileSource {
    board: String,
    files: Arc<PolledFiles>,
}

impl FileSource {
    /// The board of this label in these files. Nothing is read yet.
    #[must_use]
    pub fn new(board: impl Into<String>, files: PolledFiles) -> Self {
        Self {
            board: board.into(),
            files: Arc::new(files),
        }
    }

    async fn poll(self, sink: Sink, stop: CancellationToken) {
        let mut clockwork = clockwork(self.files.every);
        let mut rounds = Rounds::new(self.board.clone(), Arc::clone(&self.files));
        loop {
            let next = self.next_round(&mut clockwork, &mut rounds, &sink);
            let events = tokio::select! {
                biased;
                () = stop.cancelled() => return,
                events = next => events,
            };
            for event in events {
                if !sink.put(event).await {
                    return;
                }
            }
        }
    }

    /// What the next round tells; a round that is waited for too long is told meanwhile.
    async fn next_round(
        &self,
        clockwork: &mut Interval,
        rounds: &mut Rounds,
        sink: &Sink,
    ) -> Vec<Event> {
        clockwork.tick().await;
        let files = Arc::clone(&self.files);
        let mut reading = tokio::task::spawn_blocking(move || read_all(&files));
        let results = match timeout(PATIENCE, &mut reading).await {
            Ok(results) => results,
            Err(_) => {
                if let Some(event) = rounds.hangs(clock::now(), PATIENCE) {
                    // Where the flow has ended the next event tells.
                    sink.put(event).await;
                }
                reading.await
            }
        };
        let at = clock::now();
        results.map_or_else(|_| Vec::new(), |results| rounds.take(at, &results))
    }
}

fn clockwork(every: Duration) -> Interval {
    let mut clockwork = interval(every);
    clockwork.set_missed_tick_behavior(MissedTickBehavior::Skip);
    clockwork
}

impl Source for FileSource {
    fn run(
        self: Box<Self>,
        sink: Sink,
        stop: CancellationToken,
    ) -> Pin<Box<dyn Future<Output = ()> + Send>> {
        Box::pin(self.poll(sink, stop))
    }
}
