//! An MQTT 3.1.1 broker as a receiver.
//!
//! A message counts as delivered when the broker has acknowledged it (QoS 1) or when it was written
//! to the connection (QoS 0, lossy). What the broker then does with it is its own: most keep
//! acknowledged messages in memory only. No TLS, no MQTT 5, no subscriptions; order, cursors and
//! back-off belong to the outlet loop.

mod flight;
mod message;
mod options;
mod session;
pub mod topics;
mod trouble;

use super::{Parcel, Receipt, Receiver, Trouble, secret};
use crate::config::Mqtt;
use flight::Flight;
use message::{Encoded, Message};
use rumqttc::QoS;
use session::{Session, Signal};
use std::time::Duration;
use tokio::time::timeout;

/// Largest packet either way: a line of some thousand probes. The library's own limit of 10 KiB
/// would end the connection at thirty.
pub const MAX_PACKET_BYTES: usize = 1024 * 1024;

/// Connecting, up to the broker's answer, s. A broker in the same house answers within one.
const CONNECT_WITHIN_S: u64 = 5;

/// Longest wait for the next sign of progress while something is unacknowledged: beyond a broker's
/// hiccup, and short enough to be told apart from a quiet night.
const PATIENCE: Duration = Duration::from_secs(20);

/// Longest wait at the end for the goodbye: a stop must not hang on a dead broker.
const GOODBYE_WITHIN: Duration = Duration::from_secs(2);

/// Windows in a parcel: each parcel's end waits for the last acknowledgement, so several windows
/// keep the connection busy; a failed parcel is sent again as a whole, so not too many.
const WINDOWS_IN_BATCH: usize = 4;

/// Publishes to one broker.
pub struct MqttReceiver {
    site: String,
    settings: Mqtt,
    patience: Duration,
    warned: bool,
    session: Option<Session>,
}

impl MqttReceiver {
    /// A receiver that is not connected yet; opens and reads nothing.
    #[must_use]
    pub fn new(site: String, settings: Mqtt) -> Self {
        Self {
            site,
            settings,
            patience: PATIENCE,
            warned: false,
            session: None,
        }
    }

    /// Waits this long for the next acknowledgement before the broker counts as hung. Default 20 s.
    #[must_use]
    pub fn with_patience(mut self, patience: Duration) -> Self {
        self.patience = patience;
        self
    }

    fn window(&self) -> usize {
        usize::from(self.settings.window.max(1))
    }

    fn qos(&self) -> QoS {
        if self.settings.qos == 0 {
            QoS::AtMostOnce
        } else {
            QoS::AtLeastOnce
        }
    }

    /// The next signal of a session that owes one.
    async fn next(&self, session: &mut Session) -> Result<Signal, Trouble> {
        let signal = timeout(self.patience, session.next()).await;
        signal.map_err(|_| trouble::hung(&self.settings, self.patience))
    }

    async fn greet(&self, session: &mut Session) -> Result<(), Trouble> {
        // The library's own deadline ends this wait.
        match session.next().await {
            Signal::Connected => {
                self.transmit(session, vec![self.status("online")?], QoS::AtLeastOnce)
                    .await
            }
            other => Err(trouble::of(&other, &self.settings)),
        }
    }

    fn status(&self, text: &str) -> Result<Message, Trouble> {
        Ok(Message {
            topic: options::status_topic(&self.site, &self.settings)?,
            payload: text.into(),
            retain: true,
        })
    }

    /// Keeps up to a window of messages under way until all are done.
    async fn transmit(
        &self,
        session: &mut Session,
        messages: Vec<Message>,
        qos: QoS,
    ) -> Result<(), Trouble> {
        let of = |signal| trouble::of(&signal, &self.settings);
        let mut flight = Flight::new(qos as u8);
        let mut messages = messages.into_iter();
        loop {
            while flight.under_way() < self.window()
                && let Some(message) = messages.next()
            {
                session.hand_over(message, qos).map_err(of)?;
                flight.hand_over();
            }
            if flight.under_way() == 0 {
                return Ok(());
            }
            note(&mut flight, self.next(session).await?).map_err(of)?;
        }
    }

    async fn say_goodbye(&self, session: &mut Session) -> Result<(), Trouble> {
        self.transmit(session, vec![self.status("offline")?], QoS::AtLeastOnce)
            .await?;
        let of = |signal| trouble::of(&signal, &self.settings);
        session.leave().map_err(of)?;
        match session.next().await {
            Signal::Left => Ok(()),
            other => Err(of(other)),
        }
    }

