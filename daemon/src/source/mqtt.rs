//! A board that publishes its lines to a topic of an MQTT 3.1.1 broker.
//!
//! Each message's payload is one line in the board's format, or several. What the broker retained
//! is old and is passed over: nobody can tell how old. The session is a clean one and is subscribed
//! anew at each connection: what is published while the connection is down is not kept for us. A
//! board's own time dates its lines where it can be believed. Nothing is published.

mod board_time;
mod options;
mod session;
mod trial;
mod trouble;

use super::retry::{Pace, Retry};
use super::stream::{event, put_all};
use super::{Event, Sink, Source};
use crate::clock;
use crate::config::Subscription;
use crate::measure::lines::{LineSplitter, Piece};
use crate::reading::Moment;
use board_time::BoardClock;
use rumqttc::Publish;
pub use session::{Session, Signal};
use std::future::Future;
use std::pin::Pin;
use std::time::Duration;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;
pub use trial::subscribe_once;

/// Largest message, bytes: some thousand lines. A larger one ends the connection.
pub const MAX_PACKET_BYTES: usize = 256 * 1024;

/// Connecting, up to the broker's answer, s.
const CONNECT_WITHIN_S: u64 = 5;

/// Longest wait at the end for the goodbye.
const GOODBYE_WITHIN: Duration = Duration::from_secs(1);

/// As a serial port is looked for.
const PACE: Pace = Pace {
    shortest: Duration::from_millis(250),
    longest: Duration::from_secs(5),
};

/// A board behind a broker.
#[derive(Clone, Debug)]
pub struct MqttSource {
    board: String,
    subscription: Subscription,
    pace: Pace,
}

/// What is kept over all connections.
struct Memory {
    retry: Retry,
    clock: Option<BoardClock>,
    /// Whether it was told that a retained message was passed over.
    told_retained: bool,
    /// Since when the topic is subscribed to; none while it is not.
    since: Option<Moment>,
}

/// How a connection ended; no reason where the stop, or the flow's end, came first.
type Ending = Option<String>;

impl MqttSource {
    /// The board of this label. Nothing is connected yet.
    #[must_use]
    pub fn new(board: impl Into<String>, subscription: Subscription) -> Self {
        Self {
            board: board.into(),
            subscription,
            pace: PACE,
        }
    }

    /// The same with other waits between attempts.
    #[must_use]
    pub fn with_pace(self, pace: Pace) -> Self {
        Self { pace, ..self }
    }

    async fn look_after(self, sink: Sink, stop: CancellationToken) {
        let mut memory = Memory {
            retry: Retry::new(self.pace),
            clock: self.subscription.time.clone().map(BoardClock::new),
            told_retained: false,
            since: None,
        };
        while !stop.is_cancelled() {
            let Some(reason) = self.visit(&mut memory, &sink, &stop).await else {
                return;
            };
            let now = clock::now();
            if let Some(since) = memory.since.take() {
                let lasted = now.boot_ns.saturating_sub(since.boot_ns);
                memory.retry.lasted(lasted);
            }
            let told = match memory.retry.tell(now, reason) {
                Some(event) => sink.put(event).await,
                None => true,
            };
            if !told || !memory.retry.pause(&stop).await {
                return;
            }
        }
    }

    /// One connection, from its first packet to its last.
    async fn visit(&self, memory: &mut Memory, sink: &Sink, stop: &CancellationToken) -> Ending {
        let options = match options::build(&self.subscription) {
            Ok(options) => options,
            Err(trouble) => return Some(self.lost(memory, &trouble)),
        };
        let mut session = Session::open(options, CONNECT_WITHIN_S);
        let ending = loop {
            let signal = tokio::select! {
                biased;
                () = stop.cancelled() => {
                    self.leave(&mut session, memory, sink).await;
                    break None;
                }
                signal = session.next() => signal,
            };
            match self.take(signal, &session, memory, sink).await {
                Ok(true) => {}
                Ok(false) => break None,
                Err(trouble) => break Some(self.lost(memory, &trouble)),
            }
        };
        session.end().await;
        ending
    }

