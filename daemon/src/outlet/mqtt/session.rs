//! One connection to the broker: client, event loop, and the task that polls it.
//!
//! A session is never mended. The client library drops unacknowledged messages silently on a
//! reconnect and can block for ever after an identifier collision, so after any trouble the whole
//! of it is thrown away and the log is read again from the cursor.

use super::client::{self, Client, Events, Opened, Signal, Terms};
use super::message::Message;
use super::plan::Plan;
use tokio::sync::mpsc;
use tokio::task::JoinHandle;

/// A connection, living or lost. Dropping it cuts the connection without a goodbye, so that the
/// broker publishes the last will.
pub(super) struct Session {
    client: Box<dyn Client>,
    signals: mpsc::Receiver<Signal>,
    polling: JoinHandle<()>,
    /// What the broker allows; known once it has answered.
    pub terms: Terms,
    /// Whether it has taken a reading or an alarm over this connection.
    pub has_taken: bool,
}

/// Beyond the messages under way: status message, DISCONNECT, connect and last word.
const SPARE: usize = 8;

impl Session {
    /// Starts connecting; wait for [`Signal::Connected`].
    pub fn open(plan: Plan) -> Self {
        let window = usize::from(plan.window);
        client::open(plan, window + SPARE, Start { window })
    }

    /// The next thing that happens. Nothing is lost when the wait is given up.
    pub async fn next(&mut self) -> Signal {
        self.signals.recv().await.unwrap_or(Signal::Ended)
    }

    /// Gives a message to the client library, never waiting; its payload is gone then.
    ///
    /// # Errors
    /// What ended the connection meanwhile, or [`Signal::Stuck`] where the library's queue is full,
    /// which the window rules out.
    pub fn hand_over(&mut self, message: &mut Message, acknowledged: bool) -> Result<(), Signal> {
        let given = self.client.publish(message, acknowledged);
        given.map_err(|client::Full| self.last_word())
    }

    /// Says goodbye, so that the broker does not publish the will; wait for [`Signal::Left`].
    ///
    /// # Errors
    /// As [`Session::hand_over`].
    pub fn leave(&mut self) -> Result<(), Signal> {
        let left = self.client.disconnect();
        left.map_err(|client::Full| self.last_word())
    }

    /// Why the library takes nothing: most often because the connection has just failed.
    fn last_word(&mut self) -> Signal {
        while let Ok(signal) = self.signals.try_recv() {
            if matches!(signal, Signal::Lost(_)) {
                return signal;
            }
        }
        if self.polling.is_finished() {
            Signal::Ended
        } else {
            Signal::Stuck
        }
    }

    /// Cuts the connection and returns when the polling task is gone.
    pub async fn end(mut self) {
        self.polling.abort();
        // An error here says only that it was aborted, which is what was asked for.
        let _ = (&mut self.polling).await;
    }
}

impl Drop for Session {
    fn drop(&mut self) {
        self.polling.abort();
    }
}

struct Start {
    window: usize,
}

impl Opened for Start {
    type Output = Session;

    fn with(self, client: Box<dyn Client>, events: impl Events) -> Session {
        // A message gives two signals at most, so the channel can never fill up.
        let (reports, signals) = mpsc::channel(2 * self.window + SPARE);
        Session {
            client,
            signals,
            polling: tokio::spawn(poll(events, reports)),
            terms: Terms::default(),
            has_taken: false,
        }
    }
}

/// Polls until the first error: polling on would make the library reconnect by itself.
async fn poll(mut events: impl Events, reports: mpsc::Sender<Signal>) {
    // A full channel cannot be (see `Start`); a closed one means that nobody is interested.
    let report = |signal| reports.try_send(signal).is_ok();
    let loss = loop {
        match events.poll().await {
            Ok(None) => {}
            Ok(Some(signal)) => {
                if !report(signal) {
                    return;
                }
            }
            Err(loss) => break loss,
        }
    };
    // What arrived in the same read as the end of the connection still counts.
    let read = events.rest().into_iter();
    let _ = read.chain([Signal::Lost(Box::new(loss))]).all(report);
}
