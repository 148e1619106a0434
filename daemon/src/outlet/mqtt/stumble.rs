//! Which message a broker stumbles over. A broker that does not like a message (its own limits, its
//! access rules) may have no other answer than to close the connection; sent again and again, that
//! one message would hold up the night.
//!
//! After [`DEATHS`] connections in a row that died on the same message, or at least in the same
//! parcel (the last acknowledgements before a cut may get lost), messages go one at a time from
//! there on. The one that the connection then dies on alone is given up: the first that was without
//! an answer each time at once, any other the second time. Where one reading after the other would
//! be given up with nothing taken between them, it is not the readings' fault: they are kept for a
//! person. Pure: counts and keys, no connection.

use std::collections::BTreeSet;

/// Connections that died on one message before it is sent alone. Once is an accident, twice is bad
/// luck.
const DEATHS: u32 = 3;

/// Messages that are remembered as given up: beyond any number of alarms, and of readings in a
/// parcel that is sent again.
const REMEMBERED: usize = 1000;

/// A message over all connections: what is live on the first may be late on the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Key {
    /// The status, which is no part of the log.
    Status,
    /// An alarm move by its number in the journal.
    Move(u64),
    /// A reading, or the first of a line.
    Reading(u64),
}

/// How a connection died.
#[derive(Debug, Clone, Copy)]
pub(super) struct Death<'a> {
    /// The first message of the parcel.
    pub parcel: Key,
    /// The first message without an answer.
    pub key: Key,
    /// Its topic.
    pub topic: &'a str,
    /// Whether it was the only one under way.
    pub alone: bool,
    /// How many could have been under way.
    pub window: usize,
}

/// What becomes of a message that a connection died on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fate {
    /// It is sent again.
    Again,
    /// It is not sent again.
    GivenUp,
    /// So it went with the reading before it: it is kept until a person has looked.
    ForAPerson,
}

/// What is known so far.
#[derive(Debug, Default)]
pub(super) struct Stumbles {
    parcel: Count,
    message: Count,
    one_by_one: Option<OneByOne>,
    given_up: BTreeSet<Key>,
    /// Topics of messages that were given up: the next one there is sent alone at once.
    topics: BTreeSet<String>,
    /// A reading was given up, and nothing was taken since.
    nothing_since: bool,
}

/// Deaths in a row on the same thing.
#[derive(Debug, Default)]
struct Count {
    on: Option<Key>,
    deaths: u32,
}

/// Which messages go one at a time: the culprit had no answer yet, and was under way.
#[derive(Debug, Clone, Copy)]
struct OneByOne {
    from: Key,
    left: usize,
}

impl Stumbles {
    /// Whether a message goes with nothing else under way.
    pub fn alone(&self, key: Key, topic: &str) -> bool {
        self.one_by_one.is_some_and(|it| key >= it.from) || self.topics.contains(topic)
    }

    /// Whether a message is not to be sent any more.
    pub fn is_given_up(&self, key: Key) -> bool {
        self.given_up.contains(&key)
    }

    /// The broker took a message.
    pub fn taken(&mut self, key: Key, topic: &str) {
        self.nothing_since = false;
        self.topics.remove(topic);
        self.message.forget(key);
        if let Some(it) = self.one_by_one.as_mut().filter(|it| key >= it.from) {
            it.left -= 1;
            if it.left == 0 {
                self.one_by_one = None;
            }
        }
    }

    /// Every message of the parcel that begins with this one has its answer.
    pub fn delivered(&mut self, parcel: Key) {
        self.parcel.forget(parcel);
    }

    /// A connection died while messages were under way.
    pub fn died(&mut self, death: Death<'_>) -> Fate {
        let Death {
            parcel, key, alone, ..
        } = death;
        let found_alone = alone && self.one_by_one.is_some();
        let on_parcel = self.parcel.add(parcel, 0);
        let on_message = self
            .message
            .add(key, if found_alone { DEATHS - 1 } else { 0 });
        let proven = on_message > DEATHS || self.topics.contains(death.topic);
        if alone && proven {
            return self.give_up(key, death.topic);
        }
        if on_parcel.max(on_message) >= DEATHS {
            let from = self.one_by_one.map_or(key, |it| it.from.max(key));
            let left = death.window.max(1);
            self.one_by_one = Some(OneByOne { from, left });
        }
        Fate::Again
    }

    /// An alarm's state is given up in any case: it goes before everything else, so that keeping it
    /// would hold up all that there is.
    fn give_up(&mut self, key: Key, topic: &str) -> Fate {
        let is_reading = matches!(key, Key::Reading(_));
        if is_reading && self.nothing_since {
            return Fate::ForAPerson;
        }
        self.nothing_since = is_reading;
        self.given_up.insert(key);
        if self.given_up.len() > REMEMBERED {
            self.given_up.pop_first();
        }
        self.topics.insert(topic.to_owned());
        (self.parcel, self.message, self.one_by_one) = (Count::default(), Count::default(), None);
        Fate::GivenUp
    }
}

impl Count {
    /// One more on `key`, which counts as at least `least` before; gives how many by now.
    fn add(&mut self, key: Key, least: u32) -> u32 {
        if self.on != Some(key) {
            (self.on, self.deaths) = (Some(key), 0);
        }
        self.deaths = self.deaths.max(least) + 1;
        self.deaths
    }

    fn forget(&mut self, key: Key) {
        if self.on == Some(key) {
            *self = Self::default();
        }
    }
}

#[cfg(test)]
mod tests;