    /// Takes a signal; false where the flow has ended.
    async fn take(
        &self,
        signal: Signal,
        session: &Session,
        memory: &mut Memory,
        sink: &Sink,
    ) -> Result<bool, String> {
        match signal {
            Signal::Connected => {
                session.subscribe(&self.subscription.topic);
                Ok(true)
            }
            Signal::Subscribed(true) => Ok(self.opened(memory, sink).await),
            Signal::Subscribed(false) => Err(trouble::no_subscription(&self.subscription)),
            Signal::Message(message) => Ok(pass_on(&message, memory, sink).await),
            Signal::Lost(error) => Err(trouble::of(&error, &self.subscription)),
            Signal::Left | Signal::Ended => Err("the connection is gone".to_owned()),
        }
    }

    async fn opened(&self, memory: &mut Memory, sink: &Sink) -> bool {
        let at = clock::now();
        memory.retry.found();
        memory.since = Some(at);
        let topic = &self.subscription.topic;
        let detail = format!(
            "topic `{topic}` at broker {}",
            trouble::broker(&self.subscription)
        );
        let resets_board = false;
        sink.put(Event::Opened {
            at,
            detail,
            resets_board,
        })
        .await
    }

    /// Says goodbye, and passes on what still arrives meanwhile.
    async fn leave(&self, session: &mut Session, memory: &mut Memory, sink: &Sink) {
        session.leave();
        let last = async {
            while let Signal::Message(message) = session.next().await {
                if !pass_on(&message, memory, sink).await {
                    break;
                }
            }
        };
        // A broker that does not let go in time is left without a goodbye.
        let _ = timeout(GOODBYE_WITHIN, last).await;
    }

    fn lost(&self, memory: &Memory, trouble: &str) -> String {
        let broker = trouble::broker(&self.subscription);
        let board = &self.board;
        if memory.since.is_some() {
            format!(
                "broker {broker}: {trouble}; what came before is kept, what boards publish \
                 meanwhile is not; connecting anew"
            )
        } else {
            format!("broker {broker}: {trouble}; see `[board.{board}]`; trying again")
        }
    }
}

/// Puts a message's lines; false where the flow has ended.
async fn pass_on(message: &Publish, memory: &mut Memory, sink: &Sink) -> bool {
    let arrival = clock::now();
    if message.retain {
        return passed_over(message, arrival, memory, sink).await;
    }
    let mut events = Vec::new();
    let mut visit = |piece: Piece<'_>| {
        let at = match (&piece, &mut memory.clock) {
            (Piece::Line(line), Some(clock)) => {
                let (at, doubt) = clock.date(line, arrival);
                events.extend(doubt.map(|text| Event::Remark { at: arrival, text }));
                at
            }
            _ => arrival,
        };
        events.push(event(piece, at));
    };
    // A payload begins with a line and ends with one, newline or not.
    let mut splitter = LineSplitter::new();
    splitter.feed(&message.payload, &mut visit);
    splitter.finish(&mut visit);
    put_all(events, sink).await
}

async fn passed_over(message: &Publish, at: Moment, memory: &mut Memory, sink: &Sink) -> bool {
    if std::mem::replace(&mut memory.told_retained, true) {
        return true;
    }
    let topic = message.topic.escape_debug();
    let text = format!(
        "passed over what the broker has retained on `{topic}`, since it may be old; let the board \
         publish without the retain flag"
    );
    sink.put(Event::Remark { at, text }).await
}

impl Source for MqttSource {
    fn run(
        self: Box<Self>,
        sink: Sink,
        stop: CancellationToken,
    ) -> Pin<Box<dyn Future<Output = ()> + Send>> {
        Box::pin(self.look_after(sink, stop))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As a small configuration gives it.
    pub(super) fn subscription() -> Subscription {
        Subscription {
            host: "127.0.0.1".to_owned(),
            port: 1883,
            client_id: "attic".to_owned(),
            user: None,
            password: None,
            topic: "boards/attic".to_owned(),
            keep_alive: Duration::from_secs(15),
            time: None,
        }
    }

    #[test]
    fn a_loss_says_what_is_kept_and_a_failed_attempt_where_to_look() {
        let source = MqttSource::new("attic", subscription());
        let mut memory = Memory {
            retry: Retry::new(PACE),
            clock: None,
            told_retained: false,
            since: None,
        };
        insta::assert_snapshot!(source.lost(&memory, "connection refused"), @"broker `127.0.0.1:1883`: connection refused; see `[board.attic]`; trying again");
        memory.since = Some(clock::now());
        insta::assert_snapshot!(source.lost(&memory, "it no longer answers pings"), @"broker `127.0.0.1:1883`: it no longer answers pings; what came before is kept, what boards publish meanwhile is not; connecting anew");
    }
}
