//! Whether a broker passes on what it acknowledges. Under MQTT 3.1.1 the acknowledgement does not
//! say: a broker that forbids a message can only close the connection or acknowledge it all the
//! same (3.3.5, MQTT-3.3.5-2). Version 5 has a code for it and needs no echo.
//!
//! Publishes nothing itself.

use super::TRIED_WITHIN;
use crate::config::Mqtt;
use crate::outlet::mqtt::options;
use crate::source::mqtt::{Session, Signal};
use std::time::Duration;
use tokio::time::timeout;

/// Longest wait for the message after its acknowledgement: most brokers send it before that.
const PASSED_ON_WITHIN: Duration = Duration::from_secs(2);

/// A subscription to one topic, over a connection of its own.
pub struct Ear {
    session: Session,
}

impl Ear {
    /// Connects beside the connection that `settings` are for, and subscribes; `None` where the
    /// broker does not let this user read the topic, or cannot be reached: then nothing is heard.
    pub async fn open(site: &str, settings: &Mqtt, topic: &str) -> Option<Self> {
        let settings = Mqtt {
            client_id: format!("{}-ear", settings.client_id),
            ..settings.clone()
        };
        let options = options(site, &settings).ok()?;
        let mut session = Session::open(options, TRIED_WITHIN.as_secs());
        loop {
            match session.next().await {
                Signal::Connected => session.subscribe(topic),
                Signal::Subscribed(true) => return Some(Self { session }),
                // What was retained there.
                Signal::Message(_) => {}
                Signal::Subscribed(false) | Signal::Lost(_) | Signal::Left | Signal::Ended => {
                    session.end().await;
                    return None;
                }
            }
        }
    }

    /// Waits for a message with this text, two seconds at most.
    pub async fn hears(mut self, text: &str) -> bool {
        let came = timeout(PASSED_ON_WITHIN, comes(&mut self.session, text)).await;
        self.session.leave();
        self.session.end().await;
        came.unwrap_or(false)
    }
}

async fn comes(session: &mut Session, text: &str) -> bool {
    loop {
        match session.next().await {
            Signal::Message(message) if message.payload == text.as_bytes() => return true,
            Signal::Lost(_) | Signal::Left | Signal::Ended => return false,
            _ => {}
        }
    }
}
