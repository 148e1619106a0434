//! From a parcel to messages: what is published where, and what is refused before it is sent.
//!
//! Pure: it knows the settings, no connection. Live readings and alarm states are retained, so that
//! who subscribes later sees where things stand; what comes late is not, so that it never looks
//! like now.

use super::stumble::Key;
use super::topics::{self, Names, Unusable};
use crate::alarm::Move;
use crate::config::{Mqtt, Template};
use crate::outlet::payload::{self, Unsayable};
use crate::outlet::{Parcel, Refusal};
use crate::reading::Reading;
use std::ops::Range;
use std::time::Duration;

/// One message, ready to be handed over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Message {
    pub topic: String,
    pub payload: Vec<u8>,
    pub retain: bool,
    /// After how many seconds the broker forgets it (MQTT 5.0, 3.3.2.3.3).
    pub expires_s: Option<u32>,
    /// Which one it is, over all connections.
    pub key: Key,
    /// Which items of its parcel it holds.
    pub items: Range<usize>,
}

impl Message {
    /// What the status topic holds.
    pub fn status(topic: String, text: &str) -> Self {
        Self {
            topic,
            payload: text.into(),
            retain: true,
            expires_s: None,
            key: Key::Status,
            items: 0..0,
        }
    }
}

/// A parcel as messages, in its order, and what will never be one.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Encoded {
    pub messages: Vec<Message>,
    pub refused: Vec<Refusal>,
}

/// Why an item becomes no message.
#[derive(Debug, thiserror::Error)]
enum Unsendable {
    #[error("{0}")]
    Topic(#[from] Unusable),
    #[error("{0}")]
    Payload(#[from] Unsayable),
    #[error(
        "message of {size} bytes to `{topic}`: more than the {largest} that are sent to this broker; fewer probes on one line, or shorter texts, make it smaller"
    )]
    TooLarge {
        topic: String,
        size: usize,
        largest: usize,
    },
}

/// All of a parcel as messages, none larger than `largest` bytes on the wire.
pub(super) fn encode(site: &str, settings: &Mqtt, largest: usize, parcel: Parcel<'_>) -> Encoded {
    let encoder = Encoder {
        site,
        settings,
        largest,
    };
    let live = Manner {
        to: &settings.topic,
        retain: true,
        expires_s: settings.expiry.map(whole_seconds),
    };
    let late = Manner {
        to: &settings.backlog_topic,
        retain: false,
        expires_s: None,
    };
    let mut encoded = Encoded::default();
    match parcel {
        Parcel::Moves(moves) => encoder.moves(moves, &mut encoded),
        Parcel::Live(readings) => encoder.readings(readings, live, &mut encoded),
        Parcel::Backlog(readings) => encoder.readings(readings, late, &mut encoded),
    }
    encoded
}

impl Encoded {
    fn add(&mut self, message: Result<Message, Unsendable>, seqs: impl IntoIterator<Item = u64>) {
        match message {
            Ok(message) => self.messages.push(message),
            Err(problem) => {
                let why = problem.to_string();
                let refuse = |seq| Refusal {
                    seq,
                    why: why.clone(),
                };
                self.refused.extend(seqs.into_iter().map(refuse));
            }
        }
    }
}

struct Encoder<'a> {
    site: &'a str,
    settings: &'a Mqtt,
    largest: usize,
}

/// How readings of one kind are sent.
#[derive(Clone, Copy)]
struct Manner<'a> {
    to: &'a Template,
    retain: bool,
    expires_s: Option<u32>,
}

