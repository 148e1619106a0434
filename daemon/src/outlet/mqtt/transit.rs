//! Messages on their way over one session: keeps up to a window of them under way until each is
//! answered, and knows which one was first when that ends badly. What an answer means for the
//! parcel is decided above.

use super::client::{Denial, Signal};
use super::flight::Flight;
use super::message::Message;
use super::reason::{self, Verdict};
use super::session::Session;
use super::stumble::Stumbles;
use std::time::Duration;
use tokio::time::timeout;

/// How messages are sent.
#[derive(Debug, Clone, Copy)]
pub(super) struct Manner {
    /// Whether the broker answers each (QoS 1).
    pub acknowledged: bool,
    /// Messages under way at most.
    pub window: usize,
    /// Longest wait for the next sign of progress.
    pub patience: Duration,
}

/// A message that is refused for good: its place in the parcel, and why.
pub(super) type Refused = (usize, Denial);

/// What ended it before all were answered.
#[derive(Debug)]
pub(super) enum Broken {
    /// No sign of progress within the patience.
    Hung,
    /// This answer to the message at this place.
    Denied(usize, Box<Denial>),
    /// The session, with the first message without an answer, and whether it was the only one
    /// under way.
    Session(Signal, Option<(usize, bool)>),
}

struct Transit<'a> {
    manner: Manner,
    flight: Flight,
    /// Nothing may join what is under way.
    alone: bool,
    stumbles: &'a mut Stumbles,
    refused: Vec<Refused>,
}

/// Sends all, and returns when the last one is answered: those that were refused.
pub(super) async fn transmit(
    session: &mut Session,
    messages: &mut [Message],
    manner: Manner,
    stumbles: &mut Stumbles,
) -> Result<Vec<Refused>, Broken> {
    let mut transit = Transit {
        manner,
        flight: Flight::new(manner.acknowledged),
        alone: false,
        stumbles,
        refused: Vec::new(),
    };
    let mut next = 0;
    loop {
        while next < messages.len() && transit.has_room_for(&messages[next]) {
            let given = session.hand_over(&mut messages[next], manner.acknowledged);
            given.map_err(|signal| transit.broken_by(signal))?;
            transit.flight.hand_over(next);
            next += 1;
        }
        if transit.flight.under_way() == 0 {
            return Ok(transit.refused);
        }
        let signal = timeout(manner.patience, session.next()).await;
        let signal = signal.map_err(|_| Broken::Hung)?;
        transit.note(signal, messages)?;
    }
}

impl Transit<'_> {
    fn has_room_for(&mut self, message: &Message) -> bool {
        let under_way = self.flight.under_way();
        if under_way == 0 {
            self.alone = self.stumbles.alone(message.key, &message.topic);
            return true;
        }
        !self.alone
            && under_way < self.manner.window
            && !self.stumbles.alone(message.key, &message.topic)
    }

    fn note(&mut self, signal: Signal, messages: &[Message]) -> Result<(), Broken> {
        let stuck = |this: &Self| this.broken_by(Signal::Stuck);
        match signal {
            Signal::Sent(id) => {
                let done = self.flight.send(id).map_err(|_| stuck(self))?;
                if let Some(place) = done {
                    self.taken(&messages[place]);
                }
                Ok(())
            }
            Signal::Acknowledged(id) => {
                let place = self.flight.answer(id).map_err(|_| stuck(self))?;
                self.taken(&messages[place]);
                Ok(())
            }
            Signal::Denied(id, denial) => {
                let place = self.flight.answer(id).map_err(|_| stuck(self))?;
                self.denied(place, denial)
            }
            other => Err(self.broken_by(other)),
        }
    }

    fn taken(&mut self, message: &Message) {
        self.stumbles.taken(message.key, &message.topic);
    }

    fn denied(&mut self, place: usize, denial: Box<Denial>) -> Result<(), Broken> {
        if reason::verdict(denial.reason) != Verdict::Refused {
            return Err(Broken::Denied(place, denial));
        }
        self.refused.push((place, *denial));
        Ok(())
    }

    fn broken_by(&self, signal: Signal) -> Broken {
        let alone = self.flight.under_way() == 1;
        Broken::Session(signal, self.flight.first().map(|place| (place, alone)))
    }
}
