//! From a parcel to messages: what is published where, and what is refused before it is sent.
//!
//! Pure: it knows the settings, no connection. Live readings and alarm states are retained, so that
//! who subscribes later sees where things stand; what comes late is not, so that it never looks
//! like now.

use super::MAX_PACKET_BYTES;
use super::topics::{self, Names, Unusable};
use crate::alarm::Move;
use crate::config::{Mqtt, Template};
use crate::outlet::payload::{self, Unsayable};
use crate::outlet::{Parcel, Refusal};
use crate::reading::Reading;

/// One message, ready to be handed over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Message {
    pub topic: String,
    pub payload: Vec<u8>,
    pub retain: bool,
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
        "message of {size} bytes to `{topic}`: more than the {MAX_PACKET_BYTES} that are sent; fewer probes on one line, or shorter texts, make it smaller"
    )]
    TooLarge { topic: String, size: usize },
}

/// All of a parcel as messages.
pub(super) fn encode(site: &str, settings: &Mqtt, parcel: Parcel<'_>) -> Encoded {
    let encoder = Encoder { site, settings };
    let mut encoded = Encoded::default();
    match parcel {
        Parcel::Moves(moves) => {
            for a_move in moves {
                encoded.add(encoder.alarm(a_move), [a_move.seq]);
            }
        }
        Parcel::Live(readings) => encoder.readings(readings, &settings.topic, true, &mut encoded),
        Parcel::Backlog(readings) => {
            encoder.readings(readings, &settings.backlog_topic, false, &mut encoded);
        }
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
}

impl Encoder<'_> {
    fn readings(&self, readings: &[Reading], to: &Template, retain: bool, encoded: &mut Encoded) {
        for group in readings.chunk_by(|one, next| self.settings.per_line && same_line(one, next)) {
            let message = self.group(group, to, retain);
            encoded.add(message, group.iter().map(|reading| reading.seq));
        }
    }

    /// `group` is one reading, or all of one line.
    fn group(&self, group: &[Reading], to: &Template, retain: bool) -> Result<Message, Unsendable> {
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
        message(topics::fill(to, names)?, payload, retain)
    }

    fn alarm(&self, alarm: &Move) -> Result<Message, Unsendable> {
        let names = Names {
            site: self.site,
            board: Some(&alarm.board),
            probe: Some(&alarm.probe),
            alarm: Some(&alarm.alarm),
        };
        let topic = topics::fill(&self.settings.alarm_topic, names)?;
        message(
            topic,
            payload::alarm(self.settings.payload, self.site, alarm),
            true,
        )
    }
}

fn same_line(one: &Reading, next: &Reading) -> bool {
    one.series.board == next.series.board
        && (one.at.boot, one.at.boot_ns) == (next.at.boot, next.at.boot_ns)
}

fn message(topic: String, payload: Vec<u8>, retain: bool) -> Result<Message, Unsendable> {
    let size = packet_bytes(topic.len(), payload.len());
    if size > MAX_PACKET_BYTES {
        return Err(Unsendable::TooLarge { topic, size });
    }
    Ok(Message {
        topic,
        payload,
        retain,
    })
}

/// The most a PUBLISH packet takes on the wire (MQTT 3.1.1, 2.2 and 3.3): the fixed header with up
/// to four length bytes, the topic with its length, the packet identifier, the payload.
fn packet_bytes(topic: usize, payload: usize) -> usize {
    1 + 4 + 2 + topic + 2 + payload
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
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
        let live = encode("cellar", &settings(), Parcel::Live(&readings)).messages;
        let late = encode("cellar", &settings(), Parcel::Backlog(&readings)).messages;
        let alarm = encode("cellar", &settings(), Parcel::Moves(&[too_hot()])).messages;
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
        let encoded = encode("cellar", &by_line, Parcel::Live(&readings));
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
        let encoded = encode("cellar", &plain, Parcel::Live(&readings));
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
        let encoded = encode("cellar", &settings(), Parcel::Moves(&moves));
        assert_eq!(encoded.messages.len(), 1);
        assert!(
            encoded.refused[0]
                .why
                .contains("to `cellar/mash/alarm/high`: more than the 1048576")
        );
    }
}
