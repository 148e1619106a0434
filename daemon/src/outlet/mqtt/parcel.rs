//! A parcel over a session: what became of it as a whole, where it broke off or was refused in
//! part. What goes into the messages, and how they travel, is elsewhere.

use super::client::{Denial, Signal};
use super::message::{Encoded, Message};
use super::reason::{self, Verdict};
use super::session::Session;
use super::stumble::{Death, Fate, Key};
use super::transit::{self, Broken, Refused};
use super::{MqttReceiver, trouble};
use crate::outlet::{Parcel, Refusal, Trouble};

impl MqttReceiver {
    /// Sends a parcel's messages; gives what the broker refuses for good.
    pub(super) async fn send(
        &mut self,
        session: &mut Session,
        mut messages: Vec<Message>,
    ) -> Result<Vec<(Message, Denial)>, Trouble> {
        let manner = self.manner(session, self.settings.qos > 0);
        let sent = transit::transmit(session, &mut messages, manner, &mut self.stumbles).await;
        let refused = sent.map_err(|broken| self.judge(broken, &messages, manner.window))?;
        if let Some(first) = messages.first() {
            self.stumbles.delivered(first.key);
        }
        self.check_some_taken(session, &messages, &refused)?;
        let denied = |(at, why): Refused| (messages[at].clone(), why);
        Ok(refused.into_iter().map(denied).collect())
    }

    /// What broke a parcel off, and what it says of the message it broke off at.
    fn judge(&mut self, broken: Broken, messages: &[Message], window: usize) -> Trouble {
        let settings = &self.settings;
        let (trouble, fallen) = match broken {
            Broken::Hung => (trouble::hung(settings, self.patience), None),
            Broken::Denied(at, why) => {
                let fallen = reason::verdict(why.reason) == Verdict::Stumbles;
                let trouble = trouble::put_off(settings, &messages[at].topic, &why);
                (trouble, fallen.then_some((at, true)))
            }
            Broken::Session(signal, first) => {
                let fallen = first.filter(|_| may_be_the_messages_fault(&signal));
                (trouble::of(&signal, settings), fallen)
            }
        };
        let (Some((at, alone)), [first, ..]) = (fallen, messages) else {
            return trouble;
        };
        let topic = &messages[at].topic;
        let fate = self.stumbles.died(Death {
            parcel: first.key,
            key: messages[at].key,
            topic,
            alone,
            window,
        });
        match fate {
            Fate::Again | Fate::GivenUp => trouble,
            Fate::ForAPerson => trouble::stumbles_over_all(settings, topic),
        }
    }

    /// A broker that has taken no reading over this connection and refuses all of these is not
    /// set up yet: they are kept until it is. Alarms are not kept: they go before everything else,
    /// and one that is not taken must not hold up the readings.
    fn check_some_taken(
        &self,
        session: &mut Session,
        messages: &[Message],
        refused: &[Refused],
    ) -> Result<(), Trouble> {
        let readings = matches!(messages.first(), Some(it) if matches!(it.key, Key::Reading(_)));
        session.has_taken |= readings && refused.len() < messages.len();
        match refused.first() {
            Some((at, why)) if readings && !session.has_taken => {
                let topic = &messages[*at].topic;
                Err(trouble::refuses_all(&self.settings, topic, why))
            }
            _ => Ok(()),
        }
    }

    /// Takes out the messages that were given up on an earlier connection.
    pub(super) fn without_given_up(&self, encoded: &mut Encoded, parcel: Parcel<'_>) {
        let given_up = |message: &Message| self.stumbles.is_given_up(message.key);
        let Encoded { messages, refused } = encoded;
        for message in messages.iter().filter(|message| given_up(message)) {
            let why = trouble::given_up(&self.settings, &message.topic);
            refused.extend(refusals(message, parcel, &why));
        }
        messages.retain(|message| !given_up(message));
    }
}

fn may_be_the_messages_fault(signal: &Signal) -> bool {
    matches!(signal, Signal::Lost(loss) if loss.may_be_the_messages_fault())
}

/// One refusal for each item that a message holds.
pub(super) fn refusals(message: &Message, parcel: Parcel<'_>, why: &str) -> Vec<Refusal> {
    let seq = |at: usize| match parcel {
        Parcel::Moves(moves) => moves.get(at).map(|it| it.seq),
        Parcel::Live(readings) | Parcel::Backlog(readings) => readings.get(at).map(|it| it.seq),
    };
    let refusal = |seq| Refusal {
        seq,
        why: why.to_owned(),
    };
    message.items.clone().filter_map(seq).map(refusal).collect()
}
