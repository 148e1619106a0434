//! Which messages are under way: pairs what the client library reports with what it was given.
//!
//! The library names no packet identifier when a message is handed over; it reports identifiers in
//! hand-over order as it sends, and again as they are acknowledged. Pure; it counts, and whatever
//! does not add up is a reason to start over with a fresh connection.

use std::collections::BTreeSet;

/// Messages handed over and not yet done.
#[derive(Debug)]
pub(super) struct Flight {
    acknowledged_by_broker: bool,
    waiting: usize,
    sent: BTreeSet<u16>,
}

/// A report that fits nothing handed over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Confused;

impl Flight {
    /// `qos` 0: done when sent; otherwise done when the broker has acknowledged.
    pub fn new(qos: u8) -> Self {
        Self {
            acknowledged_by_broker: qos > 0,
            waiting: 0,
            sent: BTreeSet::new(),
        }
    }

    /// Messages handed over and not done.
    pub fn under_way(&self) -> usize {
        self.waiting + self.sent.len()
    }

    /// A message was given to the client library.
    pub fn hand_over(&mut self) {
        self.waiting += 1;
    }

    /// The oldest waiting message went out under this identifier.
    pub fn send(&mut self, id: u16) -> Result<(), Confused> {
        self.waiting = self.waiting.checked_sub(1).ok_or(Confused)?;
        if self.acknowledged_by_broker && !self.sent.insert(id) {
            return Err(Confused);
        }
        Ok(())
    }

    /// The broker took responsibility for this identifier (MQTT 3.1.1, 4.3.2).
    pub fn acknowledge(&mut self, id: u16) -> Result<(), Confused> {
        if self.sent.remove(&id) {
            Ok(())
        } else {
            Err(Confused)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn at_least_once_is_done_when_acknowledged() {
        let mut flight = Flight::new(1);
        flight.hand_over();
        flight.hand_over();
        assert_eq!(flight.send(1), Ok(()));
        assert_eq!(flight.under_way(), 2);
        assert_eq!(flight.acknowledge(1), Ok(()));
        assert_eq!(flight.under_way(), 1);
    }

    #[test]
    fn at_most_once_is_done_when_sent() {
        let mut flight = Flight::new(0);
        flight.hand_over();
        assert_eq!(flight.send(0), Ok(()));
        assert_eq!(flight.under_way(), 0);
    }

    #[test]
    fn reports_that_do_not_add_up_are_noticed() {
        let mut flight = Flight::new(1);
        assert_eq!(flight.send(1), Err(Confused), "nothing was handed over");
        flight.hand_over();
        flight.hand_over();
        assert_eq!(flight.acknowledge(1), Err(Confused), "not sent yet");
        assert_eq!(flight.send(1), Ok(()));
        assert_eq!(
            flight.send(1),
            Err(Confused),
            "the identifier is still in use"
        );
    }
}
