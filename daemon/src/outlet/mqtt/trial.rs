//! One message to a broker, to see whether it takes any: over a connection of its own, with the
//! outlet's credentials and certificates, beside a running service.

use super::message::Message;
use super::session::Session;
use super::stumble::Stumbles;
use super::transit::{self, Broken};
use super::{MqttReceiver, client, plan, trouble};
use crate::config::Mqtt;
use crate::outlet::Trouble;
use plan::Plan;
use rumqttc::MqttOptions;

/// What became of it.
#[derive(Debug, PartialEq)]
pub enum Trial {
    /// The broker has acknowledged it.
    Taken,
    /// The broker lets this user in, but does not take a message on this topic; in words.
    Refused(String),
}

/// Connects as `settings` say, whose client identifier must be nobody else's, and publishes one
/// message with QoS 1 that is not retained. No status message, no last will.
///
/// # Errors
/// Why the broker could not be tried, or did not answer.
pub async fn publish_once(
    site: &str,
    settings: Mqtt,
    topic: &str,
    text: &str,
) -> Result<Trial, Trouble> {
    let plan = plan_of(site, &settings)?;
    let receiver = MqttReceiver::guest(site.to_owned(), settings);
    let mut session = Session::open(plan);
    let message = Message {
        retain: false,
        ..Message::status(topic.to_owned(), text)
    };
    let outcome = receiver.try_out(&mut session, message).await;
    session.end().await;
    outcome
}

/// What a connection beside it is made with, of version 3.1.1, for whoever listens.
///
/// # Errors
/// As [`publish_once`], where a file of the host is of no use.
pub fn options(site: &str, settings: &Mqtt) -> Result<MqttOptions, Trouble> {
    plan_of(site, settings).map(client::options)
}

/// A guest's, under the very identifier that is asked for.
fn plan_of(site: &str, settings: &Mqtt) -> Result<Plan, Trouble> {
    let plan = plan::build(site, settings, true)?;
    Ok(Plan {
        client_id: settings.client_id.clone(),
        ..plan
    })
}

impl MqttReceiver {
    async fn try_out(&self, session: &mut Session, message: Message) -> Result<Trial, Trouble> {
        self.greet(session).await?;
        let mut message = [message];
        let manner = self.manner(session, true);
        let mut none = Stumbles::default();
        let sent = transit::transmit(session, &mut message, manner, &mut none).await;
        let (settings, topic) = (&self.settings, &message[0].topic);
        let refused = sent.map_err(|broken| match broken {
            Broken::Hung => trouble::hung(settings, self.patience),
            Broken::Denied(_, why) => trouble::put_off(settings, topic, &why),
            Broken::Session(signal, _) => trouble::of(&signal, settings),
        })?;
        if let Some((_, why)) = refused.first() {
            let words = trouble::refused_message(settings, topic, why);
            return Ok(Trial::Refused(words));
        }
        // It has what it was to get: a goodbye that fails changes nothing.
        let _ = self.say_goodbye(session).await;
        Ok(Trial::Taken)
    }
}
