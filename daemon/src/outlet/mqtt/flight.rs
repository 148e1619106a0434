//! Which messages are under way: pairs what the client library reports with what it was given.
//!
//! The library names no packet identifier when a message is handed over; it reports identifiers in
//! hand-over order as it sends, and again as they are acknowledged. Pure; whatever does not add up
//! is a reason to start over with a fresh connection.

use std::collections::{BTreeMap, VecDeque};

/// Messages handed over and not yet done, each by its place in the parcel.
#[derive(Debug)]
pub(super) struct Flight {
    answered_by_broker: bool,
    waiting: VecDeque<usize>,
    sent: BTreeMap<u16, usize>,
}

/// A report that fits nothing handed over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Confused;

impl Flight {
    /// Not `acknowledged` (QoS 0): done when sent; otherwise done when the broker has answered.
    pub fn new(acknowledged: bool) -> Self {
        Self {
            answered_by_broker: acknowledged,
            waiting: VecDeque::new(),
            sent: BTreeMap::new(),
        }
    }

    /// Messages handed over and not done.
    pub fn under_way(&self) -> usize {
        self.waiting.len() + self.sent.len()
    }

    /// The first message of the parcel that is not done.
    pub fn first(&self) -> Option<usize> {
        let waiting = self.waiting.front();
        self.sent.values().chain(waiting).min().copied()
    }

    /// A message was given to the client library.
    pub fn hand_over(&mut self, place: usize) {
        self.waiting.push_back(place);
    }

    /// The oldest waiting message went out under this identifier; gives its place where that is all
    /// that was to come.
    pub fn send(&mut self, id: u16) -> Result<Option<usize>, Confused> {
        let place = self.waiting.pop_front().ok_or(Confused)?;
        if !self.answered_by_broker {
            return Ok(Some(place));
        }
        match self.sent.insert(id, place) {
            None => Ok(None),
            Some(_) => Err(Confused),
        }
    }

    /// The broker answered for this identifier (MQTT 3.1.1, 4.3.2); gives the message's place.
    pub fn answer(&mut self, id: u16) -> Result<usize, Confused> {
        self.sent.remove(&id).ok_or(Confused)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn at_least_once_is_done_when_answered() {
        let mut flight = Flight::new(true);
        flight.hand_over(0);
        flight.hand_over(1);
        assert_eq!(flight.send(7), Ok(None));
        assert_eq!((flight.under_way(), flight.first()), (2, Some(0)));
        assert_eq!(flight.answer(7), Ok(0));
        assert_eq!((flight.under_way(), flight.first()), (1, Some(1)));
    }

    #[test]
    fn at_most_once_is_done_when_sent() {
        let mut flight = Flight::new(false);
        flight.hand_over(3);
        assert_eq!(flight.send(0), Ok(Some(3)));
        assert_eq!((flight.under_way(), flight.first()), (0, None));
    }

    #[test]
    fn identifiers_that_start_again_do_not_hide_what_is_first() {
        let mut flight = Flight::new(true);
        for (place, id) in [(0, 2), (1, 1)] {
            flight.hand_over(place);
            assert_eq!(flight.send(id), Ok(None));
        }
        assert_eq!(flight.first(), Some(0));
    }

    #[test]
    fn reports_that_do_not_add_up_are_noticed() {
        let mut flight = Flight::new(true);
        assert_eq!(flight.send(1), Err(Confused), "nothing was handed over");
        flight.hand_over(0);
        flight.hand_over(1);
        assert_eq!(flight.answer(1), Err(Confused), "not sent yet");
        assert_eq!(flight.send(1), Ok(None));
        assert_eq!(
            flight.send(1),
            Err(Confused),
            "the identifier is still in use"
        );
    }
}