impl Encoder<'_> {
    fn readings(&self, readings: &[Reading], manner: Manner<'_>, encoded: &mut Encoded) {
        let mut next = 0;
        for group in readings.chunk_by(|one, next| self.settings.per_line && same_line(one, next)) {
            let items = next..next + group.len();
            next = items.end;
            let message = self.group(group, manner, items);
            encoded.add(message, group.iter().map(|reading| reading.seq));
        }
    }

    /// `group` is one reading, or all of one line.
    fn group(
        &self,
        group: &[Reading],
        manner: Manner<'_>,
        items: Range<usize>,
    ) -> Result<Message, Unsendable> {
        let first = group.first().ok_or(Unsayable::EmptyLine)?;
        let form = self.settings.payload;
        let payload = if self.settings.per_line {
            payload::line(form, self.site, group)?
        } else {
            payload::reading(form, self.site, first)?
        };
        let names = Names {
            site: self.site,
            board: Some(&first.series.board),
            probe: (!self.settings.per_line).then_some(&first.series.probe),
            alarm: None,
        };
        self.fitting(Message {
            topic: topics::fill(manner.to, names)?,
            payload,
            retain: manner.retain,
            expires_s: manner.expires_s,
            key: Key::Reading(first.seq),
            items,
        })
    }

    fn moves(&self, moves: &[Move], encoded: &mut Encoded) {
        for (at, a_move) in moves.iter().enumerate() {
            encoded.add(self.alarm(a_move, at), [a_move.seq]);
        }
    }

    fn alarm(&self, alarm: &Move, at: usize) -> Result<Message, Unsendable> {
        let names = Names {
            site: self.site,
            board: Some(&alarm.board),
            probe: Some(&alarm.probe),
            alarm: Some(&alarm.alarm),
        };
        self.fitting(Message {
            topic: topics::fill(&self.settings.alarm_topic, names)?,
            payload: payload::alarm(self.settings.payload, self.site, alarm),
            retain: true,
            expires_s: None,
            key: Key::Move(alarm.seq),
            items: at..at + 1,
        })
    }

    fn fitting(&self, message: Message) -> Result<Message, Unsendable> {
        let (size, largest) = (packet_bytes(&message), self.largest);
        if size > largest {
            let topic = message.topic;
            return Err(Unsendable::TooLarge {
                topic,
                size,
                largest,
            });
        }
        Ok(message)
    }
}

fn same_line(one: &Reading, next: &Reading) -> bool {
    one.series.board == next.series.board
        && (one.at.boot, one.at.boot_ns) == (next.at.boot, next.at.boot_ns)
}

/// The configuration has it between 1 s and what four bytes hold.
fn whole_seconds(time: Duration) -> u32 {
    u32::try_from(time.as_secs()).unwrap_or(u32::MAX).max(1)
}

