//! One connection to the broker: client, event loop, and the task that polls it.
//!
//! A session is never mended. The client library drops unacknowledged messages silently on a
//! reconnect and can block for ever after an identifier collision, so after any trouble the whole
//! of it is thrown away and the log is read again from the cursor.

use super::message::Message;
use rumqttc::{AsyncClient, ConnectionError, Event, EventLoop, MqttOptions, Outgoing, Packet, QoS};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;

/// What a session reports; pings and the like are dealt with inside.
#[derive(Debug)]
pub(super) enum Signal {
    /// The broker accepted the connection.
    Connected,
    /// The oldest message handed over went out under this identifier (0 at QoS 0).
    Sent(u16),
    /// The broker acknowledged this identifier.
    Acknowledged(u16),
    /// The DISCONNECT packet went out.
    Left,
    /// The library cannot go on sending: an identifier is still in use.
    Stuck,
    /// The connection failed; nothing comes after it.
    Lost(Box<ConnectionError>),
    /// The polling task is gone, with no last word.
    Ended,
}

/// A connection, living or lost. Dropping it cuts the connection without a goodbye, so that the
/// broker publishes the last will.
pub(super) struct Session {
    client: AsyncClient,
    signals: mpsc::Receiver<Signal>,
    polling: JoinHandle<()>,
}

/// Beyond the messages under way: status message, DISCONNECT, connect and last word.
const SPARE: usize = 8;

impl Session {
    /// Starts connecting with at most `window` messages under way; wait for [`Signal::Connected`].
    pub fn open(options: MqttOptions, window: usize, connect_within_s: u64) -> Self {
        let (client, mut events) = AsyncClient::new(options, window + SPARE);
        events
            .network_options
            .set_connection_timeout(connect_within_s);
        // Without it every acknowledgement may wait 40 ms for the next segment.
        events.network_options.set_tcp_nodelay(true);
        // A message gives two signals at most, so the channel can never fill up.
        let (reports, signals) = mpsc::channel(2 * window + SPARE);
        let polling = tokio::spawn(poll(events, reports));
        Self {
            client,
            signals,
            polling,
        }
    }

    /// The next thing that happens. Nothing is lost when the wait is given up.
    pub async fn next(&mut self) -> Signal {
        self.signals.recv().await.unwrap_or(Signal::Ended)
    }

    /// Gives a message to the client library, never waiting.
    ///
    /// # Errors
    /// [`Signal::Stuck`] where the library's queue is full, which the window rules out.
    pub fn hand_over(&self, message: Message, qos: QoS) -> Result<(), Signal> {
        let Message {
            topic,
            payload,
            retain,
        } = message;
        self.client
            .try_publish(topic, qos, retain, payload)
            .map_err(|_| Signal::Stuck)
    }

    /// Says goodbye, so that the broker does not publish the will; wait for [`Signal::Left`].
    ///
    /// # Errors
    /// [`Signal::Stuck`] where the library's queue is full.
    pub fn leave(&self) -> Result<(), Signal> {
        self.client.try_disconnect().map_err(|_| Signal::Stuck)
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

/// Polls until the first error: polling on would make the library reconnect by itself.
async fn poll(mut events: EventLoop, reports: mpsc::Sender<Signal>) {
    // A full channel cannot be (see `open`); a closed one means that nobody is interested.
    let report = |signal| reports.try_send(signal).is_ok();
    let error = loop {
        match events.poll().await {
            Ok(event) if signal(&event).is_none_or(report) => {}
            Ok(_) => return,
            Err(error) => break error,
        }
    };
    // What arrived in the same read as the end of the connection still counts.
    let read = events.state.events.iter().filter_map(signal);
    let _ = read.chain([Signal::Lost(Box::new(error))]).all(report);
}

fn signal(event: &Event) -> Option<Signal> {
    match event {
        Event::Incoming(Packet::ConnAck(_)) => Some(Signal::Connected),
        Event::Incoming(Packet::PubAck(acknowledged)) => {
            Some(Signal::Acknowledged(acknowledged.pkid))
        }
        Event::Outgoing(Outgoing::Publish(id)) => Some(Signal::Sent(*id)),
        Event::Outgoing(Outgoing::AwaitAck(_)) => Some(Signal::Stuck),
        Event::Outgoing(Outgoing::Disconnect) => Some(Signal::Left),
        _ => None,
    }
}
