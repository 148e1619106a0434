//! Which message a broker stumbles over. A broker that does not like a message (its own limits, its
//! access rules) may have no other answer than to close the connection; sent again and again, that
//! one message would hold up the night.
//!
//! After [`DEATHS`] connections in a row that died while the same message was the first without an
//! answer, messages go one at a time; the one that the connection then dies on alone is given up.
//! Where one reading after the other is given up with nothing taken between them, it is not the
//! readings' fault: the rest is kept for a person. Pure: counts and keys, no connection.

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
    on: Option<Key>,
    deaths: u32,
    /// Messages that are still to be sent one at a time.
    one_by_one: usize,
    given_up: BTreeSet<Key>,
    /// Topics of messages that were given up: the next one there is sent alone at once.
    topics: BTreeSet<String>,
    /// A reading was given up, and nothing was taken since.
    nothing_since: bool,
}

impl Stumbles {
    /// Whether a message to this topic goes with nothing else under way.
    pub fn alone(&self, topic: &str) -> bool {
        self.one_by_one > 0 || self.topics.contains(topic)
    }

    /// Whether a message is not to be sent any more.
    pub fn is_given_up(&self, key: Key) -> bool {
        self.given_up.contains(&key)
    }

    /// The broker took a message.
    pub fn taken(&mut self, key: Key, topic: &str) {
        self.one_by_one = self.one_by_one.saturating_sub(1);
        self.nothing_since = false;
        self.topics.remove(topic);
        if self.on == Some(key) {
            (self.on, self.deaths) = (None, 0);
        }
    }

    /// A connection died while this was the first message without an answer; `alone`: the only one
    /// that was under way, of `window` that could have been.
    pub fn died(&mut self, key: Key, topic: &str, alone: bool, window: usize) -> Fate {
        if self.on != Some(key) {
            (self.on, self.deaths) = (Some(key), 0);
        }
        self.deaths += 1;
        let proven = self.deaths > DEATHS || self.topics.contains(topic);
        if alone && proven {
            return self.give_up(key, topic);
        }
        if self.deaths >= DEATHS {
            self.one_by_one = window;
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
        (self.on, self.deaths, self.one_by_one) = (None, 0, 0);
        Fate::GivenUp
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WINDOW: usize = 4;
    const BAD: Key = Key::Reading(10);

    fn dies(stumbles: &mut Stumbles, seq: u64, alone: bool) -> Fate {
        stumbles.died(Key::Reading(seq), "t", alone, WINDOW)
    }

    #[test]
    fn the_same_message_three_times_is_sent_alone_and_then_given_up() {
        let mut stumbles = Stumbles::default();
        for _ in 0..3 {
            assert!(!stumbles.alone("t"));
            assert_eq!(dies(&mut stumbles, 10, false), Fate::Again);
        }
        assert!(stumbles.alone("t") && !stumbles.is_given_up(BAD));
        assert_eq!(dies(&mut stumbles, 10, true), Fate::GivenUp);
        assert!(stumbles.is_given_up(BAD));
        assert!(!stumbles.alone("elsewhere"));
    }

    #[test]
    fn deaths_on_different_messages_are_no_messages_fault() {
        let mut stumbles = Stumbles::default();
        for seq in [10, 10, 11, 11, 10, 10, 12] {
            assert_eq!(dies(&mut stumbles, seq, true), Fate::Again);
        }
        assert!(!stumbles.alone("t"));
    }

    #[test]
    fn a_message_that_is_taken_in_the_end_is_forgotten() {
        let mut stumbles = Stumbles::default();
        for _ in 0..3 {
            dies(&mut stumbles, 10, false);
        }
        stumbles.taken(BAD, "t");
        assert_eq!(dies(&mut stumbles, 10, true), Fate::Again);
    }

    #[test]
    fn the_culprit_behind_an_innocent_message_is_found_one_by_one() {
        let mut stumbles = Stumbles::default();
        for _ in 0..3 {
            dies(&mut stumbles, 10, false);
        }
        stumbles.taken(BAD, "t");
        stumbles.taken(Key::Reading(11), "t");
        assert!(stumbles.alone("t"), "as many as were under way");
        for _ in 0..3 {
            assert_eq!(dies(&mut stumbles, 12, true), Fate::Again);
        }
        assert_eq!(dies(&mut stumbles, 12, true), Fate::GivenUp);
    }

    #[test]
    fn a_window_later_all_go_together_again() {
        let mut stumbles = Stumbles::default();
        for _ in 0..3 {
            dies(&mut stumbles, 10, false);
        }
        for seq in 10..14 {
            assert!(stumbles.alone("t"));
            stumbles.taken(Key::Reading(seq), "t");
        }
        assert!(!stumbles.alone("t"));
    }

    #[test]
    fn the_next_message_to_a_topic_that_was_given_up_needs_one_death_only() {
        let mut stumbles = Stumbles::default();
        for _ in 0..4 {
            dies(&mut stumbles, 10, true);
        }
        stumbles.taken(Key::Reading(11), "other");
        assert!(stumbles.alone("t") && !stumbles.alone("other"));
        assert_eq!(dies(&mut stumbles, 12, true), Fate::GivenUp);
        stumbles.taken(Key::Reading(13), "t");
        assert!(!stumbles.alone("t"));
    }

    #[test]
    fn readings_given_up_one_after_the_other_are_for_a_person() {
        let mut stumbles = Stumbles::default();
        for _ in 0..4 {
            dies(&mut stumbles, 10, true);
        }
        assert_eq!(dies(&mut stumbles, 11, true), Fate::ForAPerson);
        assert!(!stumbles.is_given_up(Key::Reading(11)));
        assert_eq!(dies(&mut stumbles, 11, true), Fate::ForAPerson);
        stumbles.taken(Key::Reading(12), "other");
        assert_eq!(dies(&mut stumbles, 11, true), Fate::GivenUp);
    }

    #[test]
    fn an_alarm_never_holds_up_what_comes_after_it() {
        let mut stumbles = Stumbles::default();
        for seq in 1..5 {
            let key = Key::Move(seq);
            let fates = [(); 4].map(|()| stumbles.died(key, &format!("t{seq}"), true, WINDOW));
            assert_eq!(fates[3], Fate::GivenUp);
        }
    }

    #[test]
    fn what_is_remembered_is_bounded() {
        let mut stumbles = Stumbles::default();
        for seq in 0..2000 {
            stumbles.topics.insert("t".to_owned());
            stumbles.died(Key::Move(seq), "t", true, WINDOW);
        }
        assert_eq!(stumbles.given_up.len(), REMEMBERED);
        assert!(stumbles.is_given_up(Key::Move(1999)));
    }
}
