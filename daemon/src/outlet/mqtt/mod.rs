//! An MQTT broker as a receiver, version 3.1.1 or 5, in the clear or over TLS.
//!
//! A message counts as delivered when the broker has acknowledged it with a code that says so
//! (QoS 1) or when it was written to the connection (QoS 0, lossy). What the broker then does with
//! it is its own: most keep acknowledged messages in memory only. No subscriptions; order, cursors
//! and back-off belong to the outlet loop.

mod client;
mod flight;
mod message;
mod parcel;
mod plan;
mod reason;
mod session;
mod stumble;
pub mod topics;
mod transit;
mod trial;
mod trouble;

use super::{Parcel, Receipt, Receiver, Trouble, secret};
use crate::config::Mqtt;
use client::Signal;
use message::{Encoded, Message};
use session::Session;
use std::time::Duration;
use stumble::Stumbles;
use tokio::time::timeout;
use transit::{Broken, Manner};
pub use trial::{Trial, options, publish_once};

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

/// What the status topic holds while the service runs.
const ONLINE: &str = "online";
/// What it holds otherwise: said at the end, or by the broker as the last will.
const OFFLINE: &str = "offline";

/// Publishes to one broker.
pub struct MqttReceiver {
    site: String,
    settings: Mqtt,
    guest: bool,
    patience: Duration,
    warned: bool,
    session: Option<Session>,
    /// Outlives a connection: a message that connections die on is not forgotten by connecting.
    stumbles: Stumbles,
}

impl MqttReceiver {
    /// A receiver that is not connected yet; opens and reads nothing.
    #[must_use]
    pub fn new(site: String, settings: Mqtt) -> Self {
        Self {
            site,
            settings,
            guest: false,
            patience: PATIENCE,
            warned: false,
            session: None,
            stumbles: Stumbles::default(),
        }
    }

    /// A receiver beside the one of a running service: a client identifier of its own, no status
    /// message, no last will.
    #[must_use]
    pub fn guest(site: String, settings: Mqtt) -> Self {
        Self {
            guest: true,
            ..Self::new(site, settings)
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

    /// How messages go over a session; the status is always acknowledged.
    fn manner(&self, session: &Session, acknowledged: bool) -> Manner {
        Manner {
            acknowledged,
            window: self.window().min(session.terms.receive_maximum.max(1)),
            patience: self.patience,
        }
    }

    async fn greet(&self, session: &mut Session) -> Result<(), Trouble> {
        // The library's own deadline ends this wait.
        match session.next().await {
            Signal::Connected(terms) => session.terms = terms,
            other => return Err(trouble::while_connecting(&other, &self.settings)),
        }
        if self.guest {
            return Ok(());
        }
        self.say(session, ONLINE).await
    }

    /// Publishes the status.
    async fn say(&self, session: &mut Session, status: &str) -> Result<(), Trouble> {
        let topic = plan::status_topic(&self.site, &self.settings)?;
        let mut message = [Message::status(topic, status)];
        let manner = self.manner(session, true);
        let mut none = Stumbles::default();
        let sent = transit::transmit(session, &mut message, manner, &mut none).await;
        let [Message { topic, .. }] = &message;
        let settings = &self.settings;
        match sent {
            Ok(refused) => refused.first().map_or(Ok(()), |(_, why)| {
                Err(trouble::refuses_all(settings, topic, why))
            }),
            Err(Broken::Hung) => Err(trouble::hung(settings, self.patience)),
            Err(Broken::Denied(_, why)) => Err(trouble::put_off(settings, topic, &why)),
            Err(Broken::Session(signal, _)) => Err(trouble::of(&signal, settings)),
        }
    }

    async fn say_goodbye(&self, session: &mut Session) -> Result<(), Trouble> {
        if !self.guest {
            self.say(session, OFFLINE).await?;
        }
        let of = |signal| trouble::of(&signal, &self.settings);
        session.leave().map_err(of)?;
        match session.next().await {
            Signal::Left => Ok(()),
            other => Err(of(other)),
        }
    }

    /// Keeps a session for what comes next only where all went well: for one that failed,
    /// acknowledgements may still come that mean nothing any more.
    async fn settle<T>(
        &mut self,
        session: Session,
        outcome: Result<T, Trouble>,
    ) -> Result<T, Trouble> {
        match outcome {
            Ok(_) => self.session = Some(session),
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
        let plan = plan::build(&self.site, &self.settings, self.guest)?;
        let mut session = Session::open(plan);
        let outcome = self.greet(&mut session).await;
        self.settle(session, outcome).await
    }

    async fn deliver(&mut self, parcel: Parcel<'_>) -> Result<Receipt, Trouble> {
        let session = self.session.take();
        let mut session = session.ok_or_else(|| trouble::not_connected(&self.settings))?;
        let largest = MAX_PACKET_BYTES.min(session.terms.largest_packet);
        let mut encoded = message::encode(&self.site, &self.settings, largest, parcel);
        self.without_given_up(&mut encoded, parcel);
        let Encoded {
            messages,
            mut refused,
        } = encoded;
        let outcome = self.send(&mut session, messages).await;
        for (message, why) in self.settle(session, outcome).await? {
            let why = trouble::refused_message(&self.settings, &message.topic, &why);
            refused.extend(parcel::refusals(&message, parcel, &why));
        }
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
        !self.guest
    }

    async fn close(&mut self) {
        let Some(mut session) = self.session.take() else {
            return;
        };
        let wills = if self.guest {
            ""
        } else {
            "; it publishes `offline` by itself"
        };
        match timeout(GOODBYE_WITHIN, self.say_goodbye(&mut session)).await {
            Ok(Ok(())) => {}
            Ok(Err(trouble)) => tracing::warn!("{trouble}{wills}"),
            Err(_) => tracing::warn!(
                "{}: no answer to the goodbye{wills}",
                trouble::broker(&self.settings)
            ),
        }
        session.end().await;
    }

    fn batch(&self) -> usize {
        self.window() * WINDOWS_IN_BATCH
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::config::{MqttVersion, Payload, Template};

    /// The defaults of the configuration.
    pub(crate) fn settings() -> Mqtt {
        Mqtt {
            version: MqttVersion::V3,
            host: "127.0.0.1".into(),
            port: 1883,
            tls: None,
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
            expiry: None,
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
