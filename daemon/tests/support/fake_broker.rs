//! A broker that misbehaves on purpose: one manner per connection, everything it sees reported.

use super::wire::{self, Connect, Packet, Publish, prefixed};
use std::io;
use std::net::{TcpListener, TcpStream};
use std::time::Duration;
use tokio::sync::mpsc;

/// How it behaves on one connection. Publishes count from 0, which is the status message.
#[derive(Clone, Copy)]
pub struct Manner {
    /// Return code of its CONNACK (MQTT 3.1.1, 3.2.2.3; 5.0, 3.2.2.2); 0 accepts.
    pub answer: u8,
    /// Properties of its CONNACK, version 5 only (3.2.2.3).
    pub terms: &'static [u8],
    /// Which publishes it answers.
    pub acknowledges: fn(usize) -> bool,
    /// Reason code of a PUBACK, version 5 only (3.4.2.1); 0 is success.
    pub reason: fn(&Publish) -> u8,
    /// After how many publishes it cuts the connection.
    pub cuts_after: Option<usize>,
    /// On which publishes it cuts the connection instead of answering.
    pub cuts_on: fn(&Publish) -> bool,
    /// Reason code of the DISCONNECT that it sends then, version 5 only (3.14.2.1).
    pub last_word: Option<u8>,
}

/// Accepts, acknowledges everything, never cuts.
pub const WELL_BEHAVED: Manner = Manner {
    answer: 0,
    terms: &[],
    acknowledges: |_| true,
    reason: |_| 0,
    cuts_after: None,
    cuts_on: |_| false,
    last_word: None,
};

/// What it saw, in order.
#[derive(Debug, PartialEq, Eq)]
pub enum Seen {
    Connect(Connect),
    Publish(Publish),
    Disconnect,
    /// The connection ended, by either side.
    Gone,
}

pub struct FakeBroker {
    pub port: u16,
    seen: mpsc::UnboundedReceiver<Seen>,
}

impl FakeBroker {
    /// Serves one connection after the other, one per manner, then takes no more.
    #[expect(
        clippy::disallowed_methods,
        reason = "no more comes than the test lets happen"
    )]
    pub fn start<const N: usize>(manners: [Manner; N]) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let (report, seen) = mpsc::unbounded_channel();
        std::thread::spawn(move || {
            for manner in manners {
                let (stream, _) = listener.accept().unwrap();
                // How a connection ends is the client's choice: no error for this side.
                let _ = serve(stream, manner, &report);
                let _ = report.send(Seen::Gone);
            }
        });
        Self { port, seen }
    }

    /// The next thing it sees.
    pub async fn sees(&mut self) -> Seen {
        let wait = tokio::time::timeout(Duration::from_secs(10), self.seen.recv());
        wait.await
            .expect("the broker sees something within 10 s")
            .unwrap()
    }

    pub async fn sees_connect(&mut self) -> Connect {
        match self.sees().await {
            Seen::Connect(connect) => connect,
            other => panic!("not a connect: {other:?}"),
        }
    }

    /// Payloads of the publishes that come next, up to the first other thing or `count`.
    pub async fn sees_payloads(&mut self, count: usize) -> Vec<String> {
        let mut payloads = Vec::new();
        while payloads.len() < count {
            match self.sees().await {
                Seen::Publish(publish) => {
                    payloads.push(String::from_utf8(publish.payload).unwrap());
                }
                _ => break,
            }
        }
        payloads
    }
}

fn serve(
    mut stream: TcpStream,
    manner: Manner,
    report: &mpsc::UnboundedSender<Seen>,
) -> io::Result<()> {
    stream.set_nodelay(true)?;
    let (mut count, mut level) = (0, 0);
    while manner.cuts_after != Some(count) {
        let packet = Packet::read(&mut stream)?;
        match packet.kind() {
            wire::CONNECT => {
                let connect = packet.connect();
                level = connect.level;
                let _ = report.send(Seen::Connect(connect));
                accept(manner, level, &mut stream)?;
            }
            wire::PUBLISH => {
                let publish = packet.publish(level);
                let answered = (manner.acknowledges)(count);
                let cuts = (manner.cuts_on)(&publish);
                count += 1;
                let reason = (manner.reason)(&publish);
                let id = publish.id;
                let _ = report.send(Seen::Publish(publish));
                if cuts {
                    return say_last_word(manner, &mut stream);
                }
                if let Some(id) = id.filter(|_| answered) {
                    answer(id, reason, &mut stream)?;
                }
            }
            wire::PINGREQ => Packet::write(wire::PINGRESP, &[], &mut stream)?,
            wire::DISCONNECT => {
                let _ = report.send(Seen::Disconnect);
            }
            other => panic!("packet type {other:#x}"),
        }
    }
    say_last_word(manner, &mut stream)
}

fn accept(manner: Manner, level: u8, stream: &mut TcpStream) -> io::Result<()> {
    let mut body = vec![0, manner.answer];
    if level == 5 {
        body.push(manner.terms.len().try_into().unwrap());
        body.extend_from_slice(manner.terms);
    }
    Packet::write(wire::CONNACK, &body, stream)
}

/// Success may go without its code (MQTT 5.0, 3.4.2.1); anything else has a reason string here.
fn answer(id: u16, reason: u8, stream: &mut TcpStream) -> io::Result<()> {
    let mut body = id.to_be_bytes().to_vec();
    if reason != 0 {
        let words = [vec![0x1f], prefixed("so it says")].concat();
        body.extend([reason, words.len().try_into().unwrap()]);
        body.extend(words);
    }
    Packet::write(wire::PUBACK, &body, stream)
}

fn say_last_word(manner: Manner, stream: &mut TcpStream) -> io::Result<()> {
    match manner.last_word {
        Some(reason) => Packet::write(wire::DISCONNECT, &[reason, 0], stream),
        None => Ok(()),
    }
}