    /// Keeps a session for what comes next only where all went well: for one that failed,
    /// acknowledgements may still come that mean nothing any more.
    async fn settle(
        &mut self,
        session: Session,
        outcome: Result<(), Trouble>,
    ) -> Result<(), Trouble> {
        match outcome {
            Ok(()) => self.session = Some(session),
            Err(_) => session.end().await,
        }
        outcome
    }

    fn warn_once_of_open_secret(&mut self) {
        if let Some(warning) = self.settings.password.as_ref().and_then(secret::warning)
            && !std::mem::replace(&mut self.warned, true)
        {
            tracing::warn!("{warning}");
        }
    }
}

/// Work takes the session out and gives it back at its end: a delivery that is dropped half way
/// leaves none behind, and the next one finds itself not connected.
impl Receiver for MqttReceiver {
    async fn connect(&mut self) -> Result<(), Trouble> {
        if let Some(old) = self.session.take() {
            old.end().await;
        }
        self.warn_once_of_open_secret();
        let options = options::build(&self.site, &self.settings)?;
        let mut session = Session::open(options, self.window(), CONNECT_WITHIN_S);
        let outcome = self.greet(&mut session).await;
        self.settle(session, outcome).await
    }

    async fn deliver(&mut self, parcel: Parcel<'_>) -> Result<Receipt, Trouble> {
        let session = self.session.take();
        let mut session = session.ok_or_else(|| trouble::not_connected(&self.settings))?;
        let Encoded { messages, refused } = message::encode(&self.site, &self.settings, parcel);
        let outcome = self.transmit(&mut session, messages, self.qos()).await;
        self.settle(session, outcome).await?;
        Ok(Receipt { refused })
    }

    async fn idle(&mut self) -> Trouble {
        let Some(session) = &mut self.session else {
            return trouble::not_connected(&self.settings);
        };
        // Nothing is under way, so whatever is reported ends the session.
        let trouble = trouble::of(&session.next().await, &self.settings);
        if let Some(session) = self.session.take() {
            session.end().await;
        }
        trouble
    }

    /// State topics are retained, and a broker that was restarted without them has forgotten.
    fn keeps_alarm_states(&self) -> bool {
        true
    }

    async fn close(&mut self) {
        let Some(mut session) = self.session.take() else {
            return;
        };
        match timeout(GOODBYE_WITHIN, self.say_goodbye(&mut session)).await {
            Ok(Ok(())) => {}
            Ok(Err(trouble)) => tracing::warn!("{trouble}; it publishes `offline` by itself"),
            Err(_) => tracing::warn!(
                "broker `{}:{}`: no answer to the goodbye; it publishes `offline` by itself",
                self.settings.host,
                self.settings.port
            ),
        }
        session.end().await;
    }

    fn batch(&self) -> usize {
        self.window() * WINDOWS_IN_BATCH
    }
}

/// What a signal means for the messages under way; gives back the one that ends the session.
fn note(flight: &mut Flight, signal: Signal) -> Result<(), Signal> {
    match signal {
        Signal::Sent(id) => flight.send(id).map_err(|_| Signal::Stuck),
        Signal::Acknowledged(id) => flight.acknowledge(id).map_err(|_| Signal::Stuck),
        other => Err(other),
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::config::{Payload, Template};

    /// The defaults of the configuration.
    pub(crate) fn settings() -> Mqtt {
        Mqtt {
            host: "127.0.0.1".into(),
            port: 1883,
            client_id: "nightbench-cellar-kitchen".into(),
            user: None,
            password: None,
            qos: 1,
            topic: Template("{site}/{probe}/reading".into()),
            backlog_topic: Template("{site}/{probe}/late".into()),
            alarm_topic: Template("{site}/{probe}/alarm/{alarm}".into()),
            status_topic: Template("{site}/status".into()),
            payload: Payload::Json,
            per_line: false,
            window: 100,
            keep_alive: Duration::from_secs(15),
        }
    }

    #[test]
    fn a_parcel_holds_several_windows_and_never_nothing() {
        let batch = |window| {
            MqttReceiver::new(
                "s".into(),
                Mqtt {
                    window,
                    ..settings()
                },
            )
            .batch()
        };
        assert_eq!((batch(100), batch(0)), (400, 4));
    }
}