/// The most a PUBLISH packet takes on the wire (MQTT 5.0, 2.1 and 3.3; 3.1.1 has no properties):
/// the fixed header with up to four length bytes, the topic with its length, the packet
/// identifier, the properties with their length (one byte, or a byte and four of expiry more), the
/// payload.
fn packet_bytes(message: &Message) -> usize {
    1 + 4 + 2 + message.topic.len() + 2 + (1 + 5) + message.payload.len()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::MAX_PACKET_BYTES;
    use super::super::tests::settings;
    use super::*;
    use crate::config::Payload;
    use crate::outlet::payload::tests::{mash, too_hot};
    use std::sync::Arc;

    fn at(seq: u64, board: &str, boot_ns: u64) -> Reading {
        let mut reading = mash(1.0);
        reading.seq = seq;
        reading.at.boot_ns = boot_ns;
        Arc::make_mut(&mut reading.series).board = board.into();
        reading
    }

    #[test]
    fn what_is_now_is_retained_and_what_is_late_is_not() {
        let readings = [mash(1.0)];
        let live = encode(
            "cellar",
            &settings(),
            MAX_PACKET_BYTES,
            Parcel::Live(&readings),
        )
        .messages;
        let late = encode(
            "cellar",
            &settings(),
            MAX_PACKET_BYTES,
            Parcel::Backlog(&readings),
        )
        .messages;
        let alarm = encode(
            "cellar",
            &settings(),
            MAX_PACKET_BYTES,
            Parcel::Moves(&[too_hot()]),
        )
        .messages;
        let whereto = |message: &Message| (message.topic.clone(), message.retain);
        assert_eq!(whereto(&live[0]), ("cellar/mash/reading".to_owned(), true));
        assert_eq!(whereto(&late[0]), ("cellar/mash/late".to_owned(), false));
        assert_eq!(
            whereto(&alarm[0]),
            ("cellar/mash/alarm/high".to_owned(), true)
        );
    }

    #[test]
    fn a_line_is_the_same_board_at_the_same_instant() {
        let by_line = Mqtt {
            per_line: true,
            topic: Template("{site}/{board}/line".into()),
            ..settings()
        };
        let readings = [
            at(1, "bench", 7),
            at(2, "bench", 7),
            at(3, "attic", 7),
            at(4, "attic", 8),
        ];
        let encoded = encode(
            "cellar",
            &by_line,
            MAX_PACKET_BYTES,
            Parcel::Live(&readings),
        );
        let topics: Vec<_> = encoded
            .messages
            .iter()
            .map(|message| &message.topic)
            .collect();
        assert_eq!(
            topics,
            [
                "cellar/bench/line",
                "cellar/attic/line",
                "cellar/attic/line"
            ]
        );
        assert_eq!(encoded.refused, []);
    }

    #[test]
    fn a_refused_line_names_each_of_its_readings() {
        let plain = Mqtt {
            per_line: true,
            payload: Payload::Plain,
            ..settings()
        };
        let readings = [at(1, "bench", 7), at(2, "bench", 7)];
        let encoded = encode("cellar", &plain, MAX_PACKET_BYTES, Parcel::Live(&readings));
        let seqs: Vec<_> = encoded.refused.iter().map(|refusal| refusal.seq).collect();
        assert_eq!((seqs, encoded.messages.len()), (vec![1, 2], 0));
    }

    #[test]
    fn an_oversized_message_is_refused_with_its_size_and_topic() {
        let action = "x".repeat(MAX_PACKET_BYTES);
        let moves = [
            Move {
                action,
                ..too_hot()
            },
            too_hot(),
        ];
        let encoded = encode(
            "cellar",
            &settings(),
            MAX_PACKET_BYTES,
            Parcel::Moves(&moves),
        );
        assert_eq!(encoded.messages.len(), 1);
        assert!(
            encoded.refused[0]
                .why
                .contains("to `cellar/mash/alarm/high`: more than the 1048576")
        );
    }

    #[test]
    fn a_broker_that_takes_less_gets_less() {
        let largest = |bytes| encode("cellar", &settings(), bytes, Parcel::Live(&[mash(1.0)]));
        let size = packet_bytes(&largest(usize::MAX).messages[0]);
        assert_eq!(largest(size).refused, []);
        let refused = largest(size - 1).refused;
        let words = format!(
            "{size} bytes to `cellar/mash/reading`: more than the {}",
            size - 1
        );
        assert!(refused[0].why.contains(&words), "{}", refused[0].why);
    }

    #[test]
    fn only_what_is_live_expires() {
        let ten_minutes = Mqtt {
            expiry: Some(Duration::from_secs(600)),
            ..settings()
        };
        let expiry = |parcel| encode("cellar", &ten_minutes, MAX_PACKET_BYTES, parcel);
        let readings = [mash(1.0)];
        let moves = [too_hot()];
        let [live, late, alarm] = [
            Parcel::Live(&readings),
            Parcel::Backlog(&readings),
            Parcel::Moves(&moves),
        ]
        .map(|parcel| expiry(parcel).messages[0].expires_s);
        assert_eq!((live, late, alarm), (Some(600), None, None));
    }

    #[test]
    fn a_message_says_which_items_of_its_parcel_it_holds() {
        let by_line = Mqtt {
            per_line: true,
            topic: Template("{site}/{board}/line".into()),
            ..settings()
        };
        let readings = [at(4, "bench", 7), at(6, "bench", 7), at(9, "attic", 7)];
        let encoded = encode(
            "cellar",
            &by_line,
            MAX_PACKET_BYTES,
            Parcel::Live(&readings),
        );
        let held: Vec<_> = encoded
            .messages
            .into_iter()
            .map(|m| (m.key, m.items))
            .collect();
        assert_eq!(held, [(Key::Reading(4), 0..2), (Key::Reading(9), 2..3)]);
    }
}
