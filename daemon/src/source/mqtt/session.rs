//! One connection to the broker: client, event loop, and the task that polls it.
//!
//! A session is never mended: after an error the client library keeps state that does harm, so
//! the whole of it is thrown away.

use rumqttc::{
    AsyncClient, ConnectionError, Event, EventLoop, MqttOptions, Outgoing, Packet, Publish, QoS,
    SubscribeReasonCode,
};
use tokio::sync::mpsc;
use tokio::task::JoinHandle;

/// Requests that the library may hold: a subscription and a goodbye.
const REQUESTS: usize = 4;

/// Messages that wait for the flow. When they are as many the broker waits; a flow that is stuck
/// for longer than one and a half keep-alives costs the connection (MQTT 3.1.1, 3.1.2.10).
const WAITING: usize = 16;

/// What a session reports; pings and the like are dealt with inside.
#[derive(Debug)]
pub enum Signal {
    /// The broker accepted the connection.
    Connected,
    /// It answered the subscription: granted or not.
    Subscribed(bool),
    /// A message came.
    Message(Publish),
    /// The DISCONNECT packet went out.
    Left,
    /// The connection failed; nothing comes after it.
    Lost(Box<ConnectionError>),
    /// The polling task is gone, with no last word.
    Ended,
}

/// A connection, living or lost. Dropping it cuts it.
#[derive(Debug)]
pub struct Session {
    client: AsyncClient,
    signals: mpsc::Receiver<Signal>,
    polling: JoinHandle<()>,
}

impl Session {
    /// Starts to connect.
    #[must_use]
    pub fn open(options: MqttOptions, connect_within_s: u64) -> Self {
        let (client, mut events) = AsyncClient::new(options, REQUESTS);
        events
            .network_options
            .set_connection_timeout(connect_within_s);
        // Without it every acknowledgement may wait 40 ms for the next segment.
        events.network_options.set_tcp_nodelay(true);
        let (reports, signals) = mpsc::channel(WAITING);
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

    /// Asks for the topic with quality of service 1.
    pub fn subscribe(&self, topic: &str) {
        // It fails where the library's queue is full, which so few requests cannot make it.
        let _ = self.client.try_subscribe(topic, QoS::AtLeastOnce);
    }

    /// Says goodbye; wait for [`Signal::Left`].
    pub fn leave(&self) {
        // As above.
        let _ = self.client.try_disconnect();
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

/// Polls until the first error: polling on would make the library reconnect by itself. A task of
/// its own, since the library does not promise that a poll that is given up loses nothing.
async fn poll(mut events: EventLoop, reports: mpsc::Sender<Signal>) {
    let error = loop {
        match events.poll().await {
            Ok(event) => {
                if let Some(signal) = signal(event)
                    && reports.send(signal).await.is_err()
                {
                    return;
                }
            }
            Err(error) => break error,
        }
    };
    // What arrived in the same read as the end of the connection still counts.
    let read = std::mem::take(&mut events.state.events);
    let last = read.into_iter().filter_map(signal);
    for signal in last.chain([Signal::Lost(Box::new(error))]) {
        if reports.send(signal).await.is_err() {
            return;
        }
    }
}

fn signal(event: Event) -> Option<Signal> {
    match event {
        Event::Incoming(Packet::ConnAck(_)) => Some(Signal::Connected),
        Event::Incoming(Packet::SubAck(answer)) => {
            let is_granted = |code: &SubscribeReasonCode| *code != SubscribeReasonCode::Failure;
            Some(Signal::Subscribed(
                answer.return_codes.iter().all(is_granted),
            ))
        }
        Event::Incoming(Packet::Publish(message)) => Some(Signal::Message(message)),
        Event::Outgoing(Outgoing::Disconnect) => Some(Signal::Left),
        _ => None,
    }
}
